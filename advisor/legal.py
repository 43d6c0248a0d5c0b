"""What to do when the present cut breaks a hard limit: one lever if one is enough."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from advisor.geometry import pushes_less, support_moves
from advisor.history import FIELDS
from advisor.limits import broken_limits, is_legal
from advisor.moves import UNITS, Move, Proposal, in_words, reason_for
from advisor.records import Change, LimitCheck, Quantity, Reason
from advisor.search import nearest_legal
from advisor.situation import expected_spring_mm
from advisor.state import with_edge
from advisor.tables import rule_value
from advisor.terms import FormClass, form_class

if TYPE_CHECKING:
    from advisor.records import Cut
    from advisor.situation import Situation
    from advisor.state import Setup

__all__ = ["Cure", "changes_between", "cure", "way_out"]

#: Which levers to try first for a limit; the others follow.
_FIRST: Final[dict[str, tuple[str, ...]]] = {
    "cutting power": ("depth", "speed", "feed"),
    "spindle torque": ("depth", "feed", "speed"),
    "lathe and chuck speed": ("speed",),
    "speed steps": ("speed",),
    "feed steps": ("feed",),
    "chip thickness": ("feed", "depth"),
    "least depth": ("depth", "feed"),
    "deflection": ("depth", "feed", "support", "edge"),
    "diameter error": ("depth", "feed", "support", "edge"),
    "stock left": ("depth",),
    "remainder": ("depth",),
    "bar left": ("depth",),
    "feed over the nose": ("feed",),
    "length gripped": ("support",),
    "blade reach": ("support",),
    "stick-out over diameter": ("support",),
    "tool overhang over shank": ("support",),
    "blade overhang over width": ("support",),
    "tool bending": ("support", "depth", "feed"),
}
_LONG: Final = (FormClass.SNARLED, FormClass.LONG_COIL, FormClass.LONG_RIBBON)
_ALL: Final = ("depth", "feed", "speed", "support", "edge")
#: What a limit rests on, where that is not the force law.
_SOURCES: Final[dict[str, tuple[str, ...]]] = {
    "lathe and chuck speed": ("practice",),
    "speed steps": ("practice",),
    "feed steps": ("practice",),
    "chip thickness": ("hmin-reports",),
    "least depth": ("practice",),
    "stock left": ("geometry",),
    "remainder": ("practice",),
    "bar left": ("choice",),
    "feed over the nose": ("geometry",),
    "length gripped": ("practice",),
    "blade reach": ("geometry",),
    "deflection": ("kienzle1957", "bansal", "choice"),
    "diameter error": ("kienzle1957", "bansal"),
    "tool bending": ("kienzle1957", "bansal"),
}


#: What to do where no setting is legal, by the worst limit; for others the set-up at large.
_WAYS_OUT: Final[dict[str, str]] = {
    "blade overhang over width": "do-wider-blade",
    "blade reach": "do-longer-blade",
    "stick-out over diameter": "do-shorter-bar",
    "length gripped": "do-longer-grip",
}


def way_out(worst: LimitCheck) -> str:
    """Return the id of what to do where no setting and no better holding is legal."""
    return _WAYS_OUT.get(worst.limit, "do-no-cut")


@dataclass(frozen=True, slots=True, kw_only=True)
class Cure:
    """How a broken limit is mended: by one lever, by several, or not at all."""

    worst: LimitCheck
    proposal: Proposal | None
    also: tuple[Change, ...] = ()
    single: bool = True


def _shorter_tool(now: Situation) -> list[Move]:
    edge, cut = now.setup.edge, now.cut
    if cut.direction in {"plunge", "part off"}:
        width = edge.blade_width_mm or cut.depth_mm
        better = 0.9 * rule_value("tool", "blade_overhang_over_width") * width
        if cut.direction == "part off":
            to_centre = math.ceil(cut.diameter_mm / 2.0 + 0.5)
            if edge.overhang_mm < cut.diameter_mm / 2.0:
                return [_tool_out(now, "blade-longer", float(to_centre))]
            better = max(better, to_centre)
    else:
        better = rule_value("tool", "better_overhang_over_shank") * edge.shank_mm
    better = float(max(1.0, round(better)))
    return [] if better >= edge.overhang_mm else [_tool_out(now, "tool-shorter", better)]


def _tool_out(now: Situation, reason: str, overhang_mm: float) -> Move:
    present = in_words("tool-out", now.setup.edge.overhang_mm)
    return Move(
        lever="support",
        way=0,
        reason=reason,
        sources=("lathe-texts",),
        words=(present, in_words("tool-out", overhang_mm)),
        setup=with_edge(now.setup, overhang_mm=overhang_mm),
        setup_words={"overhang_mm": overhang_mm},
    )


def _support(now: Situation) -> list[Move]:
    """Return every way to hold bar or tool better, with the long-bar steady last."""
    steady = Move(
        lever="support",
        way=0,
        reason="support-long",
        sources=("lathe-texts",),
        words=(now.setup.holding, "steady rest"),
        setup=replace(now.setup, holding="steady rest", spring=1.0),
        setup_words={"holding": "steady rest"},
    )
    steadies = [] if now.setup.holding == "steady rest" else [steady]
    return [*_shorter_tool(now), *support_moves(now, "support-long"), *steadies]


def _limit_reason(now: Situation, worst: LimitCheck, new: Cut | None) -> Reason:
    basis = _SOURCES.get(worst.limit, ("kienzle1957",))
    base = reason_for(now, "limit-" + worst.limit.replace(" ", "-"), basis, new)
    named = dict(base.values)
    named["value"] = Quantity(worst.value, worst.unit)
    named["bound"] = Quantity(worst.bound, worst.unit)
    return Reason(id=base.id, values=named, sources=base.sources)


def _change(now: Situation, lever: str, cut: Cut, reason: Reason) -> Change:
    name = FIELDS[lever]
    return Change(
        lever=lever,  # type: ignore[arg-type]
        from_=getattr(now.cut, name),
        to=getattr(cut, name),
        unit=UNITS[lever],
        reason=reason,
    )


def changes_between(now: Situation, cut: Cut) -> list[Change]:
    """Return every dial that must move to get from the present cut to a legal one."""
    broken = broken_limits(now.setup, now.cut, now.stock)
    moved = [
        lever for lever, name in FIELDS.items() if getattr(now.cut, name) != getattr(cut, name)
    ]
    if not broken or not moved:
        return []
    reason = _limit_reason(now, broken[0], cut)
    return [_change(now, lever, cut, reason) for lever in moved]


def cure(now: Situation) -> Cure | None:
    """Return how the present cut comes inside every hard limit; None if it is inside."""
    broken = broken_limits(now.setup, now.cut, now.stock)
    if not broken:
        return None
    worst = broken[0]
    for lever in _levers(now, worst):
        proposal = _single(now, lever, worst)
        if proposal is not None:
            return Cure(worst=worst, proposal=proposal)
    return _several(now, worst)


def _levers(now: Situation, worst: LimitCheck) -> list[str]:
    """Return the levers in the order to try them for a limit.

    Feed waits where the chips are long already and less of it would draw them longer, and
    where it costs change gears; it does not wait where the limit is its own.
    """
    first = _FIRST.get(worst.limit, _ALL)
    order = [*first, *(lever for lever in _ALL if lever not in first)]
    long = now.form is not None and form_class(now.form) in _LONG
    if first[0] != "feed" and (long or now.setup.lathe.feed_change == "gears"):
        order.sort(key=lambda lever: lever == "feed")
    return order


def _single(now: Situation, lever: str, worst: LimitCheck) -> Proposal | None:
    if lever in FIELDS:
        if lever == "feed" and not now.cut.power_feed:
            return None
        cut = nearest_legal(
            now.setup, _towards_size(now, lever, worst), now.stock, levers=(lever,)
        )
        if cut is None or cut == now.cut:
            return None
        change = _change(now, lever, cut, _limit_reason(now, worst, cut))
        return Proposal(change=change, cut=cut, setup=now.setup)
    held = _support(now) if lever == "support" else pushes_less(now)
    for move in held:
        if move.setup is not None and is_legal(move.setup, now.cut, now.stock):
            return _for_limit(_supported(now, move, now.cut), now, worst)
    return None


def _for_limit(proposal: Proposal, now: Situation, worst: LimitCheck) -> Proposal:
    """Return a better holding with the limit as its reason, where that is not slenderness."""
    if proposal.change.reason.id != "support-long" or worst.limit == "stick-out over diameter":
        return proposal
    reason = _limit_reason(now, worst, proposal.cut)
    return replace(proposal, change=replace(proposal.change, reason=reason))


def _towards_size(now: Situation, lever: str, worst: LimitCheck) -> Cut:
    """Return the present cut, with the depth that is left where that is what limits it."""
    left = now.stock.left_mm
    if lever != "depth" or left is None or worst.limit not in {"stock left", "remainder"}:
        return now.cut
    step = now.setup.lathe.dial.step_mm
    wish = left + expected_spring_mm(now, max(left, step))
    return replace(now.cut, depth_mm=round(max(1, round(wish / step)) * step, 6))


def _supported(now: Situation, move: Move, cut: Cut) -> Proposal:
    change = Change(
        lever=move.lever,
        from_=move.words[0],
        to=move.words[1],
        unit=None,
        reason=reason_for(now, move.reason, move.sources, cut),
    )
    return Proposal(
        change=change, cut=cut, setup=move.setup or now.setup, setup_words=move.setup_words
    )


def _several(now: Situation, worst: LimitCheck) -> Cure:
    """Return the nearest legal cut when no single lever is enough."""
    ways: list[tuple[Move, ...]] = [(), *((move,) for move in _support(now))]
    for first in _shorter_tool(now):
        if first.setup is not None:
            held = replace(now, setup=first.setup)
            ways += [(first, then) for then in _support(held) if then.reason != first.reason]
    for moves in ways:
        setup = moves[-1].setup if moves else now.setup
        cut = None if setup is None else nearest_legal(setup, _on_steps(now), now.stock)
        if setup is not None and cut is not None:
            return _together(now, worst, moves, setup, cut)
    return Cure(worst=worst, proposal=None, single=False)


def _on_steps(now: Situation) -> Cut:
    """Return the present cut with a hand feed of unknown size taken as power feed."""
    if now.cut.power_feed or now.cut.feed_mm_rev is not None:
        return now.cut
    return replace(now.cut, feed_mm_rev=rule_value("chip", "hand_feed_mm_rev"))


def _together(
    now: Situation, worst: LimitCheck, moves: tuple[Move, ...], setup: Setup, cut: Cut
) -> Cure:
    moved = changes_between(now, cut)
    words: dict[str, str | float] = {}
    for move in reversed(moves):
        words |= move.setup_words
        moved.insert(0, _supported(now, move, cut).change)
    order = (*_FIRST.get(worst.limit, ()), *_ALL)
    moved.sort(key=lambda change: order.index(change.lever))
    proposal = Proposal(change=moved[0], cut=cut, setup=setup, setup_words=words)
    return Cure(worst=worst, proposal=proposal, also=tuple(moved[1:]), single=False)
