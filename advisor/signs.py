"""What a machinist noticed, and what geometry says: support, reach, centre height, taper.

Support and geometry come before any dial; they cost little and cure for good.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from advisor.moves import Move, in_words
from advisor.rules import cooling, fresh_edge
from advisor.state import speed_span, with_edge
from advisor.tables import rule_value

if TYPE_CHECKING:
    from advisor.situation import Situation

__all__ = ["centre_height_turns_rake_deg", "geometry_moves", "sign_moves", "support_moves"]

_SHAKY = ("chatter", "squeal", "rubbing", "tearing", "dull finish", "dug in")


def centre_height_turns_rake_deg(off_mm: float, diameter_mm: float) -> float:
    """Return by how much a tool off centre turns the working rake, degrees.

    Common practice, plane geometry: asin(off / radius).

    >>> round(centre_height_turns_rake_deg(0.3, 6.0), 1)
    5.7
    """
    return math.degrees(math.asin(min(1.0, 2.0 * abs(off_mm) / diameter_mm)))


def geometry_moves(now: Situation) -> list[Move]:
    """Return what reach, centre height and support ask for when the cut is not steady."""
    moves = _taper(now)
    if not any(sign in _SHAKY for sign in now.last.noticed):
        return moves
    edge, cut = now.setup.edge, now.cut
    turned = centre_height_turns_rake_deg(edge.centre_height_mm, cut.diameter_mm)
    if turned > rule_value("tool", "turning_limit_deg"):
        where = "above" if edge.centre_height_mm > 0 else "below"
        moves.append(
            Move(
                lever="edge",
                way=0,
                reason="centre-height",
                words=(
                    in_words("off-centre", abs(edge.centre_height_mm), where=where),
                    "on centre",
                ),
                setup=with_edge(now.setup, centre_height_mm=0.0),
                setup_words={"edge": "on centre"},
            )
        )
    if "chatter" not in now.last.noticed and "squeal" not in now.last.noticed:
        return moves
    better = rule_value("tool", "better_overhang_over_shank") * edge.shank_mm
    if edge.overhang_mm > better * 1.01 and cut.direction in {"along", "face"}:
        moves.append(
            Move(
                lever="support",
                way=0,
                reason="tool-overhang",
                sources=("lathe-texts",),
                words=(in_words("tool-out", edge.overhang_mm), in_words("tool-out", better)),
                setup=with_edge(now.setup, overhang_mm=better),
                setup_words={"overhang_mm": better},
            )
        )
    slender = now.setup.stickout_mm / cut.diameter_mm
    if slender > rule_value("overhang_caution", "chuck"):
        moves += support_moves(now, "support-chatter")
    return moves


def support_moves(now: Situation, reason: str) -> list[Move]:
    """Return better ways to hold the bar: a centre for turning along, else less stick-out."""
    setup = now.setup
    if setup.holding != "chuck":
        return []
    if now.cut.direction == "along":
        return [
            Move(
                lever="support",
                way=0,
                reason=reason,
                sources=("shop-safety", "roark"),
                words=("chuck", "chuck and centre"),
                setup=replace(setup, holding="chuck and centre"),
                setup_words={"holding": "chuck and centre"},
            )
        ]
    shorter = round(rule_value("overhang_caution", "chuck") * now.cut.diameter_mm, 0)
    if not 1.0 <= shorter < setup.stickout_mm:
        return []
    return [
        Move(
            lever="support",
            way=0,
            reason=reason,
            sources=("tc-9-524",),
            words=(in_words("stickout", setup.stickout_mm), in_words("stickout", shorter)),
            setup=replace(setup, stickout_mm=shorter),
            setup_words={"stickout_mm": shorter},
        )
    ]


def _taper(now: Situation) -> list[Move]:
    measured = [d for _, d in now.last.measured_mm]
    if len(measured) < 2:  # noqa: PLR2004 - a taper needs two places
        return []
    if max(measured) - min(measured) <= now.stock.tolerance_mm:
        return []
    return support_moves(now, "taper")


def sign_moves(now: Situation) -> list[Move]:
    """Return what was noticed asks for, gravest first."""
    noticed = now.last.noticed
    moves: list[Move] = []
    for sign, rule in _RULES.items():
        if sign in noticed:
            moves += rule(now)
    return moves


def _feed(way: int, reason: str, *sources: str) -> Move:
    return Move(lever="feed", way=way, reason=reason, sources=sources or ("practice",))


def _chatter(now: Situation) -> list[Move]:
    slower = Move(lever="speed", way=-1, reason="chatter-slower", sources=("od1645",))
    more = _feed(1, "chatter-feed", "war-lathe")
    if now.cut.direction in {"plunge", "part off"}:
        return [more, slower]
    shallow = Move(lever="depth", way=-1, reason="chatter-depth", sources=("tc-9-524",))
    if now.cut.depth_mm < now.setup.edge.re_mm:
        deep = Move(lever="depth", way=1, reason="depth-under-nose", sources=("colwell1954",))
        return [slower, deep, more]
    return [slower, more, shallow]


def _rubbing(now: Situation) -> list[Move]:
    deeper = Move(lever="depth", way=1, reason="rubbing-depth", sources=("hmin-reports",))
    more = _feed(1, "rubbing-feed", "hmin-reports")
    shallow = now.cut.depth_mm < 2.0 * now.setup.metal.finishing_floor_mm.value
    return [deeper, more] if shallow else [more, deeper]


def _tearing(now: Situation) -> list[Move]:
    _, high, _ = speed_span(now.setup, now.cut.direction)
    oil = cooling(now, "built-up-oil", "bue")
    faster = Move(lever="speed", way=1, reason="built-up-speed", sources=("bue",))
    sharp = fresh_edge(now, "edge-sharp", "tearing")
    return [*([faster] if now.made.speed_m_min < high else []), *oil, sharp]


def _labouring(_: Situation) -> list[Move]:
    depth = Move(lever="depth", way=-1, reason="labouring-depth", sources=("kienzle1957",))
    return [depth, _feed(-1, "labouring-feed", "kienzle1957")]


def _hammering(_: Situation) -> list[Move]:
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
    "dull finish": _tearing,
    "burr": _burr,
}
