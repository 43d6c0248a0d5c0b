"""Where nothing is wrong: why to leave it so, how to reach the size, and what else may be done.

The ladder of depth is climbed only where nothing speaks against it, and never as more than
an offer: a cut that is right is not changed.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from advisor.limits import first_broken, is_finishing, is_legal
from advisor.moves import Move, Proposal, realise, reason_for
from advisor.records import Change, Quantity, Reason
from advisor.search import settings_for, with_setting
from advisor.section import least_depth_for_thickness_mm
from advisor.situation import expected_spring_mm
from advisor.state import roughness_um
from advisor.stiffness import error_left_share
from advisor.tables import rule_value
from advisor.taper import thick_at_the_chuck
from advisor.terms import FormClass, form_class

if TYPE_CHECKING:
    from advisor.situation import Situation

__all__ = [
    "feed_stopped_by",
    "finer_feed",
    "keep_reason",
    "keep_steps",
    "ladder",
    "last_depth",
    "spring_pass",
]

#: A calliper on a bench lathe is good to about a hundredth; less is not worth a pass.
_SEEN_MM: Final = 0.01
#: Named signs that end the ladder of depth.
_ENOUGH = ("chatter", "squeal", "labouring", "hammering", "work hot", "slipped", "stalled")


def keep_reason(now: Situation) -> str:
    """Return why to go on: right, tolerable, meaningless, unseen, or nothing left to try."""
    chips, metal = now.last.evidence, now.setup.metal
    kind = None if chips.form is None else form_class(chips.form)
    stringy = metal.nature == "tough stainless" and kind is FormClass.LONG_COIL
    wrong = bool(now.mark.form or now.mark.heat or now.mark.troubles)
    tinted = chips.tint is not None and metal.tint != "none"
    reasons = (
        ("keep-interrupted", now.interrupted and kind is not None and now.mark.form is None),
        ("keep-unseen", kind is None and not wrong),
        ("keep-stainless-limit", stringy and wrong and bool(feed_stopped_by(now))),
        ("keep-nothing-left", wrong),
        ("keep-titanium-long", metal.nature == "titanium" and kind is FormClass.LONG_COIL),
        ("keep-stainless-long", stringy),
        ("keep-crumbs", metal.nature == "crumbles" and kind is FormClass.ELEMENTAL),
        ("keep-spring", now.cut.direction in {"plunge", "part off"}),
        ("keep-good-tint", tinted),
    )
    return next((name for name, holds in reasons if holds), "keep-good")


def feed_stopped_by(now: Situation) -> str | None:
    """Return the hard limit that the next larger feed would break; None if there is none."""
    present = now.cut.feed_mm_rev or 0.0
    feeds = settings_for(now.setup, now.cut, now.stock, "feed")
    larger = next((f for f in feeds if f >= present * rule_value("move", "shows_feed")), None)
    if larger is None:
        return "the coarsest feed on the plate"
    return first_broken(now.setup, with_setting(now.cut, "feed", larger), now.stock)


def keep_steps(now: Situation) -> list[tuple[str, ...]]:
    """Return what to see to although nothing is to be changed, with sources."""
    metal, cut = now.setup.metal, now.cut
    steps: list[tuple[str, ...]] = []
    if metal.nature == "titanium" and cut.coolant == "dry":
        steps.append(("do-titanium-oil", "ti-notes"))
    if metal.hardens and not cut.power_feed:
        steps.append(("do-power-feed",))
    if thick_at_the_chuck(now):
        steps.append(("do-align",))
    return steps


def ladder(now: Situation) -> Proposal | None:
    """Return the next depth that may be tried for more metal a minute; None where not."""
    fine = not (now.mark.form or now.mark.heat or now.mark.troubles)
    seen = now.last.evidence.form is not None and now.mark.form is not None
    signs = any(sign in now.last.noticed for sign in _ENOUGH)
    if now.cut.direction != "along" or not fine or not seen or signs:
        return None
    if is_finishing(now.setup, now.cut, now.stock):
        return None
    return realise(now, Move(lever="depth", way=1, reason="ladder", sources=("practice",)))


def spring_pass(now: Situation) -> Reason | None:
    """Return whether a pass without winding in helps where too little is left for a cut.

    It takes off what work and lathe sprang away, less what springs again, as long as the
    chip is thick enough to be cut; in metals that harden it only rubs [outokumpu].
    """
    left, cut, edge = now.stock.left_mm, now.last.cut, now.setup.edge
    feed = cut.feed_mm_rev
    if left is None or feed is None or cut.direction != "along" or not now.last.measured_mm:
        return None
    if now.setup.metal.hardens:
        return reason_for(now, "do-no-spring-pass", ("outokumpu", "ti-notes"), None)
    least = least_depth_for_thickness_mm(feed, edge.re_mm, now.setup.thinnest_mm)
    push, gave = now.made.radial_n, now.made.deflection_mm
    again = error_left_share(push / cut.depth_mm, push / gave)
    takes = 2.0 * min(left, gave) * (1.0 - again)
    if left <= least or takes < _SEEN_MM:
        return None
    reason = reason_for(now, "do-spring-pass", ("practice", "geometry"), None)
    shown = {
        "spring_takes": Quantity(takes, "mm"),
        "spring_least": Quantity(1000.0 * least, "um"),
    }
    return replace(reason, values={**reason.values, **shown})


def finer_feed(now: Situation) -> list[Move]:
    """Return the wish for a finer feed where the last cuts would be too rough."""
    wanted = now.case.work.roughness_rz_um
    feed = now.cut.feed_mm_rev
    if wanted is None or feed is None or not is_finishing(now.setup, now.cut, now.stock):
        return []
    present = roughness_um(now.setup, feed)
    if now.cut.direction != "along" or present <= wanted:
        return []
    feeds = settings_for(now.setup, now.cut, now.stock, "feed")
    if all(roughness_um(now.setup, f) >= present for f in feeds if f < feed):
        return []  # below some feed the edge ploughs
    return [Move(lever="feed", way=-1, reason="finish-feed", sources=("ghosh1985",))]


def last_depth(now: Situation) -> Proposal | None:
    """Return the last cut with the spring of this holding added; None where it fits already.

    The work springs away by what was learned from the calliper; set from the surface as it
    was measured, the dial must ask for that much more.
    """
    left = now.stock.left_mm
    if left is None:
        return None
    spring = expected_spring_mm(now, now.cut.depth_mm)
    if not spring:
        return None
    floor = now.setup.metal.finishing_floor_mm.value
    if left - now.cut.depth_mm >= floor:
        return None
    wish = left + spring
    depths = settings_for(now.setup, now.cut, now.stock, "depth")
    for depth in sorted(depths, key=lambda value: abs(value - wish)):
        if abs(depth - now.cut.depth_mm) < 1e-9:  # noqa: PLR2004 - the same division
            return None
        cut = with_setting(now.cut, "depth", depth)
        if abs(depth - left) <= now.stock.tolerance_mm / 2.0 and is_legal(
            now.setup, cut, now.stock
        ):
            reason = reason_for(now, "last-depth", ("practice", "bansal"), cut)
            change = Change(
                lever="depth", from_=now.cut.depth_mm, to=depth, unit="mm", reason=reason
            )
            return Proposal(change=change, cut=cut, setup=now.setup)
    return None
