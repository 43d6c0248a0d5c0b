"""How good or bad the chips of a pass are for this metal, and how hot.

The order of forms (snarled worst, then long, then short; crumbs right for brittle metals)
is that of the chip-control literature; the marks themselves are common practice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from advisor.force import cutting_speed_m_min
from advisor.parse import left_diameter_mm
from advisor.tables import edge_number, rule_value
from advisor.terms import TINTS, FormClass, form_class

if TYPE_CHECKING:
    from advisor.records import Case, Evidence, PassRecord, Work
    from advisor.tables import Material

__all__ = [
    "WRONG",
    "Mark",
    "assess",
    "badness",
    "heat_excess",
    "interrupted",
    "same_settings",
    "tint_rank",
]

_F = FormClass
#: 0 right, 1 tolerable, 2 wrong, 3 dangerous; in the order of the classes below.
_CLASSES: Final = (
    _F.SNARLED,
    _F.LONG_RIBBON,
    _F.LONG_COIL,
    _F.SHORT_RIBBON,
    _F.SHORT_CURL,
    _F.ELEMENTAL,
    _F.NEEDLE,
)
_MARKS: Final[dict[str, tuple[int, ...]]] = {
    "breaks by itself": (3, 2, 2, 1, 0, 0, 1),
    "breaks with feed": (3, 2, 2, 1, 0, 1, 2),
    "gummy steel": (3, 2, 2, 1, 0, 1, 2),
    "tough stainless": (3, 2, 2, 1, 0, 1, 2),
    "titanium": (2, 2, 0, 2, 0, 2, 2),
    "aluminium": (3, 2, 2, 1, 0, 1, 2),
    "crumbles": (3, 2, 2, 2, 0, 0, 2),
}
#: In a groove a clock spring rolls out; anything straight or long jams.
_IN_A_GROOVE: Final = (3, 2, 2, 2, 0, 1, 1)
#: Brass and iron crumble there as everywhere.
_CRUMBS_IN_A_GROOVE: Final = (3, 2, 2, 2, 0, 0, 1)
#: Across-corner bars of these shapes are round once this share of the corners is left.
_ROUND_FROM: Final = {"hex": math.sqrt(3.0) / 2.0, "square": math.sqrt(0.5)}
_SAME_SPEED: Final = 0.10  # a fixed step on a shrinking bar is still the same speed
_SAME: Final = 0.03
WRONG: Final = 2  # badness of a form that asks for something
_BAD_SIGNS: Final = ("chatter", "rubbing", "tearing", "squeal", "hammering", "labouring")


@dataclass(frozen=True, slots=True)
class Mark:
    """Mark of one pass: form 0 to 3 (None: says nothing), tints too hot, troubles noticed.

    ``severity`` is the mean of the forms over all the metal seen, where ``form`` is that of
    the form which is named first.
    """

    form: int | None
    heat: int
    troubles: int
    severity: float = 0.0
    bad_share: float = 0.0
    """Share of the metal whose form asks for something."""
    asking: str | None = None
    """The form that asks: the one named, or the commonest bad one among good ones."""

    @property
    def total(self) -> float:
        """One number for "better or worse than before"."""
        return 2.0 * self.severity + min(self.heat, 4) + self.troubles


def badness(
    metal: Material, code: str, *, direction: str = "along", feed_mm_rev: float | None = None
) -> int:
    """Return 0 (right) to 3 (dangerous) for a form in this metal.

    A long controlled coil of 304 or 316 is accepted from about 0.1 mm/rev.
    """
    kind = form_class(code)
    row = _MARKS[metal.nature]
    if direction in {"plunge", "part off"}:
        row = _CRUMBS_IN_A_GROOVE if metal.nature == "crumbles" else _IN_A_GROOVE
    mark = row[_CLASSES.index(kind)]
    accepted = rule_value("stainless", "long_accepted_feed_mm_rev")
    if (
        metal.nature == "tough stainless"
        and direction == "along"
        and kind is FormClass.LONG_COIL
        and (feed_mm_rev or 0.0) >= accepted
    ):
        return 0
    return mark


def tint_rank(tint: str | None) -> int | None:
    """Return the place of a tint in the ladder of heat, bright 0."""
    return None if tint is None else TINTS.index(tint)


def heat_excess(metal: Material, edge_material: str, evidence: Evidence) -> int:
    """Return by how many tints the chips are hotter than this edge stands for long.

    Grey alone may be untinted metal, so an unsure grey counts as nothing.
    """
    rank = tint_rank(evidence.tint)
    if rank is None or metal.tint == "none":
        return 0
    if evidence.tint == "grey" and not evidence.tint_sure:
        return 0
    return max(0, rank - round(edge_number("tint_limit", metal.tint, edge_material).value))


def interrupted(work: Work, record: PassRecord, number: int) -> bool:
    """Return whether the cut was interrupted, so that short chips mean nothing.

    Hex and square bars are taken to be given across corners.
    """
    if record.cut.direction in {"plunge", "bore"}:
        return False
    share = _ROUND_FROM.get(work.stock)
    if share is not None:
        return left_diameter_mm(record) > share * work.diameter_mm
    return work.stock in {"cast skin", "rolled skin"} and number == 0


def assess(case: Case, number: int) -> Mark:
    """Return the mark of pass ``number``, counted from 0."""
    record = case.passes[number]
    metal = case.metal
    chips = record.evidence
    sees = chips.form is not None and chips.usable != "retake"
    form, asking, bad = _form_of(metal, record) if sees else (None, None, 0.0)
    if asking is not None and interrupted(case.work, record, number):
        long = form_class(asking) in {_F.SNARLED, _F.LONG_COIL, _F.LONG_RIBBON}
        form = form if long else None
    return Mark(
        form=form,
        severity=0.0 if form is None else _severity(case, record, form),
        bad_share=0.0 if form is None else bad,
        asking=None if form is None else asking,
        heat=heat_excess(metal, record.edge.material, chips),
        troubles=sum(sign in _BAD_SIGNS for sign in record.noticed),
    )


def _form_of(metal: Material, record: PassRecord) -> tuple[int, str, float]:
    """Return the badness of a pass's chips, the form that asks, and the share of bad ones.

    The named form counts, unless it is right and too much of the metal is not: a third of
    it in bad forms, or a part that snarls, is under control no more.
    """
    chips, cut = record.evidence, record.cut

    def mark_of(code: str) -> int:
        return badness(metal, code, direction=cut.direction, feed_mm_rev=cut.feed_mm_rev)

    named = chips.form or ""
    bad = {code: share for code, share in chips.mix if mark_of(code) >= WRONG}
    total = sum(bad.values())
    spoilt = chips.tangled >= rule_value("chip", "tangled_share") and metal.nature != "titanium"
    if mark_of(named) < WRONG and bad and (spoilt or total >= rule_value("chip", "bad_share")):
        worst = max(bad, key=lambda code: bad[code])
        return WRONG, worst, total
    return mark_of(named), named, total


def _severity(case: Case, record: PassRecord, form: int) -> float:
    """Return the mean badness over all the metal; what was not named is one step better."""
    cut, shares = record.cut, record.evidence.mix
    known = sum(share for _, share in shares)
    marks = sum(
        share * badness(case.metal, code, direction=cut.direction, feed_mm_rev=cut.feed_mm_rev)
        for code, share in shares
    )
    return marks + max(0.0, 1.0 - known) * max(0, form - 1) if known else float(form)


def _close(one: float | None, other: float | None, share: float) -> bool:
    if one is None or other is None:
        return one is other
    return abs(one - other) <= share * max(abs(one), abs(other))


def same_settings(one: PassRecord, other: PassRecord) -> bool:
    """Return whether two passes had the same cutting speed, feed, depth, edge and holding."""
    a, b = one.cut, other.cut
    return (
        a.direction == b.direction
        and _close(
            cutting_speed_m_min(a.spindle_rev_min, a.diameter_mm),
            cutting_speed_m_min(b.spindle_rev_min, b.diameter_mm),
            _SAME_SPEED,
        )
        and _close(a.feed_mm_rev, b.feed_mm_rev, _SAME)
        and _close(a.depth_mm, b.depth_mm, _SAME)
        and (a.coolant, a.power_feed) == (b.coolant, b.power_feed)
        and (one.edge.id, one.holding) == (other.edge.id, other.holding)
        and _close(one.stickout_mm, other.stickout_mm, _SAME)
    )
