"""The ladder of tints as a picture: computed colours, and the reading's place on them.

Place and doubt are told by a pointer, a bar with ends and words; colour only goes along.
Gives HTML; touches no page.
"""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING, Any

from app.heat_words import film_words
from app.parts.drawing import drawing
from app.show import lab_to_hex

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["ladder_picture", "ladder_text", "measured_lab"]

Json = dict[str, Any]
_WIDTH, _SIDE = 360.0, 8.0
_BAR_TOP, _BAR_HIGH = 58.0, 26.0
_SHORT = {"second yellow": "2nd yellow", "second purple": "2nd purple"}
#: Half the width of a letter, plain and bold, in units of the picture, for keeping words
#: inside; names take turns on so many lines below the bar.
_LETTER, _BOLD = 3.6, 4.3
_NAME_HIGH, _FEW_RUNGS = 15.0, 10


def measured_lab(reading: Json) -> list[float] | None:
    """Return the colour of the chip whose film is nearest to that of the whole photo."""
    film = (reading.get("heat") or {}).get("film_nm")
    if not film:
        return None
    known = [
        (abs(t["film_nm"]["value"] - film["value"]), t["lab"])
        for t in (chip["tint"] for chip in reading["chips"])
        if t and t.get("film_nm") and t.get("lab")
    ]
    return min(known, key=lambda pair: pair[0])[1] if known else None


def _x(nm: float, rungs: Sequence[Json]) -> float:
    """Return the place of a film; every rung is equally wide."""
    wide = (_WIDTH - 2 * _SIDE) / len(rungs)
    for k, rung in enumerate(rungs):
        if nm < rung["to_nm"] or k == len(rungs) - 1:
            share = (nm - rung["from_nm"]) / (rung["to_nm"] - rung["from_nm"])
            return _SIDE + wide * (k + float(min(max(share, 0.0), 1.0)))
    return _WIDTH - _SIDE


def _bar(rungs: Sequence[Json]) -> str:
    wide = (_WIDTH - 2 * _SIDE) / len(rungs)
    out = []
    for k, rung in enumerate(rungs):
        step = wide / len(rung["shades"])
        for i, lab in enumerate(rung["shades"]):
            out.append(
                f'<rect x="{_SIDE + k * wide + i * step:.1f}" y="{_BAR_TOP}" '
                f'width="{step + 0.4:.1f}" height="{_BAR_HIGH}" fill="{lab_to_hex(lab)}"/>'
            )
        if k:
            x = _SIDE + k * wide
            out.append(
                f'<path d="M{x:.1f} {_BAR_TOP}v{_BAR_HIGH + 4}" stroke="#777" '
                'stroke-width="1"/>'
            )
    return "".join(out)


def _lines(rungs: Sequence[Json]) -> int:
    return 2 if len(rungs) <= _FEW_RUNGS else 3


def _names(rungs: Sequence[Json], marked: Sequence[str]) -> str:
    """Return the names under the bar on lines in turn, those of the reading bold."""
    wide = (_WIDTH - 2 * _SIDE) / len(rungs)
    out = []
    for k, rung in enumerate(rungs):
        name = str(_SHORT.get(rung["name"], rung["name"]))
        half = _LETTER * len(name)
        x = min(max(_SIDE + (k + 0.5) * wide, half), _WIDTH - half)
        y = _BAR_TOP + _BAR_HIGH + _NAME_HIGH * (1 + k % _lines(rungs)) + 1
        weight = ' font-weight="700" text-decoration="underline"' if name in marked else ""
        out.append(
            f'<text x="{x:.1f}" y="{y:.0f}" font-size="12" text-anchor="middle"{weight}>'
            f"{escape(name)}</text>"
        )
    return "".join(out)


def _place(heat: Json, rungs: Sequence[Json], lab: list[float] | None) -> str:
    """Return swatch, pointer and bar of doubt above the ladder."""
    film = heat["film_nm"]
    low = _x(max(0.0, film["value"] - 2 * film["u"]), rungs)
    high = _x(film["value"] + 2 * film["u"], rungs)
    open_end = film.get("bound") == "at_least"
    if open_end:
        high = _WIDTH - _SIDE
    x = _x(film["value"], rungs)
    y = _BAR_TOP - 8
    end = f"M{high:.1f} {y}l-6 -4m6 4l-6 4" if open_end else f"M{high:.1f} {y - 5}v10"
    swatch = ""
    if lab is not None:
        left = min(max(x - 17, 1.5), _WIDTH - 35.5)
        swatch = (
            f'<rect x="{left:.1f}" y="19" width="34" height="19" fill="{lab_to_hex(lab)}" '
            'stroke="#777" stroke-width="3"/>'
        )
    words = f"{' or '.join(_named(heat))}, {film_words(heat)}"
    if 2 * _BOLD * len(words) > _WIDTH:  # the names stand out below the bar as well
        words = f"one of {len(_named(heat))} tints, {film_words(heat)}"
    half = _BOLD * len(words)
    return (
        f'<text x="{min(max(x, half), _WIDTH - half):.1f}" y="12" font-size="13" '
        f'font-weight="700" text-anchor="middle">{escape(words)}</text>{swatch}'
        f'<path d="M{low:.1f} {y - 5}v10M{low:.1f} {y}H{high:.1f}{end}" '
        'stroke="currentColor" stroke-width="2" fill="none"/>'
        f'<path d="M{x:.1f} {_BAR_TOP + 3}l-6 -12h12z" fill="currentColor"/>'
    )


def _named(heat: Json) -> list[str]:
    sure = heat.get("sure", True) and heat.get("tint")
    return [heat["tint"]] if sure else list(heat.get("candidates") or [heat.get("tint")])


def ladder_text(heat: Json, rungs: Sequence[Json]) -> str:
    """Return the picture in words, for those who cannot see it."""
    order = ", ".join(rung["name"] for rung in rungs)
    return (
        f"Ladder of tints: {order}. The chips: {' or '.join(_named(heat))}, {film_words(heat)}."
    )


def ladder_picture(reading: Json, rungs: Sequence[Json]) -> str:
    """Return the ladder with the reading on it; empty where there is nothing to place.

    Parameters
    ----------
    reading : dict
        A reading of the contract.
    rungs : sequence of dict
        As ``engine.tint_ladder`` gives them.
    """
    heat = reading.get("heat") or {}
    if not rungs or not heat.get("film_nm"):
        return ""
    short = [_SHORT.get(name, name) for name in _named(heat)]
    inside = _bar(rungs) + _names(rungs, short) + _place(heat, rungs, measured_lab(reading))
    words = ladder_text(heat, rungs)
    high = _BAR_TOP + _BAR_HIGH + _NAME_HIGH * _lines(rungs) + 8
    return drawing(inside, width=_WIDTH, height=high, words=words)
