"""What a machinist noticed in a pass, and what each sign asks for."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from advisor.aim import feed_times
from advisor.built_up import unweld
from advisor.edge_moves import cooling, fresh_edge
from advisor.moves import Move
from advisor.rules import by_cost
from advisor.tables import rule_value

if TYPE_CHECKING:
    from advisor.situation import Situation

__all__ = ["chatter_short_of_stock", "sign_moves", "surface_moves"]

_WRONG = 2  # badness of a form that asks for something
_SURFACE = ("tearing", "dull finish", "burr")


def sign_moves(now: Situation) -> list[Move]:
    """Return what was noticed asks for, gravest first.

    Signs on the surface stand back where the chips are wrong: they mostly come from them.
    """
    noticed = now.last.noticed
    if (now.mark.form or 0) >= _WRONG:
        noticed = tuple(sign for sign in noticed if sign not in _SURFACE)
    moves: list[Move] = []
    for sign, rule in _RULES.items():
        if sign in noticed:
            moves += by_cost(now, rule(now))
    return moves


def surface_moves(now: Situation) -> list[Move]:
    """Return what the surface asks for where wrong chips came first."""
    if (now.mark.form or 0) < _WRONG:
        return []
    return [m for sign in _SURFACE if sign in now.last.noticed for m in _RULES[sign](now)]


def _feed(way: int, reason: str, *sources: str) -> Move:
    return Move(lever="feed", way=way, reason=reason, sources=sources or ("practice",))


def chatter_short_of_stock(now: Situation) -> list[Move]:
    """Return less depth before any other edge or holding where few cuts are left.

    It costs nothing, it is the surest cure, and it leaves stock for the cuts after it.
    """
    left = now.stock.left_mm
    few = rule_value("move", "few_cuts")
    if "chatter" not in now.last.noticed or left is None or left > few * now.cut.depth_mm:
        return []
    return [Move(lever="depth", way=-1, reason="chatter-depth", sources=("tc-9-524",))]


def _chatter(now: Situation) -> list[Move]:
    slower = Move(lever="speed", way=-1, reason="chatter-slower", sources=("od1645",))
    more = _feed(1, "chatter-feed", "war-lathe")
    if now.cut.direction in {"plunge", "part off"}:
        return [more, slower]
    shallow = Move(lever="depth", way=-1, reason="chatter-depth", sources=("tc-9-524",))
    slower, more = replace(slower, trials=1), replace(more, trials=1)
    if (now.mark.form or 0) >= _WRONG:  # a thicker chip is wanted anyway
        more = replace(more, size=max(feed_times(now), rule_value("move", "feed")))
        return [more, slower, shallow]
    if now.cut.depth_mm < now.setup.edge.re_mm:
        deep = Move(lever="depth", way=1, reason="depth-under-nose", sources=("colwell1954",))
        return [slower, deep, more]
    return [slower, more, shallow]


def _rubbing(now: Situation) -> list[Move]:
    more = _feed(1, "rubbing-feed", "hmin-reports")
    if now.cut.depth_mm < 2.0 * now.setup.metal.finishing_floor_mm.value:
        basis = ("hmin-reports",)
        return [Move(lever="depth", way=1, reason="rubbing-depth", sources=basis), more]
    if now.cut.depth_mm < now.setup.edge.re_mm:
        basis = ("colwell1954",)
        return [more, Move(lever="depth", way=1, reason="depth-under-nose", sources=basis)]
    return [more]


def _tearing(now: Situation) -> list[Move]:
    return unweld(now, "tearing")


def _dull_finish(now: Situation) -> list[Move]:
    return unweld(now, "leaving a dull finish")


def _labouring(_: Situation) -> list[Move]:
    depth = Move(lever="depth", way=-1, reason="labouring-depth", sources=("kienzle1957",))
    return [depth, _feed(-1, "labouring-feed", "kienzle1957")]


def _hammering(now: Situation) -> list[Move]:
    if now.interrupted:
        return [Move(lever="speed", way=-1, reason="hammering-corners")]
    return [_feed(-1, "hammering-feed", "smith2008")]


def _squeal(_: Situation) -> list[Move]:
    slower = Move(lever="speed", way=-1, reason="squeal-slower", sources=("od1645",))
    return [slower, _feed(1, "chatter-feed", "war-lathe")]


def _hot_work(now: Situation) -> list[Move]:
    slower = Move(lever="speed", way=-1, reason="work-hot-slower", sources=("callister",))
    return [*cooling(now, "work-hot-oil"), slower]


def _burr(now: Situation) -> list[Move]:
    return [fresh_edge(now, "edge-burr", "leaves a burr")]


_RULES = {
    "labouring": _labouring,
    "chatter": _chatter,
    "squeal": _squeal,
    "rubbing": _rubbing,
    "hammering": _hammering,
    "work hot": _hot_work,
    "tearing": _tearing,
    "dull finish": _dull_finish,
    "burr": _burr,
}
