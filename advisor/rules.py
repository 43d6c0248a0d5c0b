"""What the form and the heat of the chips ask for, metal by metal.

Each rule returns wishes in the order an old hand would try them; whether the lathe can
grant one is for ``advisor.moves``. The same long chip is a fault in 303, a reason for
more feed in 304, and no fault at all in titanium.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from advisor.moves import Move
from advisor.state import speed_span, with_edge
from advisor.tables import edge_number, rule_value
from advisor.terms import FormClass, form_class

if TYPE_CHECKING:
    from advisor.situation import Situation

__all__ = [
    "EDGE_FIRST",
    "cooling",
    "form_moves",
    "fresh_edge",
    "heat_moves",
    "looks_at_edge_first",
    "over_ceiling",
]

_F = FormClass
_LONG = (_F.SNARLED, _F.LONG_COIL, _F.LONG_RIBBON, _F.SHORT_RIBBON)
#: Forms that point at the edge before any setting, by nature of the metal.
EDGE_FIRST = {"titanium": (_F.LONG_RIBBON,), "breaks by itself": (_F.SNARLED, *_LONG[1:3])}
_CHIPS = ("jawahir1993", "li-zhou", "smith2008")


def _feed_up(reason: str, *sources: str) -> Move:
    return Move(lever="feed", way=1, reason=reason, sources=sources or ("practice",))


def _feed_down(reason: str, *sources: str) -> Move:
    return Move(lever="feed", way=-1, reason=reason, sources=sources or ("practice",))


def _speed(way: int, reason: str, *sources: str) -> Move:
    return Move(lever="speed", way=way, reason=reason, sources=sources or ("practice",))


def _deeper(now: Situation) -> Move:
    under = now.cut.depth_mm < rule_value("finish", "nose_times") * now.setup.edge.re_mm
    reason = "depth-under-nose" if under else "depth-wider"
    return Move(lever="depth", way=1, reason=reason, sources=("colwell1954", *_CHIPS[1:]))


def fresh_edge(now: Situation, reason: str, state: str, *sources: str) -> Move:
    """Return the wish for a sharp edge in place of the present one."""
    edge = now.setup.edge
    radius = edge_number("edge_radius_um", edge.material).value
    return Move(
        lever="edge",
        way=0,
        reason=reason,
        sources=sources or ("practice",),
        words=(f"{edge.id}, {state}", f"{edge.id}, fresh"),
        setup=with_edge(now.setup, condition="fresh", edge_radius_um=radius),
        setup_words={"edge": "fresh"},
    )


def _groove(now: Situation) -> list[Move]:
    """Return the wish for a chip groove; none where the edge has one already."""
    edge = now.setup.edge
    if edge.chip_groove:
        return []
    return [
        Move(
            lever="edge",
            way=0,
            reason="edge-groove",
            sources=_CHIPS,
            words=(f"{edge.id}, flat top", f"{edge.id}, with a chip groove"),
            setup=with_edge(now.setup, chip_groove=True),
            setup_words={"edge": "with a chip groove"},
        )
    ]


def cooling(now: Situation, reason: str, *sources: str) -> list[Move]:
    """Return the wish for oil; none where the cut is not dry or the metal is cut dry."""
    if now.cut.coolant != "dry" or not now.setup.metal.wants_oil:
        return []
    return [
        Move(
            lever="coolant",
            way=0,
            reason=reason,
            sources=sources or ("practice",),
            words=("dry", "cutting oil"),
            coolant="cutting oil",
        )
    ]


def looks_at_edge_first(now: Situation) -> bool:
    """Return whether this form, in this metal, is a sign of the edge before all else."""
    if now.form is None or now.last.edge_looked_at != "not yet" or not (now.mark.form or 0):
        return False
    nature, kind = now.setup.metal.nature, form_class(now.form)
    if kind not in EDGE_FIRST.get(nature, ()):
        return False
    if nature == "titanium":
        return True
    return not _feed_is_thin(now)


def _feed_is_thin(now: Situation) -> bool:
    feed = now.cut.feed_mm_rev
    return feed is None or feed < now.setup.metal.start_feed_mm_rev.value


def over_ceiling(now: Situation) -> list[Move]:
    """Return the wish for less speed where the edge is run above what it stands."""
    metal, speed = now.setup.metal, now.made.speed_m_min
    _, high, source = speed_span(now.setup, now.cut.direction)
    ceiling = high * rule_value("speed_over_table", "share")
    own = metal.hss_ceiling_m_min
    if own is not None and now.setup.edge.material == "HSS":
        ceiling = min(ceiling, own.value)
    return [_speed(-1, "over-ceiling", source)] if speed > ceiling else []


def heat_moves(now: Situation) -> list[Move]:
    """Return what a chip that is too hot for this edge asks for."""
    if not now.mark.heat:
        return []
    titanium = now.setup.metal.nature == "titanium"
    reason = "heat-titanium" if titanium else "heat"
    slower = _speed(-1, reason, "chip-colour", *(("ti-notes",) if titanium else ()))
    oil = cooling(now, "heat-dry")
    _, high, _ = speed_span(now.setup, now.cut.direction)
    fast = now.made.speed_m_min > high
    return [slower, *oil] if fast or not oil else [*oil, slower]


def form_moves(now: Situation) -> list[Move]:
    """Return what the form of the chips asks for in this metal, in order of trial."""
    if now.form is None or not now.mark.form:
        return []
    kind = form_class(now.form)
    if now.cut.direction in {"plunge", "part off"}:
        return _groove_cut(kind)
    moves = _BY_NATURE[now.setup.metal.nature](now, kind)
    mild = now.mark.form < 3  # noqa: PLR2004 - 3 is dangerous: then gears are worth it
    if now.setup.lathe.feed_change == "gears" and mild:
        # Ten minutes of change gears against a turn of the dial: the dial goes first.
        moves.sort(key=lambda m: m.lever != "depth")
    return moves


def _groove_cut(kind: FormClass) -> list[Move]:
    if kind in _LONG:
        return [_feed_up("part-ribbon", "war-lathe"), _speed(-1, "part-slower")]
    return [_feed_down("part-crumbs")]


def _by_itself(now: Situation, kind: FormClass) -> list[Move]:
    if kind in _LONG:
        reason = "free-cutting-long"
        return [_feed_up(reason, *_CHIPS), _deeper(now), *_groove(now)]
    return _crushed(now)


def _with_feed(now: Situation, kind: FormClass) -> list[Move]:
    if kind in _LONG:
        return [_feed_up("long-feed", *_CHIPS), _deeper(now), *_groove(now), _SLOWER]
    return _crushed(now)


_SLOWER = _speed(-1, "long-slower", "jawahir1993")


def _crushed(now: Situation) -> list[Move]:
    """Return what crumbs and needles ask for in a metal that ought to curl."""
    low, _, _ = speed_span(now.setup, now.cut.direction)
    if now.setup.metal.nature == "gummy steel" and now.made.speed_m_min < low:
        return [_speed(1, "built-up-speed", "bue"), *cooling(now, "built-up-oil", "bue")]
    return [_feed_down("crushed", "li-zhou"), _speed(-1, "needles-slower")]


def _stainless(now: Situation, kind: FormClass) -> list[Move]:
    if kind in _LONG:
        reason = "stainless-long" if kind is not _F.SNARLED else "stainless-snarl"
        return [
            _feed_up(reason, "outokumpu", *_CHIPS[:2]),
            _deeper(now),
            *_groove(now),
            _SLOWER,
        ]
    return _crushed(now)


def _titanium(now: Situation, kind: FormClass) -> list[Move]:
    if kind in {_F.ELEMENTAL, _F.NEEDLE}:
        return [_feed_up("titanium-fines", "ti-notes", "nfpa484"), _deeper(now)]
    if kind is _F.LONG_RIBBON:
        return [_feed_up("titanium-no-curl", "ti-notes"), fresh_edge(now, "edge-sharp", "flat")]
    return [
        _feed_up("titanium-snarl", "ti-notes"),
        _deeper(now),
        _speed(-1, "titanium-slower", "ti-notes"),
        *_groove(now),
    ]


def _aluminium(now: Situation, kind: FormClass) -> list[Move]:
    if kind in _LONG:
        return [_feed_up("aluminium-long", *_CHIPS), _deeper(now), *_groove(now)]
    return _crushed(now)


def _crumbling(now: Situation, kind: FormClass) -> list[Move]:
    edge, metal = now.setup.edge, now.setup.metal
    moves = [_feed_up("brittle-long", *_CHIPS), _deeper(now)]
    steep = rule_value("tool", "turning_limit_deg")
    soft = metal.iso_513 == "N"  # brass and bronze, not iron, pull a raked tool in
    if soft and kind in _LONG and edge.rake_deg > metal.rake_deg.value + steep:
        flat = metal.rake_deg.value
        moves.insert(
            0,
            Move(
                lever="edge",
                way=0,
                reason="brittle-rake",
                words=(f"{edge.rake_deg:g}° of rake", f"{flat:g}° of rake"),
                setup=with_edge(now.setup, rake_deg=flat),
                setup_words={"edge": f"{flat:g}° of rake"},
            ),
        )
    return moves


_BY_NATURE = {
    "breaks by itself": _by_itself,
    "breaks with feed": _with_feed,
    "gummy steel": _with_feed,
    "tough stainless": _stainless,
    "titanium": _titanium,
    "aluminium": _aluminium,
    "crumbles": _crumbling,
}
