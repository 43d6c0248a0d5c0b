"""How far feed and depth are from a chip that can break, and in which order to go there.

A long chip is thin for its metal, or cut with the nose alone so that it flows sideways:
there is a least feed and a least depth for usable chips [li-zhou]. So first the feed goes
to one between the usual first feed and the highest of the table, in one step as far as
that is one; then the depth goes past the nose; then both further, by steps that show. The
numbers are our own choice.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from advisor.force import spindle_speed_rev_min
from advisor.geometry import support_moves
from advisor.limits import first_broken, is_legal
from advisor.moves import Move
from advisor.search import settings_for, with_setting
from advisor.state import speed_span
from advisor.tables import rule_value
from advisor.terms import FormClass, form_class

if TYPE_CHECKING:
    from advisor.records import Cut
    from advisor.situation import Situation

#: Metals that harden under a tool which skids: there the feed is raised by usual steps.
_TOUGH = ("tough stainless", "titanium")

__all__ = ["feed_in_order", "feed_times", "thicken"]


def thicken(now: Situation, reason: str, *sources: str) -> list[Move]:
    """Return more feed and more depth in order of trial; ``reason`` is that of the feed."""
    cut = now.cut
    past_nose = rule_value("finish", "nose_times") * now.setup.edge.re_mm / cut.depth_mm
    under = past_nose > rule_value("move", "shows_depth")
    times = feed_times(now)
    size = max(times, rule_value("move", "feed"))
    more = Move(lever="feed", way=1, reason=reason, sources=sources, size=size)
    most = rule_value("move", "largest_depth")
    spare = "trial_of_stock" if feed_in_order(now) else "trial_before_feed"
    if now.stock.left_mm is not None:
        most = min(most, rule_value("move", spare) * now.stock.left_mm / cut.depth_mm)
    deeper = Move(
        lever="depth",
        way=1,
        reason="depth-under-nose" if under else "depth-wider",
        sources=("colwell1954", "li-zhou", "smith2008"),
        size=min(max(past_nose, rule_value("move", "depth")), most),
    )
    feeds = [more, *_room_for_feed(now, size)]
    depths = [] if _too_little_for(now, deeper.size or 1.0) else [deeper]
    return [*depths, *feeds] if under and feed_in_order(now) else [*feeds, *depths]


def feed_in_order(now: Situation) -> bool:
    """Return whether the feed is about what this metal wants for a chip that breaks."""
    return feed_times(now) < rule_value("move", "shows_feed")


def _cuts_left(now: Situation) -> float:
    """Return how many cuts like the present one the stock still holds."""
    left = now.stock.left_mm
    return math.inf if left is None else left / now.cut.depth_mm


def _too_little_for(now: Situation, depth_times: float) -> bool:
    """Return whether a deeper trial would eat the stock that more trials need."""
    left = now.stock.left_mm
    return left is not None and depth_times < rule_value("move", "shows_depth")


def feed_times(now: Situation) -> float:
    """Return how many times the present feed the wanted one is, as far as one step goes."""
    feed, metal = now.cut.feed_mm_rev, now.setup.metal
    if feed is None or now.form is None:
        return 1.0
    limp = form_class(now.form) in {FormClass.SNARLED, FormClass.LONG_RIBBON}
    wanted = math.sqrt(metal.start_feed_mm_rev.value * metal.feed_mm_rev.high)
    if limp:
        wanted = rule_value("move", "stiff_share") * metal.feed_mm_rev.high
    far = limp and feed < rule_value("move", "far_off") * metal.feed_mm_rev.low
    far = far or (form_class(now.form) is FormClass.SNARLED and metal.nature not in _TOUGH)
    if _cuts_left(now) < rule_value("move", "few_cuts"):  # no stock for a second step
        wanted, far = metal.feed_mm_rev.high, True
    most = rule_value("move", "far_off_feed" if far else "largest_feed")
    if not now.last.evidence.sure and not now.last.evidence.nest:
        most = rule_value("move", "feed")
    return min(wanted / feed, most)


def _room_for_feed(now: Situation, feed_times: float) -> list[Move]:
    """Return what makes room for more feed where a limit leaves none.

    A centre where the bar gives way; less speed where power or torque ends, to the fastest
    at which the feed can be raised so that it shows.
    """
    feed = now.cut.feed_mm_rev
    if feed is None:
        return []
    shows = rule_value("move", "shows_feed")
    feeds = [
        f for f in settings_for(now.setup, now.cut, now.stock, "feed") if f >= shows * feed
    ]
    if not feeds:
        return []
    wish = min(feeds, key=lambda f: abs(f / (feed * feed_times) - 1.0))
    broken = first_broken(now.setup, with_setting(now.cut, "feed", wish), now.stock)
    if broken is None:
        return []
    for larger in sorted((f for f in feeds if f <= wish), reverse=True):
        raised = with_setting(now.cut, "feed", larger)
        if is_legal(now.setup, raised, now.stock):
            return []  # there is room as it is
        if broken in {"deflection", "diameter error"}:
            held = support_moves(now, "support-for-feed")
            room = [m for m in held if m.setup and is_legal(m.setup, raised, now.stock)]
        else:
            room = _slower_for(now, raised)
        if room:
            return room
    return []


def _slower_for(now: Situation, raised: Cut) -> list[Move]:
    """Return the fastest speed, slower than the present one, that bears a raised feed."""
    low, _, _ = speed_span(now.setup, now.cut.direction)
    slowest = rule_value("move", "slowest_share") * low
    slow = spindle_speed_rev_min(slowest, now.cut.diameter_mm)
    speeds = settings_for(now.setup, now.cut, now.stock, "speed")
    for speed in reversed([s for s in speeds if slow <= s < now.cut.spindle_rev_min]):
        if is_legal(now.setup, with_setting(raised, "speed", speed), now.stock):
            size = now.cut.spindle_rev_min / speed
            basis = ("kienzle1957",)
            return [
                Move(lever="speed", way=-1, reason="speed-for-feed", sources=basis, size=size)
            ]
    return []
