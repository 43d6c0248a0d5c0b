"""How far an advice can be trusted: what had to be assumed, how sure the chips are."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from advisor.records import Quantity, Reason

if TYPE_CHECKING:
    from advisor.records import Case, Evidence, Trust

__all__ = ["is_shaky", "trust_in"]

#: Share of the metal under which the named form does not speak for the pass.
LEAST_SHARE = 0.5
_POINTS_FAIR, _POINTS_POOR = 2, 5
#: Assumptions that move forces or limits so much that each costs trust by itself.
_WEIGHTY: Final = (
    "edge.re_mm",
    "edge.condition",
    "lathe.power_w",
    "lathe.stiffness_n_um",
    "work.stickout_mm",
    "work.holding",
)


def is_shaky(chips: Evidence, *, hopeless: bool = False) -> bool:
    """Return whether a photo is no ground for a change: unusable, or no form to go by.

    ``hopeless`` says that every form it may be is wrong, so that the doubt changes nothing.
    """
    if chips.source != "reading":
        return False
    if chips.usable == "retake" or chips.form is None:
        return True
    # One nest is too many, whatever its share.
    return not chips.sure and chips.share < LEAST_SHARE and not chips.nest and not hopeless


def trust_in(case: Case) -> tuple[Trust, tuple[Reason, ...]]:
    """Return the trust in an advice for a case, and what lowers it."""
    why: list[Reason] = []
    points = 0
    weighty = [name for name in case.assumed if name in _WEIGHTY]
    points += len(weighty) + (len(case.assumed) - len(weighty)) // 4
    if case.assumed:
        names = ", ".join(case.assumed)
        why.append(Reason(id="trust-assumed", values={"names": names}))
    metal = case.metal
    for field, borrowed in metal.stand_in:
        if field == "kc11_n_mm2":
            points += 1
            why.append(Reason(id="trust-stand-in", values={"borrowed": borrowed}))
    if case.passes:
        points += _chip_points(case, why)
    if points >= _POINTS_POOR:
        return "poor", tuple(why)
    return ("fair" if points >= _POINTS_FAIR else "good"), tuple(why)


def _chip_points(case: Case, why: list[Reason]) -> int:
    last = case.passes[-1]
    chips, points = last.evidence, 0
    if chips.source == "none" or (chips.form is None and chips.tint is None):
        why.append(Reason(id="trust-no-chips"))
        points += 2
    elif chips.open_nest:
        why.append(Reason(id="trust-open-nest"))
        points += 1 if chips.usable == "yes" else 2
    elif not chips.sure or chips.usable == "with care":
        share = Quantity(100.0 * chips.share, "%")
        why.append(Reason(id="trust-unsure-form", values={"share": share}))
        points += 2
    if not last.cut.power_feed:
        why.append(Reason(id="trust-hand-feed"))
        points += 2
    if case.work.target_diameter_mm is not None and not last.measured_mm:
        why.append(Reason(id="trust-not-measured"))
        points += 1
    return points
