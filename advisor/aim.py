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

from advisor.moves import Move
from advisor.search import settings_for
from advisor.state import thickness_mm
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
    return [deeper, more] if by_depth > by_feed + _ALIKE else [more, deeper]


def _feed_size(now: Situation) -> float:
    """Return how many times the feed brings the wanted thickness, as far as one move goes."""
    feeds = settings_for(now.setup, now.cut, now.stock, "feed")
    wanted, present = wanted_thickness_mm(now), now.cut.feed_mm_rev or 1.0
    needed = next(
        (f for f in feeds if thickness_mm(now.setup, now.cut, f) >= wanted), feeds[-1]
    )
    least, most = rule_value("move", "feed"), rule_value("move", "largest_feed")
    return min(max(needed / present, least), most)


def _score(now: Situation, feed_times: float, depth_times: float) -> float:
    """Return 0 to 1: how near the chip comes to one that breaks."""
    feed = (now.cut.feed_mm_rev or rule_value("chip", "hand_feed_mm_rev")) * feed_times
    cut = replace(now.cut, depth_mm=now.cut.depth_mm * depth_times)
    thick = thickness_mm(now.setup, cut, feed) / wanted_thickness_mm(now)
    nose = now.setup.edge.re_mm
    past = 1.0 if nose <= 0.0 else min(1.0, cut.depth_mm / nose)
    return min(1.0, thick) * math.sqrt(past)
