"""How far feed and depth are from a chip that can break, and in which order to go there.

A long chip is thin for its metal, or cut with the nose alone so that it flows sideways:
there is a least feed and a least depth for usable chips [li-zhou]. So first the feed goes
to one between the usual first feed and the highest of the table, in one step as far as
that is one: limits watch over the force, and small steps eat the stock. Then the depth goes
past the nose; then both further, by steps that show. Where lathe or bar has no strength left
for the next of them, a centre, less speed or less depth makes room first. The numbers are our
own choice.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from advisor.force import spindle_speed_rev_min
from advisor.geometry import support_moves
from advisor.limits import first_broken, is_legal
from advisor.moves import Move
from advisor.search import settings_for, with_setting
from advisor.state import slowest_m_min, thickness_mm, usual_feeds
from advisor.tables import rule_value
from advisor.terms import FormClass, form_class

if TYPE_CHECKING:
    from advisor.records import Cut
    from advisor.situation import Situation

_ROUNDING = 1e-9

__all__ = ["feed_in_order", "feed_times", "thicken"]


def thicken(now: Situation, reason: str, *sources: str) -> list[Move]:
    """Return more feed and more depth in order of trial; ``reason`` is that of the feed."""
    cut = now.cut
    past_nose = rule_value("finish", "nose_times") * now.setup.edge.re_mm / cut.depth_mm
    under = past_nose > rule_value("move", "shows_depth")
    times = feed_times(now)
    size = max(times, rule_value("move", "feed"))
    more = Move(lever="feed", way=1, reason=reason, sources=sources, size=size)
    deeper = Move(
        lever="depth",
        way=1,
        reason="depth-under-nose" if under else "depth-wider",
        sources=("colwell1954", "li-zhou", "smith2008"),
        size=min(max(past_nose, _wider(cut.depth_mm)), _most_depth_times(now)),
    )
    feeds = [more, *_room_for_feed(now, size)]
    shows = (deeper.size or 1.0) >= rule_value("move", "shows_depth")
    depths = [deeper, *_room_for_depth(now, deeper.size or 1.0)] if shows else []
    return [*depths, *feeds] if under and feed_in_order(now) else [*feeds, *depths]


def feed_in_order(now: Situation) -> bool:
    """Return whether the feed is about what this metal wants for a chip that breaks."""
    return feed_times(now) < rule_value("move", "shows_feed")


def _cuts_left(now: Situation) -> float:
    """Return how many cuts like the present one the stock still holds."""
    left = now.stock.left_mm
    return math.inf if left is None else left / now.cut.depth_mm


def _wider(depth_mm: float) -> float:
    """Return how many times the depth a wider chip is tried with.

    Straight to the usual first depth of a small lathe where that is near; beyond it by half.
    """
    usual = rule_value("finish", "first_depth_mm") / depth_mm
    return min(rule_value("move", "wider"), max(rule_value("move", "depth"), usual))


def _most_depth_times(now: Situation) -> float:
    """Return how many times the present depth a trial may be without eating what others need.

    A share of the stock, less while more feed is to be had. Once the feed is in order and
    that share is too little to show, everything but the last two cuts: a stock that is
    nibbled away by cuts known to be wrong teaches nothing.
    """
    most, left, depth = rule_value("move", "largest_depth"), now.stock.left_mm, now.cut.depth_mm
    if left is None:
        return most
    ready = feed_in_order(now)
    spare = rule_value("move", "trial_of_stock" if ready else "trial_before_feed") * left
    if ready and spare < rule_value("move", "shows_depth") * depth:
        spare = left - 2.0 * now.setup.metal.finishing_floor_mm.value
    return min(most, spare / depth)


def feed_times(now: Situation) -> float:
    """Return how many times the present feed the wanted one is, as far as one step goes."""
    feed, metal = now.cut.feed_mm_rev, now.setup.metal
    if feed is None or now.form is None:
        return 1.0
    limp = form_class(now.form) in {FormClass.SNARLED, FormClass.LONG_RIBBON}
    start, high = usual_feeds(now.setup, now.cut.direction)
    wanted = rule_value("move", "stiff_share") * high if limp else math.sqrt(start * high)
    # Titanium does not have to break: a light feed there is raised with a lighter hand.
    most = "largest_feed_titanium" if metal.nature == "titanium" else "largest_feed"
    if _cuts_left(now) < rule_value("move", "few_cuts"):  # no stock for a second step
        wanted, most = high, "largest_feed"
    times = rule_value("move", most)
    if not now.last.evidence.sure and not now.surely_wrong:
        times = rule_value("move", "feed")
    return min(wanted / feed, times)


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
        room = room or _shallower_for(now, raised)
        if room:
            return room
    return []


def _shallower_for(now: Situation, raised: Cut) -> list[Move]:
    """Return the largest depth, less than the present one, that bears a raised feed.

    Only where the chip still comes out thicker: inside the nose less depth thins it again.
    """
    shows = rule_value("move", "shows_depth")
    depths = settings_for(now.setup, now.cut, now.stock, "depth")
    for depth in reversed([d for d in depths if d <= now.cut.depth_mm / shows]):
        cut = with_setting(raised, "depth", depth)
        if not is_legal(now.setup, cut, now.stock):
            continue
        thick = thickness_mm(now.setup, cut, raised.feed_mm_rev or 0.0)
        present = thickness_mm(now.setup, now.cut, now.cut.feed_mm_rev or 0.0)
        if thick < rule_value("move", "shows_feed") * present:
            return []
        size = now.cut.depth_mm / depth
        basis = ("kienzle1957", "li-zhou")
        return [Move(lever="depth", way=-1, reason="depth-for-feed", sources=basis, size=size)]
    return []


def _room_for_depth(now: Situation, depth_times: float) -> list[Move]:
    """Return less speed where power or torque leaves no deeper cut that would show."""
    least = rule_value("move", "shows_depth") * now.cut.depth_mm
    most = depth_times * now.cut.depth_mm
    depths = [
        d
        for d in settings_for(now.setup, now.cut, now.stock, "depth")
        if least <= d <= most + _ROUNDING
    ]
    for deeper in reversed(depths):
        cut = with_setting(now.cut, "depth", deeper)
        if first_broken(now.setup, cut, now.stock) not in {"cutting power", "spindle torque"}:
            return []
        room = _slower_for(now, cut, "speed-for-depth")
        if room:
            return room
    return []


def _slower_for(now: Situation, raised: Cut, reason: str = "speed-for-feed") -> list[Move]:
    """Return the fastest speed, slower than the present one, that bears a heavier cut."""
    slowest = slowest_m_min(now.setup, now.cut.direction)
    slow = spindle_speed_rev_min(slowest, now.cut.diameter_mm)
    speeds = settings_for(now.setup, now.cut, now.stock, "speed")
    for speed in reversed([s for s in speeds if slow <= s < now.cut.spindle_rev_min]):
        if is_legal(now.setup, with_setting(raised, "speed", speed), now.stock):
            size = now.cut.spindle_rev_min / speed
            basis = ("kienzle1957",)
            return [Move(lever="speed", way=-1, reason=reason, sources=basis, size=size)]
    return []
