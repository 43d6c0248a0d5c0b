"""What points at the edge before any setting: chips that changed when no setting did.

An edge that chips in a pass shows first in the chip [smith2008]; a worn one thickens and
heats it. Looking costs a minute, and nothing that a dial does makes up for a dead edge.
"""

from __future__ import annotations

from statistics import median_low
from typing import TYPE_CHECKING, Final

from advisor.assess import tint_rank
from advisor.heat_trend import heat_passes, heat_trend
from advisor.history import moved_between
from advisor.rules import FINES, found_sharp, looks_at_edge_first
from advisor.state import setup_of, usual_feeds
from advisor.tables import rule_value
from advisor.taper import thick_at_the_chuck
from advisor.terms import FormClass, form_class
from advisor.thickness import compression, is_thicker, same_before, thickness_in

if TYPE_CHECKING:
    from advisor.records import Evidence, PassRecord
    from advisor.situation import Situation

__all__ = ["edge_reason"]

_TINT_STEP: Final = 2  # one name is within doubt, two are a change
#: What an edge leaves behind when it goes, alike signs together; chatter and labouring have
#: other causes.
_SIGNS: Final = {
    "burr": "surface",
    "tearing": "surface",
    "dull finish": "surface",
    "rubbing": "rubbing",
}
#: Moves that can only make a chip shorter, by lever and way; less speed may weld metal on.
_SHORTENS: Final = (("feed", 1), ("depth", 1))
_LONG: Final = (FormClass.SNARLED, FormClass.LONG_RIBBON, FormClass.LONG_COIL)
_KINDS: Final = {
    "1": "ribbon",
    "2": "coil",
    "3": "spiral",
    "4": "coil",
    "5": "coil",
    "6": "arc",
    "7": "grain",
    "8": "needle",
}
_CLEARLY: Final = 0.55  # of the metal
_WRONG: Final = 2  # badness of a form that asks for something


def edge_reason(now: Situation) -> str | None:
    """Return the id of the reason to look at the edge, or None.

    Never twice for the same sign: once the edge was looked at after a pass, that pass says
    no more about it, and it becomes what later ones are compared with.
    """
    if now.last.edge_looked_at != "not yet":
        return None
    earlier = same_before(now.case, len(now.case.passes) - 1)
    for reason, seen in (
        ("edge-suspect", _form_worse(now, earlier) or _hotter(now, earlier)),
        ("edge-suspect-heat", _hotter_than_explained(now)),
        ("edge-suspect-kind", _other_kind(now, earlier)),
        ("edge-suspect-slivers", _slivers(now, earlier)),
        ("edge-suspect-signs", _new_signs(now, earlier)),
        ("edge-suspect-burr", _burr(now)),
        ("edge-suspect-thick", _thicker(now, earlier)),
        ("edge-suspect-after", _got_longer_though(now)),
        ("edge-suspect-hot", _stayed_hot(now)),
        ("edge-suspect-ratio", _too_thick(now)),
        ("edge-suspect-rubbing", not found_sharp(now) and _rubs_with_a_full_chip(now)),
        ("edge-suspect-taper", not found_sharp(now) and thick_at_the_chuck(now)),
    ):
        if seen:
            return reason
    if looks_at_edge_first(now):
        if now.setup.metal.nature != "titanium":
            return "edge-free-cutting"
        fines = now.form is not None and form_class(now.form) in FINES
        return "edge-fines" if fines else "edge-no-curl"
    return None


def _form_worse(now: Situation, earlier: list[int]) -> bool:
    """Return whether clearly more of the metal is in bad forms than in most passes before."""
    known = [now.marks[n].bad_share for n in earlier if now.marks[n].form is not None]
    if not known or now.mark.form is None:
        return False
    return now.mark.bad_share - median_low(known) >= rule_value("chip", "share_is_a_sign")


def _other_kind(now: Situation, earlier: list[int]) -> bool:
    """Return whether most of the metal is of another kind than in every pass before.

    Better or worse: what no setting did, the edge did.
    """
    passes = [now.case.passes[n] for n in earlier]
    kinds = {_kind(p.evidence) for p in passes}
    kind = _kind(now.last.evidence)
    return kind is not None and len(kinds) == 1 and None not in kinds and kind not in kinds


def _kind(chips: Evidence) -> str | None:
    """Return ribbon, coil, spiral, arc, grain or needle, where most of the metal is one."""
    kinds: dict[str, float] = {}
    for code, share in chips.mix:
        name = _KINDS[code[0]]
        kinds[name] = kinds.get(name, 0.0) + share
    if not kinds or chips.usable == "retake":
        return None
    name, share = max(kinds.items(), key=lambda pair: pair[1])
    return name if share >= _CLEARLY else None


def _slivers(now: Situation, earlier: list[int]) -> bool:
    """Return whether needles came up among chips that had none: a ragged edge splits them."""
    before = [now.case.passes[n].evidence.share_of("8") for n in earlier]
    here = now.last.evidence.share_of("8")
    rise = rule_value("chip", "needles_are_a_sign")
    return bool(before) and max(before) < rise / 2.0 and here >= rise


def _hotter(now: Situation, earlier: list[int]) -> bool:
    """Return whether the tint climbed by two names above the palest pass before."""
    hot = _rank(now, now.last)
    cool = [r for n in earlier if (r := _rank(now, now.case.passes[n])) is not None]
    return hot is not None and bool(cool) and hot - min(cool) >= _TINT_STEP


def _hotter_than_explained(now: Situation) -> bool:
    """Return whether the film grew by more than the settings and scatter explain."""
    trend = heat_trend(heat_passes(now.case), now.setup.metal.tint)
    return trend.state == "hotter"


def _rank(now: Situation, record: PassRecord) -> int | None:
    chips = record.evidence
    if now.setup.metal.tint == "none" or not chips.tint_sure:
        return None
    return tint_rank(chips.tint)


def _new_signs(now: Situation, earlier: list[int]) -> bool:
    if not earlier:
        return False
    before = {_SIGNS[s] for n in earlier for s in now.case.passes[n].noticed if s in _SIGNS}
    return any(s in _SIGNS and _SIGNS[s] not in before for s in now.last.noticed)


def _burr(now: Situation) -> bool:
    """Return whether a burr came up that no look has yet found a sharp edge behind."""
    seen = [p.noticed for p in now.case.passes[:-1] if p.edge.id == now.last.edge.id]
    return "burr" in now.last.noticed and not any("burr" in noticed for noticed in seen)


def _thicker(now: Situation, earlier: list[int]) -> bool:
    """Return whether the chip is thicker than before although the uncut one is not."""
    here = thickness_in(now.case, len(now.case.passes) - 1)
    before = [t for n in earlier if (t := thickness_in(now.case, n)) is not None]
    return here is not None and is_thicker(here, before)


def _got_longer_though(now: Situation) -> bool:
    """Return whether good chips turned long after the one move that only shortens them."""
    if len(now.case.passes) < 2 or not now.last.evidence.sure:  # noqa: PLR2004 - a pair
        return False
    before, mark = now.case.passes[-2], now.marks[-2]
    moved = moved_between(before, now.last)
    if len(moved) != 1 or moved[0] not in _SHORTENS or mark.form is None:
        return False
    form = now.form
    worse = mark.form < _WRONG <= (now.mark.form or 0)
    return form is not None and worse and form_class(form) in _LONG


def _stayed_hot(now: Situation) -> bool:
    """Return whether less speed did not cool chips that are too hot."""
    if len(now.case.passes) < 2 or not now.mark.heat:  # noqa: PLR2004 - a pair
        return False
    before = now.case.passes[-2]
    if ("speed", -1) not in moved_between(before, now.last):
        return False
    hot, was = _rank(now, now.last), _rank(now, before)
    return hot is not None and was is not None and hot >= was


def _too_thick(now: Situation) -> bool:
    """Return whether the chip is far thicker than this metal's ever is off a sharp edge."""
    ratio = compression(setup_of(now.case, now.last), now.last)
    if ratio is None:
        return False
    most = now.setup.metal.compression.high
    far = ratio[0] > most * rule_value("chip", "thick_is_a_sign")
    return far and ratio[0] - 2.0 * ratio[1] > most


def _rubs_with_a_full_chip(now: Situation) -> bool:
    """Return whether it rubs although feed and depth are ample: then the edge does not cut."""
    if "rubbing" not in now.last.noticed or now.cut.feed_mm_rev is None:
        return False
    start, _ = usual_feeds(now.setup, now.cut.direction)
    floor = now.setup.metal.finishing_floor_mm.value
    ample = now.cut.feed_mm_rev >= start and now.cut.depth_mm >= 2.0 * floor
    return ample and now.cut.depth_mm >= now.setup.edge.re_mm
