"""The heat of a job's passes as a picture: film against pass, with the tinted share.

An alarm is a triangle with a word, a pass that begins a new row a square, any other a dot;
the grey box is what the passes before and the settings led to expect. Gives HTML;
touches no page.
"""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING, Any

from app.parts.drawing import drawing
from app.show import lab_to_hex

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["trend_picture", "trend_rows", "trend_text"]

Json = dict[str, Any]
_WIDTH, _HEIGHT = 360.0, 232.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 90.0, 352.0, 10.0, 168.0
#: Least height of the scale, nm: bright to dark blue, so that small scatter looks small.
_LEAST_NM = 48.0
#: The most passes that are drawn, the latest ones.
_MOST = 16
_LINE = 13.0
_SETTINGS = {
    "same": "same settings",
    "hotter": "settings that heat",
    "cooler": "settings that cool",
    "new row": "new row: other edge, coolant or direction, or the first",
}


def _scale(points: Sequence[Json]) -> float:
    """Return the top of the scale, nm; a reading in great doubt does not stretch it."""
    tops = [p["film_nm"] + min(2 * p["u_film_nm"], 0.3 * p["film_nm"] + 20) for p in points]
    return float(max(_LEAST_NM, *tops))


def _y(nm: float, top_nm: float) -> float:
    return _BOTTOM - (_BOTTOM - _TOP) * min(max(nm, 0.0), top_nm) / top_nm


def _axis(rungs: Sequence[Json], top_nm: float) -> str:
    """Return the ladder up the left side: colours, borders and as many names as fit."""
    out, last = [], _BOTTOM + _LINE
    for rung in rungs:
        if rung["from_nm"] >= top_nm:
            break
        high = min(rung["to_nm"], top_nm)
        y0, y1 = _y(rung["from_nm"], top_nm), _y(high, top_nm)
        shade = lab_to_hex(rung["shades"][len(rung["shades"]) // 2])
        out.append(
            f'<rect x="{_LEFT - 12}" y="{y1:.1f}" width="9" height="{y0 - y1:.1f}" '
            f'fill="{shade}" stroke="#777" stroke-width="0.6"/>'
            f'<path d="M{_LEFT} {y1:.1f}H{_RIGHT}" stroke="currentColor" '
            'stroke-opacity="0.15"/>'
        )
        middle = (y0 + y1) / 2 + 4
        if last - middle >= _LINE and middle > _TOP + 4:
            out.append(
                f'<text x="{_LEFT - 16}" y="{middle:.1f}" font-size="12.5" '
                f'text-anchor="end">{escape(rung["name"])}</text>'
            )
            last = middle
    return "".join(out)


def _expected(p: Json, x: float, step: float, top_nm: float) -> str:
    if p["expected_nm"] is None:
        return ""
    y0 = _y(p["expected_nm"] - 2 * p["u_expected_nm"], top_nm)
    y1 = _y(p["expected_nm"] + 2 * p["u_expected_nm"], top_nm)
    wide = min(0.7 * step, 26.0)
    return (
        f'<rect x="{x - wide / 2:.1f}" y="{y1:.1f}" width="{wide:.1f}" '
        f'height="{max(y0 - y1, 1.0):.1f}" fill="#888" fill-opacity="0.25"/>'
    )


def _mark(p: Json, x: float, top_nm: float) -> str:
    y = _y(p["film_nm"], top_nm)
    low = _y(p["film_nm"] - 2 * p["u_film_nm"], top_nm)
    high = _y(p["film_nm"] + 2 * p["u_film_nm"], top_nm)
    whisker = (
        f'<path d="M{x:.1f} {low:.1f}V{high:.1f}m-4 0h8M{x - 4:.1f} {low:.1f}h8" '
        'stroke="currentColor" stroke-width="1.4" fill="none"/>'
    )
    if p["alarm"]:
        shape = f'<path d="M{x:.1f} {y - 10:.1f}l9 16h-18z"/>'
        side = "end" if x > (_LEFT + _RIGHT) / 2 else "start"
        dx = -13 if side == "end" else 13
        word = (
            f'<text x="{x + dx:.1f}" y="{max(y - 2, _TOP + 11):.1f}" font-size="13" '
            f'font-weight="700" text-anchor="{side}">hotter</text>'
        )
        return whisker + shape + word
    if p["settings"] == "new row":
        return whisker + f'<rect x="{x - 5:.1f}" y="{y - 5:.1f}" width="10" height="10"/>'
    return whisker + f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5"/>'


def _foot(p: Json, x: float, step: float) -> str:
    """Return the pass number, and the tinted share as a bar with its number."""
    number = (
        f'<text x="{x:.1f}" y="{_BOTTOM + 15}" font-size="12" text-anchor="middle">'
        f"{p['number']}</text>"
    )
    share = p["share_tinted"]
    if share is None:
        return number
    base, tall, wide = _BOTTOM + 46, 22.0, min(0.5 * step, 16.0)
    bar = (
        f'<rect x="{x - wide / 2:.1f}" y="{base - tall:.1f}" width="{wide:.1f}" '
        f'height="{tall}" fill="none" stroke="currentColor" stroke-opacity="0.4"/>'
        f'<rect x="{x - wide / 2:.1f}" y="{base - tall * share:.1f}" width="{wide:.1f}" '
        f'height="{tall * share:.1f}"/>'
    )
    figure = (
        f'<text x="{x:.1f}" y="{base + 13}" font-size="12" text-anchor="middle">'
        f"{100 * share:.0f}</text>"
    )
    return number + bar + (figure if step >= 22 else "")  # noqa: PLR2004 - three digits


def trend_picture(trend: Json, rungs: Sequence[Json]) -> str:
    """Return film and tinted share against pass; empty for fewer than two passes.

    Parameters
    ----------
    trend : dict
        As ``engine.heat_trend`` gives it.
    rungs : sequence of dict
        The metal's ladder, as ``engine.tint_ladder`` gives it.
    """
    points = trend["points"][-_MOST:]
    if len(trend["points"]) < 2 or not rungs:  # noqa: PLR2004 - one point is no trend
        return ""
    top_nm = _scale(points)
    step = (_RIGHT - _LEFT) / len(points)
    xs = [_LEFT + (k + 0.5) * step for k in range(len(points))]
    parts = [_axis(rungs, top_nm)]
    parts += [_expected(p, x, step, top_nm) for p, x in zip(points, xs, strict=True)]
    parts += [_mark(p, x, top_nm) for p, x in zip(points, xs, strict=True)]
    parts += [_foot(p, x, step) for p, x in zip(points, xs, strict=True)]
    left = (
        f'<text x="{_LEFT - 16}" y="{_BOTTOM + 15}" font-size="12" text-anchor="end">'
        "pass</text>"
        f'<text x="{_LEFT - 16}" y="{_BOTTOM + 40}" font-size="12.5" text-anchor="end">'
        f'tinted, %</text><path d="M{_LEFT} {_TOP}V{_BOTTOM}H{_RIGHT}" '
        'stroke="currentColor" stroke-opacity="0.5" fill="none"/>'
    )
    inside = left + "".join(parts)
    return drawing(inside, width=_WIDTH, height=_HEIGHT, words=trend_text(trend))


def trend_text(trend: Json) -> str:
    """Return the picture in words, for those who cannot see it."""
    films = ", ".join(
        f"pass {p['number']} {p['film_nm']:.0f} nm{' (hotter)' if p['alarm'] else ''}"
        for p in trend["points"][-_MOST:]
    )
    return f"Oxide film on the chips against pass: {films}."


def trend_rows(trend: Json) -> list[Json]:
    """Return the same as rows of a table, the latest pass first."""
    return [
        {
            "pass": p["number"],
            "film, nm": f"{p['film_nm']:.0f} ± {2 * p['u_film_nm']:.0f}",
            "expected, nm": "\N{EN DASH}"
            if p["expected_nm"] is None
            else f"{p['expected_nm']:.0f} ± {2 * p['u_expected_nm']:.0f}",
            "tinted, %": "\N{EN DASH}"
            if p["share_tinted"] is None
            else f"{100 * p['share_tinted']:.0f}",
            "settings": _SETTINGS[p["settings"]],
            "alarm": "hotter" if p["alarm"] else "",
        }
        for p in reversed(trend["points"])
    ]
