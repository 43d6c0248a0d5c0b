"""How far feed and depth are from a chip that can break, and which of them brings it nearer.

A long chip is thin for its metal, or cut with the nose alone so that it flows sideways
[li-zhou]: there is a least feed and a least depth for usable chips. The thickness aimed at
is that of a feed between the usual first one and the highest of the table, at a depth past
the nose. Which lever wins is by chip thickness over the chord of the edge; the numbers are
our own choice and only rank.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from advisor.force import spindle_speed_rev_min
from advisor.limits import first_broken, is_legal
from advisor.moves import Move
from advisor.search import settings_for, with_setting
from advisor.state import speed_span, thickness_mm
from advisor.tables import rule_value
from advisor.terms import FormClass, form_class

if TYPE_CHECKING:
    from advisor.situation import Situation

__all__ = ["thicken", "wanted_thickness_mm"]

_ALIKE = 0.05  # scores this near are a tie: then the cheaper lever


def wanted_thickness_mm(now: Situation) -> float:
    """Return the mean thickness of an uncut chip that should break in this metal, mm."""
    metal, nose = now.setup.metal, now.setup.edge.re_mm
    feed = math.sqrt(metal.start_feed_mm_rev.value * metal.feed_mm_rev.high)
    past_nose = rule_value("finish", "nose_times") * nose
    past_nose = max(past_nose, rule_value("finish", "first_depth_mm"))
    return thickness_mm(now.setup, replace(now.cut, depth_mm=past_nose), feed)


def thicken(
    now: Situation, reason: str, *sources: str, least: float | None = None
) -> list[Move]:
    """Return more feed and more depth, the one first that alone brings the chip nearer.

    Parameters
    ----------
    now : Situation
    reason : str
        Sentence of the feed move; depth has its own.
    sources : str
    least : float or None
        Least size of the feed move, where not that of the rules.
    """
    cut, nose = now.cut, now.setup.edge.re_mm
    sure = now.last.evidence.sure and now.form is not None
    far = sure and form_class(now.form or "7") is not FormClass.SHORT_RIBBON
    feed_size = _feed_size(now) if far and cut.feed_mm_rev is not None else None
    past_nose = rule_value("finish", "nose_times") * nose / cut.depth_mm
    most = rule_value("move", "largest_depth")
    depth_size = min(max(past_nose, rule_value("move", "depth")), most) if far else None
    under = past_nose > 1.0
    more = Move(lever="feed", way=1, reason=reason, sources=sources, size=feed_size or least)
    deeper = Move(
        lever="depth",
        way=1,
        reason="depth-under-nose" if under else "depth-wider",
        sources=("colwell1954", "li-zhou", "smith2008"),
        size=depth_size,
    )
    by_feed = _score(now, feed_size or rule_value("move", "feed"), 1.0)
    by_depth = _score(now, 1.0, depth_size or rule_value("move", "depth"))
    room = _room_for_feed(now, feed_size or rule_value("move", "feed"))
    if (
        _stock_for(now, depth_size or rule_value("move", "depth"))
        and by_depth > by_feed + _ALIKE
    ):
        return [deeper, more, *room]
    return [more, *room, deeper]


def _stock_for(now: Situation, depth_times: float) -> bool:
    """Return whether enough is left for a deeper trial and two last cuts after it."""
    left = now.stock.left_mm
    last_two = 2.0 * now.setup.metal.finishing_floor_mm.value
    return left is None or now.cut.depth_mm * depth_times + last_two <= left


def _room_for_feed(now: Situation, feed_times: float) -> list[Move]:
    """Return less speed where power or torque leaves no feed, and a slower step does.

    The fastest speed at which the feed can be raised so that it shows.
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
    raised = with_setting(now.cut, "feed", wish)
    if first_broken(now.setup, raised, now.stock) not in {"cutting power", "spindle torque"}:
        return []
    low, _, _ = speed_span(now.setup, now.cut.direction)
    slowest = rule_value("move", "slowest_share") * low
    slow = spindle_speed_rev_min(slowest, now.cut.diameter_mm)
    speeds = settings_for(now.setup, now.cut, now.stock, "speed")
    for speed in reversed([s for s in speeds if slow <= s < now.cut.spindle_rev_min]):
        if is_legal(now.setup, with_setting(raised, "speed", speed), now.stock):
            size = now.cut.spindle_rev_min / speed
            return [
                Move(
                    lever="speed",
                    way=-1,
                    reason="speed-for-feed",
                    sources=("kienzle1957",),
                    size=size,
                )
            ]
    return []


def _feed_size(now: Situation) -> float:
    """Return how many times the feed brings the wanted thickness, as far as one move goes."""
    feeds = settings_for(now.setup, now.cut, now.stock, "feed")
    wanted, present = wanted_thickness_mm(now), now.cut.feed_mm_rev or 1.0
    needed = next(
        (f for f in feeds if thickness_mm(now.setup, now.cut, f) >= wanted), feeds[-1]
    )
    least, most = rule_value("move", "feed"), rule_value("move", "largest_feed")
    limp = form_class(now.form or "7") in {FormClass.SNARLED, FormClass.LONG_RIBBON}
    if limp and present < rule_value("move", "far_off") * now.setup.metal.feed_mm_rev.low:
        most = rule_value("move", "far_off_feed")
    return min(max(needed / present, least), most)


def _score(now: Situation, feed_times: float, depth_times: float) -> float:
    """Return 0 to 1: how near the chip comes to one that breaks."""
    feed = (now.cut.feed_mm_rev or rule_value("chip", "hand_feed_mm_rev")) * feed_times
    cut = replace(now.cut, depth_mm=now.cut.depth_mm * depth_times)
    thick = thickness_mm(now.setup, cut, feed) / wanted_thickness_mm(now)
    nose = now.setup.edge.re_mm
    past = 1.0 if nose <= 0.0 else min(1.0, cut.depth_mm / nose)
    return min(1.0, thick) * math.sqrt(past)
