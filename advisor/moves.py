"""From "a little more feed" to a setting of this lathe, or to the knowledge that there is none.

A move is only made when it can show, is legal, and has not been tried in vain.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

from advisor.history import FIELDS, failed_moves, was_no_better
from advisor.lathes import SAME_STEP
from advisor.limits import is_legal
from advisor.orthogonal import taylor_life_min
from advisor.records import Change, Cut, Lever, Quantity, Reason
from advisor.search import nearest_legal, settings_for, with_setting
from advisor.situation import Situation, facts
from advisor.state import Setup, cut_state, slowest_m_min, speed_span, usual_feeds
from advisor.tables import edge_number, rule_value

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["UNITS", "Move", "Proposal", "in_words", "realise", "reason_for"]

UNITS: Final = {"speed": "rev/min", "feed": "mm/rev", "depth": "mm"}
_FAILED_TWICE: Final = 2
#: Share of a move's full size that still counts as that size.
_MOST_OF: Final = 0.8


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
    size: float | None = None
    """How many times the present setting, where that is more than a trial needs."""
    trials: int | None = None
    """How often it may fail before it is given up for good, where not as often as others."""
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
    named = dict(facts(now.setup, now.cut, now.stock, now.last, now.form))
    named["speed"] = Quantity(now.made.speed_m_min, "m/min")
    named["life_share"] = _life_share(now)
    if new is not None:
        state = cut_state(now.setup, new)
        named["new_thickness"] = Quantity(state.section.thickness_mm, "mm")
        named["new_speed"] = Quantity(state.speed_m_min, "m/min")
        named["new_feed"] = Quantity(state.feed_mm_rev, "mm/rev")
        named["new_depth"] = Quantity(new.depth_mm, "mm")
        named["new_rev"] = Quantity(new.spindle_rev_min, "rev/min")
    return Reason(id=reason, values=named, sources=sources)


def _life_share(now: Situation) -> str:
    """Return how long the edge lasts at this speed beside the table's highest, in words."""
    _, high, _ = speed_span(now.setup, now.cut.direction)
    exponent = edge_number("taylor_exponent", now.setup.edge.material).value
    percent = taylor_life_min(100.0, high, now.made.speed_m_min, exponent)
    return f"about {percent:.0f} %" if percent >= 1.0 else "less than 1 %"


def realise(
    now: Situation, move: Move, *, free: bool = False, again: bool = False
) -> Proposal | None:
    """Return what a move comes to on this lathe, or None.

    Parameters
    ----------
    now : Situation
    move : Move
    free : bool
        True for moves that safety asks for: they may be tried again, and may leave the
        recommended ranges.
    again : bool
        True where every lever has had its trials: then a lever may be moved further, but
        never back, nor to a cut that had its fault before.
    """
    if not free and (not again or move.trials) and _used_up(now, move):
        return None
    if again and _turns_back(now, move):
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
        if not free and was_no_better(cut, now.cut, now.case.passes, now.marks):
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
    size = move.size or size
    values = settings_for(now.setup, now.cut, now.stock, move.lever)
    if move.way > 0:
        beyond = [v for v in values if v >= present * shows]
        most = present * size * (1.0 if move.lever != "feed" else rule_value("move", "feed"))
        most = min(most, present * max(size, rule_value("move", "largest_feed")))
        beyond = [v for v in beyond if v <= max(most, beyond[0]) * (1.0 + SAME_STEP)]
        if not free:
            beyond = [v for v in beyond if v <= _highest(now, move.lever)]
        if move.lever == "depth":
            beyond = [v for v in beyond if v < _shook_at_mm(now)] or beyond
        wish = present * size
    else:
        beyond = [v for v in values if v <= present / shows]
        if not free:
            beyond = [v for v in beyond if v >= _lowest(now, move.lever)]
        wish = present / size
    # A step under about 1.5 times shows little: only where the lathe has no better one.
    return sorted(beyond, key=lambda v: (_too_small(move, v / present), abs(v / wish - 1.0)))


def _shook_at_mm(now: Situation) -> float:
    """Return the least depth that chattered as held and ground now; infinite where none did.

    Where the last cut itself chattered it is no bound: then the depth is not the cure.
    """
    if "chatter" in now.last.noticed:
        return math.inf
    held = (now.last.edge, now.last.holding, now.last.stickout_mm)
    return min(
        (
            record.cut.depth_mm
            for record in now.case.passes
            if "chatter" in record.noticed
            and (record.edge, record.holding, record.stickout_mm) == held
        ),
        default=math.inf,
    )


def _too_small(move: Move, ratio: float) -> bool:
    least = 1.0 + _MOST_OF * (rule_value("move", move.lever) - 1.0)
    return ratio < least and 1.0 / ratio < least


def _highest(now: Situation, lever: str) -> float:
    metal, cut = now.setup.metal, now.cut
    if lever == "feed":
        _, high = usual_feeds(now.setup, cut.direction)
        blade = cut.direction in {"plunge", "part off"}
        return high if blade else high * rule_value("move", "last_resort")
    if lever == "depth":
        return metal.depth_mm.high * rule_value("move", "last_resort")
    _, high, _ = speed_span(now.setup, cut.direction)
    return 1000.0 * high / (math.pi * cut.diameter_mm)


def _lowest(now: Situation, lever: str) -> float:
    metal, cut = now.setup.metal, now.cut
    if lever == "feed":
        return metal.feed_mm_rev.low * 0.5
    if lever == "depth":
        return metal.finishing_floor_mm.value
    return 1000.0 * slowest_m_min(now.setup, cut.direction) / (math.pi * cut.diameter_mm)


def _turns_back(now: Situation, move: Move) -> bool:
    """Return whether a lever was last moved the other way, in vain."""
    ways = [
        way for lever, way in failed_moves(now.case.passes, now.marks) if lever == move.lever
    ]
    return bool(move.way and ways) and ways[-1] == -move.way


def _used_up(now: Situation, move: Move) -> bool:
    """Return whether a lever has had its two trials; a lever without a number has one."""
    failed = [lever for lever, _ in failed_moves(now.case.passes, now.marks)].count(move.lever)
    return failed >= (move.trials or (_FAILED_TWICE if move.way else 1))
