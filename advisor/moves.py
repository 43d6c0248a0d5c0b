"""From "a little more feed" to a setting of this lathe, or to the knowledge that there is none.

A move is only made when it can show, is legal, and has not been tried in vain.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

from advisor.limits import is_legal
from advisor.records import Change, Cut, Lever, Quantity, Reason
from advisor.search import FIELDS, nearest_legal, settings_for, with_setting
from advisor.situation import Situation, facts
from advisor.state import Setup, cut_state, speed_span
from advisor.tables import rule_value

if TYPE_CHECKING:
    from collections.abc import Mapping

    from advisor.assess import Mark
    from advisor.records import PassRecord

__all__ = ["UNITS", "Move", "Proposal", "failed_moves", "in_words", "realise", "reason_for"]

UNITS: Final = {"speed": "rev/min", "feed": "mm/rev", "depth": "mm"}
_FAILED_TWICE: Final = 2
#: Share of a move's full size that still counts as that size.
_MOST_OF: Final = 0.8
#: Shares within which a setting counts as one tried before.
_SAME: Final = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """A wish: which lever, which way (+1, -1; 0 for a lever without a number), and why."""

    lever: Lever
    way: int
    reason: str
    sources: tuple[str, ...] = ("practice",)
    words: tuple[str | Reason, str | Reason] = ("", "")
    setup: Setup | None = None
    coolant: str | None = None
    setup_words: Mapping[str, str | float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """A move that this lathe can make: the change, and the cut and setup after it."""

    change: Change
    cut: Cut
    setup: Setup
    setup_words: Mapping[str, str | float] = field(default_factory=dict)


def in_words(name: str, value_mm: float, **words: str) -> Reason:
    """Return a state of a lever in words that name a length, such as "tool 15 mm out"."""
    return Reason(id=f"word-{name}", values={"value": Quantity(value_mm, "mm"), **words})


def reason_for(
    now: Situation, reason: str, sources: tuple[str, ...], new: Cut | None
) -> Reason:
    """Return a reason with the quantities of the present cut, and of the new one."""
    named = dict(facts(now.setup, now.cut, now.stock, now.last))
    named["speed"] = Quantity(now.made.speed_m_min, "m/min")
    if new is not None:
        state = cut_state(now.setup, new)
        named["new_thickness"] = Quantity(state.section.thickness_mm, "mm")
        named["new_speed"] = Quantity(state.speed_m_min, "m/min")
        named["new_feed"] = Quantity(state.feed_mm_rev, "mm/rev")
        named["new_depth"] = Quantity(new.depth_mm, "mm")
        named["new_rev"] = Quantity(new.spindle_rev_min, "rev/min")
    return Reason(id=reason, values=named, sources=sources)


def realise(now: Situation, move: Move, *, free: bool = False) -> Proposal | None:
    """Return what a move comes to on this lathe, or None.

    Parameters
    ----------
    now : Situation
    move : Move
    free : bool
        True for moves that safety asks for: they may be tried again, and may leave the
        recommended ranges.
    """
    if not free and _used_up(now, move):
        return None
    if move.lever in FIELDS and move.way:
        return _numbered(now, move, free=free)
    setup = move.setup or now.setup
    cut = now.cut if move.coolant is None else replace(now.cut, coolant=move.coolant)
    if not is_legal(setup, cut, now.stock):
        return None
    change = Change(
        lever=move.lever,
        from_=move.words[0],
        to=move.words[1],
        unit=None,
        reason=reason_for(now, move.reason, move.sources, cut),
    )
    return Proposal(change=change, cut=cut, setup=setup, setup_words=move.setup_words)


def _numbered(now: Situation, move: Move, *, free: bool) -> Proposal | None:
    if move.lever == "feed" and not now.cut.power_feed:
        return _engage(now)
    present = float(getattr(now.cut, FIELDS[move.lever]))
    for value in _steps(now, move, present, free=free):
        cut = with_setting(now.cut, move.lever, value)
        if not is_legal(now.setup, cut, now.stock):
            continue
        if not free and _was_no_better(now, cut):
            continue
        change = Change(
            lever=move.lever,
            from_=present,
            to=value,
            unit=UNITS[move.lever],
            reason=reason_for(now, move.reason, move.sources, cut),
        )
        return Proposal(change=change, cut=cut, setup=now.setup)
    return None


def _engage(now: Situation) -> Proposal | None:
    """Return the power feed in place of a hand feed: a steady chip before any other trial."""
    wish = with_setting(now.cut, "feed", now.setup.metal.start_feed_mm_rev.value)
    cut = nearest_legal(now.setup, wish, now.stock, levers=("feed",))
    if cut is None or cut.feed_mm_rev not in settings_for(now.setup, cut, now.stock, "feed"):
        return None
    reason = reason_for(now, "power-feed", ("practice",), cut)
    change = Change(lever="feed", from_="by hand", to="power feed", unit=None, reason=reason)
    return Proposal(change=change, cut=cut, setup=now.setup)


def _steps(now: Situation, move: Move, present: float, *, free: bool) -> list[float]:
    """Return the settings worth a trial, the one of the right size first."""
    size, shows = rule_value("move", move.lever), rule_value("move", f"shows_{move.lever}")
    values = settings_for(now.setup, now.cut, now.stock, move.lever)
    if move.way > 0:
        beyond = [v for v in values if v >= present * shows]
        most = present * size * (1.0 if move.lever != "feed" else rule_value("move", "feed"))
        beyond = [v for v in beyond if v <= max(most, beyond[0]) * 1.001]
        if not free:
            beyond = [v for v in beyond if v <= _highest(now, move.lever)]
        wish = present * size
    else:
        beyond = [v for v in values if v <= present / shows]
        if not free:
            beyond = [v for v in beyond if v >= _lowest(now, move.lever)]
        wish = present / size
    # A step under about 1.5 times shows little: only where the lathe has no better one.
    return sorted(beyond, key=lambda v: (_too_small(move, v / present), abs(v / wish - 1.0)))


def _too_small(move: Move, ratio: float) -> bool:
    least = 1.0 + _MOST_OF * (rule_value("move", move.lever) - 1.0)
    return ratio < least and 1.0 / ratio < least


def _highest(now: Situation, lever: str) -> float:
    metal, cut = now.setup.metal, now.cut
    if lever == "feed":
        radial = cut.direction in {"plunge", "part off"}
        return rule_value("radial_feed", "high_mm_rev") if radial else metal.feed_mm_rev.high
    if lever == "depth":
        return metal.depth_mm.high
    _, high, _ = speed_span(now.setup, cut.direction)
    return 1000.0 * high / (math.pi * cut.diameter_mm)


def _lowest(now: Situation, lever: str) -> float:
    metal, cut = now.setup.metal, now.cut
    if lever == "feed":
        return metal.feed_mm_rev.low * 0.5
    if lever == "depth":
        return metal.finishing_floor_mm.value
    low, _, _ = speed_span(now.setup, cut.direction)
    return 0.4 * 1000.0 * low / (math.pi * cut.diameter_mm)


def _moved(before: PassRecord, after: PassRecord) -> list[tuple[str, int]]:
    """Return the levers that moved far enough to show between two passes, and which way."""
    out: list[tuple[str, int]] = []
    for lever, name in FIELDS.items():
        one, other = getattr(before.cut, name), getattr(after.cut, name)
        if one is None or other is None:
            continue
        ratio = other / one
        if lever == "speed":
            ratio *= after.cut.diameter_mm / before.cut.diameter_mm
        shows = rule_value("move", f"shows_{lever}")
        if ratio >= shows:
            out.append((lever, 1))
        elif ratio <= 1.0 / shows:
            out.append((lever, -1))
    if before.cut.coolant != after.cut.coolant:
        out.append(("coolant", 0))
    if before.edge.id != after.edge.id:
        out.append(("edge", 0))
    if (before.holding, before.stickout_mm) != (after.holding, after.stickout_mm):
        out.append(("support", 0))
    return out


def failed_moves(now: Situation) -> list[tuple[str, int]]:
    """Return the single moves of this job that did not help, oldest first."""
    passes, out = now.case.passes, []
    for number in range(1, len(passes)):
        moved = _moved(passes[number - 1], passes[number])
        before, after = now.marks[number - 1], now.marks[number]
        if len(moved) == 1 and before.total > 0 and after.total >= before.total:
            out.append(moved[0])
    return out


def _used_up(now: Situation, move: Move) -> bool:
    """Return whether a lever has had its two trials; a lever without a number has one."""
    failed = [lever for lever, _ in failed_moves(now)].count(move.lever)
    return failed >= (_FAILED_TWICE if move.way else 1)


def _was_no_better(now: Situation, cut: Cut) -> bool:
    """Return whether this very cut was made before and had its own fault.

    One step back to a better setting is allowed once; back and forth is not.
    """
    earlier = now.case.passes[:-1]
    been_here = any(_like(record, now.cut, now.last) for record in earlier)
    return any(
        _like(record, cut, now.last) and _faulty(mark, now.mark, been_here=been_here)
        for record, mark in zip(now.case.passes, now.marks, strict=True)
    )


def _faulty(mark: Mark, present: Mark, *, been_here: bool) -> bool:
    if mark.form is None or not mark.total:
        return False
    return been_here or mark.total >= present.total


def _like(record: PassRecord, cut: Cut, last: PassRecord) -> bool:
    made = record.cut
    speed = made.spindle_rev_min * made.diameter_mm
    return (
        made.direction == cut.direction
        and abs(speed / (cut.spindle_rev_min * cut.diameter_mm) - 1.0) <= 2 * _SAME
        and abs((made.feed_mm_rev or 0.0) / (cut.feed_mm_rev or 1.0) - 1.0) <= _SAME
        and abs(made.depth_mm / cut.depth_mm - 1.0) <= _SAME
        and (record.edge.id, record.holding) == (last.edge.id, last.holding)
    )
