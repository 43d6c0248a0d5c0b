"""A built-up edge: metal that welds to the tool, tears off and takes the surface with it.

Classic cure is a hotter face, by speed or feed; oil, rake and a keen edge part the two
where there is no more speed to be had [bue]. Soft steel and aluminium do it most. In
titanium speed is no cure: it costs the edge.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from advisor.edge_moves import cooling, fresh_edge, more_rake
from advisor.moves import Move
from advisor.state import speed_span, usual_feeds
from advisor.tables import rule_value

if TYPE_CHECKING:
    from advisor.situation import Situation

__all__ = ["unweld", "welds_by_speed"]

#: Metals so soft that a little more speed is worth a trial inside the table too.
_SOFT = ("gummy steel", "aluminium")


def welds_by_speed(now: Situation) -> bool:
    """Return whether the cut is so slow that metal welds to the edge.

    Below the table of this edge, and below where such edges are built up at all: carbide
    runs under its table on most small lathes and welds nothing there.
    """
    low, _, _ = speed_span(now.setup, now.cut.direction)
    return now.made.speed_m_min < min(low, rule_value("built_up", "below_m_min"))


def unweld(now: Situation, state: str) -> list[Move]:
    """Return what parts metal and edge, in order of trial; ``state`` is that of the edge."""
    nature = now.setup.metal.nature
    sharp = fresh_edge(now, "edge-sharp", state)
    if nature == "titanium":
        return [
            *cooling(now, "titanium-oil", "ti-notes"),
            *more_rake(now, "titanium-rake"),
            sharp,
        ]
    oil, faster = cooling(now, "built-up-oil", "bue"), _faster(now)
    if nature == "crumbles":
        return [*(faster if welds_by_speed(now) else []), sharp]
    if welds_by_speed(now):
        first = [*faster, *oil]
    else:
        slow = now.made.speed_m_min < rule_value("built_up", "below_m_min")
        first = [*oil, *(faster if slow and nature in _SOFT else [])]
    return [*first, *more_rake(now, "built-up-rake"), *_thicker(now), sharp]


def _faster(now: Situation) -> list[Move]:
    """Return a little more speed, inside the table; none where that would not show."""
    _, high, _ = speed_span(now.setup, now.cut.direction)
    room = high / now.made.speed_m_min
    if room < rule_value("move", "shows_speed"):
        return []
    size = min(rule_value("move", "speed"), room)
    return [Move(lever="speed", way=1, reason="built-up-speed", sources=("bue",), size=size)]


def _thicker(now: Situation) -> list[Move]:
    """Return a little more feed where it is lighter than the usual first one."""
    feed, (start, _) = now.cut.feed_mm_rev, usual_feeds(now.setup, now.cut.direction)
    if feed is None or feed >= start:
        return []
    return [Move(lever="feed", way=1, reason="built-up-feed", sources=("bue",))]
