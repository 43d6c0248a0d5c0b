"""What the form and the heat of the chips ask for, metal by metal.

Each rule returns wishes in the order an old hand would try them; whether the lathe can
grant one is for ``advisor.moves``. The same long chip is a fault in 303, a reason for
more feed in 304, and no fault at all in titanium.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from advisor.aim import thicken
from advisor.assess import WRONG, same_settings
from advisor.built_up import unweld, welds_by_speed
from advisor.edge_moves import cooling, flat_rake, fresh_edge, groove, positive_rake
from advisor.moves import Move
from advisor.state import speed_span, usual_feeds
from advisor.tables import rule_value
from advisor.terms import FormClass, form_class

if TYPE_CHECKING:
    from advisor.assess import Mark
    from advisor.records import PassRecord
    from advisor.situation import Situation

__all__ = [
    "EDGE_FIRST",
    "FINES",
    "by_cost",
    "form_moves",
    "found_sharp",
    "heat_moves",
    "looks_at_edge_first",
    "over_ceiling",
]

_F = FormClass
_LONG = (_F.SNARLED, _F.LONG_COIL, _F.LONG_RIBBON, _F.SHORT_RIBBON)
FINES = (_F.ELEMENTAL, _F.NEEDLE)
_RIBBONS = (_F.LONG_RIBBON, _F.SHORT_RIBBON)
#: Forms that point at the edge before any setting, by nature of the metal.
EDGE_FIRST = {
    "titanium": (*_RIBBONS, *FINES),
    "breaks by itself": (_F.SNARLED, *_LONG[1:3]),
}
#: With fewer cuts than this left, change gears cost less than a cut made in vain.
_CUTS = 10.0
_MOST_OF_IT = 0.5
_CHIPS = ("jawahir1993", "li-zhou", "smith2008")


def _feed_up(reason: str, *sources: str) -> Move:
    return Move(lever="feed", way=1, reason=reason, sources=sources or ("practice",))


def _feed_down(reason: str, *sources: str) -> Move:
    return Move(lever="feed", way=-1, reason=reason, sources=sources or ("practice",))


def _speed(way: int, reason: str, *sources: str) -> Move:
    return Move(lever="speed", way=way, reason=reason, sources=sources or ("practice",))


def found_sharp(now: Situation) -> bool:
    """Return whether this edge was found sharp behind chips or signs that were wrong too.

    Then the sign is no news, whatever was set since: the edge is not looked at again for it.
    """
    return any(
        record.edge_looked_at == "sharp"
        and (same_settings(record, now.last) or _as_wrong(mark, record, now))
        for record, mark in zip(now.case.passes, now.marks, strict=True)
    )


def _as_wrong(mark: Mark, record: PassRecord, now: Situation) -> bool:
    """Return whether a pass with this edge had chips as wrong as those of the last one."""
    return record.edge.id == now.last.edge.id and (mark.form or 0) >= max(
        WRONG, now.mark.form or 0
    )


def looks_at_edge_first(now: Situation) -> bool:
    """Return whether this form, in this metal, is a sign of the edge before all else.

    Only where the form is sure, most of the metal, and this edge was not found sharp
    behind the like before.
    """
    chips = now.last.evidence
    if now.form is None or not chips.sure or not (now.mark.form or 0):
        return False
    nature, kind = now.setup.metal.nature, form_class(chips.main or now.form)
    most = now.mark.bad_share >= _MOST_OF_IT
    if found_sharp(now) or not most or kind not in EDGE_FIRST.get(nature, ()):
        return False
    # Ribbons of titanium have no curl at any feed; fines and strings may be the feed's own.
    return (nature == "titanium" and kind in _RIBBONS) or not _feed_is_thin(now)


def _feed_is_thin(now: Situation) -> bool:
    feed, (start, _) = now.cut.feed_mm_rev, usual_feeds(now.setup, now.cut.direction)
    return feed is None or feed < start


def over_ceiling(now: Situation) -> list[Move]:
    """Return the wish for less speed where the edge is run above what it stands."""
    metal, speed = now.setup.metal, now.made.speed_m_min
    _, high, source = speed_span(now.setup, now.cut.direction)
    ceiling = high * rule_value("speed_over_table", "share")
    own = metal.hss_ceiling_m_min
    if own is not None and now.setup.edge.material == "HSS":
        ceiling = min(ceiling, own.value)
    if speed <= ceiling:
        return []
    size = max(speed / high, rule_value("move", "speed"))  # down into the table at once
    return [
        Move(
            lever="speed", way=-1, reason="over-ceiling", sources=(source, "sharma"), size=size
        )
    ]


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
        return _groove_cut(now, kind)
    mild = now.mark.form < 3  # noqa: PLR2004 - 3 is dangerous: then gears are worth it
    return by_cost(now, _BY_NATURE[now.setup.metal.nature](now, kind), mild=mild)


def by_cost(now: Situation, moves: list[Move], *, mild: bool = True) -> list[Move]:
    """Return moves with those last that cost ten minutes of change gears.

    Against a turn of the dial they wait, unless what they cure is dangerous or so little
    stock is left that a wasted cut costs more.
    """
    deepest = now.cut.depth_mm * max(
        (m.size or 1.0 for m in moves if m.lever == "depth"), default=1.0
    )
    short = now.stock.left_mm is not None and now.stock.left_mm < _CUTS * deepest
    if now.setup.lathe.feed_change != "gears" or not mild or short:
        return moves
    dials = [m for m in moves if m.lever in {"depth", "coolant"}]
    feeds = [m for m in moves if m.lever == "feed"]
    return [*dials, *feeds, *(m for m in moves if m not in dials and m not in feeds)]


def _groove_cut(now: Situation, kind: FormClass) -> list[Move]:
    if kind not in _LONG:
        return [_feed_down("part-crumbs")]
    _, high, _ = speed_span(now.setup, now.cut.direction)
    slower = [_speed(-1, "part-slower")] if now.made.speed_m_min > high else []
    hollow = groove(now, "part-hollow", "practice")
    return [_feed_up("part-ribbon", "war-lathe"), *slower, *hollow]


def _by_itself(now: Situation, kind: FormClass) -> list[Move]:
    if kind in _LONG:
        more = thicken(now, _FREE_CUTTING.get(kind, _ANY), *_CHIPS)
        return [*more, *groove(now), *cooling(now, "oil-curl")]
    return _crushed(now, kind)


def _with_feed(now: Situation, kind: FormClass) -> list[Move]:
    if kind in _LONG:
        more = thicken(now, _PLAIN[kind], *_CHIPS)
        return [*more, *groove(now), _SLOWER, *cooling(now, "oil-curl")]
    return _crushed(now, kind)


#: Less speed only shows on the form when it is a good deal less, and then once.
_SLOWER = Move(
    lever="speed", way=-1, reason="long-slower", sources=("jawahir1993",), size=1.7, trials=1
)
_ANY = "free-cutting-long"
_FREE_CUTTING = {
    _F.LONG_COIL: "free-cutting-long",
    _F.LONG_RIBBON: "free-cutting-ribbon",
    _F.SNARLED: "free-cutting-ribbon",
}
_PLAIN = {
    _F.LONG_COIL: "long-feed",
    _F.LONG_RIBBON: "ribbon-feed",
    _F.SHORT_RIBBON: "ribbon-feed",
    _F.SNARLED: "snarl-feed",
}
_STAINLESS = {
    _F.LONG_COIL: "stainless-long",
    _F.LONG_RIBBON: "stainless-ribbon",
    _F.SHORT_RIBBON: "stainless-ribbon",
    _F.SNARLED: "stainless-snarl",
}
_SOFT = {
    _F.LONG_COIL: "aluminium-long",
    _F.LONG_RIBBON: "aluminium-ribbon",
    _F.SHORT_RIBBON: "aluminium-ribbon",
    _F.SNARLED: "aluminium-ribbon",
}


def _crushed(now: Situation, kind: FormClass) -> list[Move]:
    """Return what crumbs and needles ask for in a metal that ought to curl."""
    if now.setup.metal.nature in {"gummy steel", "aluminium"} and welds_by_speed(now):
        return unweld(now, "built-up")
    if now.cut.feed_mm_rev is not None and _feed_is_thin(now):
        reason = "needles-thin" if kind is _F.NEEDLE else "crumbs-thin"
        return [*thicken(now, reason, "hmin-reports"), _speed(-1, "needles-slower")]
    if kind is _F.NEEDLE:
        return [_speed(-1, "needles-slower"), _feed_down("needles-feed", "li-zhou")]
    return [_feed_down("crushed", "li-zhou"), _speed(-1, "crumbs-slower")]


def _stainless(now: Situation, kind: FormClass) -> list[Move]:
    if kind in _LONG:
        more = thicken(now, _STAINLESS[kind], "outokumpu", *_CHIPS[:2])
        return [*more, *groove(now), _SLOWER, *cooling(now, "oil-curl")]
    return _crushed(now, kind)


def _titanium(now: Situation, kind: FormClass) -> list[Move]:
    """Return how to get a steady curl; breaking is not asked for [ti-notes]."""
    oil = cooling(now, "titanium-oil", "ti-notes")
    if kind in FINES and not _feed_is_thin(now):
        return [
            *oil,
            _speed(-1, "titanium-fines-slower", "ti-notes"),
            fresh_edge(now, "edge-sharp", "ragged"),
        ]
    if kind in FINES:
        reason = "titanium-fines" if kind is _F.ELEMENTAL else "titanium-needles"
        return [*thicken(now, reason, "ti-notes", "nfpa484"), *oil]
    if kind in _RIBBONS:
        flat = positive_rake(now)
        thicker = _feed_up("titanium-no-curl", "ti-notes")
        return [*flat, thicker, *oil, fresh_edge(now, "edge-sharp", "flat")]
    more = thicken(now, "titanium-snarl", "ti-notes")
    slower = replace(_SLOWER, reason="titanium-slower", sources=("ti-notes",))
    return [*more, *oil, slower, *groove(now)]


def _aluminium(now: Situation, kind: FormClass) -> list[Move]:
    if kind in _LONG:
        more = thicken(now, _SOFT[kind], *_CHIPS)
        return [*more, *groove(now), *cooling(now, "oil-curl")]
    return _crushed(now, kind)


def _crumbling(now: Situation, kind: FormClass) -> list[Move]:
    more = thicken(now, "brittle-needles" if kind is _F.NEEDLE else "brittle-long", *_CHIPS)
    return [*(flat_rake(now) if kind in _LONG else []), *more]


_BY_NATURE = {
    "breaks by itself": _by_itself,
    "breaks with feed": _with_feed,
    "gummy steel": _with_feed,
    "tough stainless": _stainless,
    "titanium": _titanium,
    "aluminium": _aluminium,
    "crumbles": _crumbling,
}
