"""Support and geometry: how bar and tool are held, and how the edge stands to the work.

They come before any dial: they cost little and cure for good. Angles and their uses are
common practice; a chip thinned along a longer edge and a smaller radial push are plane
geometry [colwell1954].
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from advisor.edge_moves import flat_rake
from advisor.limits import is_legal
from advisor.moves import Move, in_words
from advisor.search import settings_for, with_setting
from advisor.state import with_edge
from advisor.tables import rule_value

if TYPE_CHECKING:
    from advisor.situation import Situation

__all__ = [
    "angle_for_heat",
    "centre_height_turns_rake_deg",
    "geometry_moves",
    "holds_back",
    "nose_out_of_reach",
    "pushes_less",
    "support_moves",
]

_SQUARE_DEG = 90.0
_WRONG = 2  # badness of a form that asks for something
_SHAKY = ("chatter", "squeal", "rubbing", "tearing", "dull finish")


def centre_height_turns_rake_deg(off_mm: float, diameter_mm: float) -> float:
    """Return by how much a tool off centre turns the working rake, degrees.

    Common practice, plane geometry: asin(off / radius).

    >>> round(centre_height_turns_rake_deg(0.3, 6.0), 1)
    5.7
    """
    return math.degrees(math.asin(min(1.0, 2.0 * abs(off_mm) / diameter_mm)))


def geometry_moves(now: Situation) -> list[Move]:
    """Return what support, reach, centre height and angle ask for, support first.

    The nose has its turn once the feed is in order, see ``nose_out_of_reach``.
    """
    moves: list[Move] = []
    sings = "chatter" in now.last.noticed or "squeal" in now.last.noticed
    if sings and _is_slender(now):
        moves += support_moves(now, "support-chatter")
    if not any(sign in _SHAKY for sign in now.last.noticed):
        return moves
    moves += _on_centre(now)
    return [*moves, *(_tool_nearer(now) if sings else ()), *(pushes_less(now) if sings else ())]


def holds_back(now: Situation) -> list[Move]:
    """Return what keeps a tool that dug in from being pulled in again, dials left alone.

    A face too steep for brass, an edge beyond square, a tool off centre or far out.
    """
    over = now.cut.direction == "along" and now.setup.edge.kapr_deg > _SQUARE_DEG
    square = rule_value("angle", "slender_deg")
    back = [_other_angle(now, "angle-pulls-in", square)] if over else []
    return [*flat_rake(now), *back, *_on_centre(now), *_tool_nearer(now)]


def _on_centre(now: Situation) -> list[Move]:
    """Return the tool set to centre height, where it is so far off that the rake turns."""
    off = now.setup.edge.centre_height_mm
    turned = centre_height_turns_rake_deg(off, now.cut.diameter_mm)
    if turned <= rule_value("tool", "turning_limit_deg"):
        return []
    where = "above" if off > 0 else "below"
    return [
        Move(
            lever="edge",
            way=0,
            reason="centre-height",
            words=(in_words("off-centre", abs(off), where=where), "on centre"),
            setup=with_edge(now.setup, centre_height_mm=0.0),
            setup_words={"edge": "on centre"},
        )
    ]


def _tool_nearer(now: Situation) -> list[Move]:
    """Return the tool set back into its post, where it stands out further than it must."""
    edge = now.setup.edge
    better = round(rule_value("tool", "better_overhang_over_shank") * edge.shank_mm, 1)
    if edge.overhang_mm <= better * 1.01 or now.cut.direction not in {"along", "face"}:
        return []
    return [
        Move(
            lever="support",
            way=0,
            reason="tool-overhang",
            sources=("lathe-texts",),
            words=(in_words("tool-out", edge.overhang_mm), in_words("tool-out", better)),
            setup=with_edge(now.setup, overhang_mm=better),
            setup_words={"overhang_mm": better},
        )
    ]


def _is_slender(now: Situation) -> bool:
    """Return whether the bar sticks out so far that it had better be held or pushed less."""
    slender = now.setup.stickout_mm / now.cut.diameter_mm
    return slender > rule_value("overhang_caution", "chuck")


def pushes_less(now: Situation, reason: str = "angle-slender") -> list[Move]:
    """Return edges that push a slender bar away less: a squarer angle, a smaller nose.

    Above 90° the way the bar gives pulls the tool in and its clearance is eaten, so there
    the angle comes back to just under it.
    """
    edge, cut = now.setup.edge, now.cut
    if cut.direction != "along" or not (_is_slender(now) or edge.kapr_deg > _SQUARE_DEG):
        return []
    square = rule_value("angle", "slender_deg")
    moves = []
    if edge.kapr_deg > _SQUARE_DEG:
        moves.append(_other_angle(now, "angle-pulls-in", square))
    elif edge.kapr_deg < rule_value("angle", "slender_from_deg"):
        moves.append(_other_angle(now, reason, square))
    return [*moves, *_smaller_nose(now)]


def _smaller_nose(now: Situation) -> list[Move]:
    """Return a nose that the depth gets past, where the present one is larger than it."""
    edge, cut = now.setup.edge, now.cut
    nose = math.floor(10.0 * cut.depth_mm / rule_value("finish", "nose_times")) / 10.0
    nose = max(nose, rule_value("angle", "smallest_nose_mm"))
    if edge.re_mm <= cut.depth_mm or nose >= edge.re_mm:
        return []
    words = (in_words("nose", edge.re_mm), in_words("nose", nose))
    return [
        Move(
            lever="edge",
            way=0,
            reason="nose-smaller",
            sources=("colwell1954",),
            words=words,
            setup=with_edge(now.setup, re_mm=nose),
            setup_words={"edge": f"{nose:g} mm nose"},
        )
    ]


def nose_out_of_reach(now: Situation) -> list[Move]:
    """Return a smaller nose where neither stock nor limits let the depth get past this one.

    Only for chips that are wrong: a shallow finishing cut with a large nose is no fault.
    """
    cut, edge = now.cut, now.setup.edge
    if cut.direction != "along" or (now.mark.form or 0) < _WRONG or edge.re_mm <= cut.depth_mm:
        return []
    depths = settings_for(now.setup, cut, now.stock, "depth")
    if now.stock.left_mm is not None:  # a trial and the two last cuts must fit in
        depths = tuple(d for d in depths if d <= 0.5 * now.stock.left_mm)
    reach = [
        d
        for d in depths
        if d >= edge.re_mm and is_legal(now.setup, with_setting(cut, "depth", d), now.stock)
    ]
    return [] if reach else _smaller_nose(now)


def angle_for_heat(now: Situation) -> list[Move]:
    """Return a smaller angle for stubby work: the same cut along a longer, cooler edge."""
    edge = now.setup.edge
    steep = edge.kapr_deg >= rule_value("angle", "slender_from_deg")
    if now.cut.direction != "along" or _is_slender(now) or not steep:
        return []
    return [_other_angle(now, "angle-stubby", rule_value("angle", "stubby_deg"))]


def _other_angle(now: Situation, reason: str, kapr_deg: float) -> Move:
    text = f"{kapr_deg:g}° cutting edge angle"
    return Move(
        lever="edge",
        way=0,
        reason=reason,
        sources=("practice", "astakhov"),
        words=(f"{now.setup.edge.kapr_deg:g}° cutting edge angle", text),
        setup=with_edge(now.setup, kapr_deg=kapr_deg),
        setup_words={"edge": text},
    )


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
                setup=replace(setup, holding="chuck and centre", spring=1.0),
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
            setup=replace(setup, stickout_mm=shorter, spring=1.0),
            setup_words={"stickout_mm": shorter},
        )
    ]
