"""Chip thickness against pass as a picture: dots with bars of doubt, the edge called by shape.

A square begins a row (other settings, edge or way of measuring), a triangle is a chip so
much thicker that the edge is called, any other a dot; a grey line is what it is compared
with, a dashed one where the edge is called. Gives HTML; touches no page.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from app.parts.drawing import drawing
from app.show import Units, about, convert, unit_label

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["thickness_picture", "thickness_rows", "thickness_text"]

Json = dict[str, Any]
_WIDTH, _HEIGHT = 360.0, 196.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 62.0, 352.0, 14.0, 160.0
#: The most passes that are drawn, the latest ones.
_MOST = 16
_STEPS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0)
_INCH_STEPS = (0.0005, 0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2)
_LINES = 6
_WAYS = {"micrometer": "", "weighed": " (weight)", "length": " (length)"}
_STATES = {"first": "new row", "steady": "", "watch": "a little thicker", "thicker": "thicker"}


def _top(points: Sequence[Json]) -> float:
    """Return the top of the scale, mm; a reading in great doubt does not stretch it."""
    values = [(p["thickness_mm"]["value"], p["thickness_mm"]["u"]) for p in points]
    tops = [value + min(2 * u, 0.4 * value) for value, u in values]
    return 1.08 * float(max(*tops, *(p["call_mm"] or 0.0 for p in points)))


def _y(mm: float, top: float) -> float:
    return _BOTTOM - (_BOTTOM - _TOP) * min(max(mm, 0.0), top) / top


def _axis(top: float, units: Units) -> str:
    shown, name = convert(top, "mm", units)
    steps = _STEPS if units is Units.METRIC else _INCH_STEPS
    step = next((s for s in steps if shown / s <= _LINES), steps[-1])
    out = []
    for k in range(int(shown / step) + 1):
        y = _y(top * k * step / shown, top)
        out.append(
            f'<path d="M{_LEFT} {y:.1f}H{_RIGHT}" stroke="currentColor" stroke-opacity="0.15"/>'
            f'<text x="{_LEFT - 6}" y="{y + 4:.1f}" font-size="12" text-anchor="end">'
            f"{k * step:g}{' ' + name if k == 0 else ''}</text>"
        )
    return "".join(out)


def _mark(p: Json, x: float, step: float, top: float) -> str:
    value, u = p["thickness_mm"]["value"], p["thickness_mm"]["u"]
    y, low, high = (_y(mm, top) for mm in (value, value - 2 * u, value + 2 * u))
    out = (
        f'<path d="M{x:.1f} {low:.1f}V{high:.1f}m-6 0h12M{x - 6:.1f} {low:.1f}h12" '
        'stroke="currentColor" stroke-width="1.4" fill="none"/>'
    )
    if p["before_mm"] is not None:
        half, before, call = (
            min(0.4 * step, 14.0),
            _y(p["before_mm"], top),
            _y(p["call_mm"], top),
        )
        out += (
            f'<path d="M{x - half:.1f} {before:.1f}h{2 * half:.1f}" stroke="#888" '
            'stroke-width="4" stroke-opacity="0.55"/>'
            f'<path d="M{x - half:.1f} {call:.1f}h{2 * half:.1f}" stroke="currentColor" '
            'stroke-width="1.2" stroke-dasharray="4 3"/>'
        )
    if p["state"] == "thicker":
        side, dx = ("end", -13) if x > (_LEFT + _RIGHT) / 2 else ("start", 13)
        return out + (
            f'<path d="M{x:.1f} {y - 9:.1f}l8 14h-16z"/>'
            f'<text x="{x + dx:.1f}" y="{max(y - 2, _TOP + 11):.1f}" font-size="13" '
            f'font-weight="700" text-anchor="{side}">thicker</text>'
        )
    if p["state"] == "first":
        return out + f'<rect x="{x - 4:.1f}" y="{y - 4:.1f}" width="8" height="8"/>'
    return out + f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4"/>'


def thickness_picture(trend: Json, units: Units) -> str:
    """Return thickness against pass; empty for fewer than two measured passes."""
    if len(trend["points"]) < 2:  # noqa: PLR2004 - one point is no trend
        return ""
    points = trend["points"][-_MOST:]
    top = _top(points)
    step = (_RIGHT - _LEFT) / len(points)
    parts = [_axis(top, units)]
    for k, point in enumerate(points):
        x = _LEFT + (k + 0.5) * step
        parts.append(_mark(point, x, step, top))
        parts.append(
            f'<text x="{x:.1f}" y="{_BOTTOM + 16}" font-size="12" text-anchor="middle">'
            f"{point['number']}</text>"
        )
    frame = (
        f'<text x="{_LEFT - 6}" y="{_BOTTOM + 30}" font-size="12" text-anchor="end">pass</text>'
        f'<path d="M{_LEFT} {_TOP}V{_BOTTOM}H{_RIGHT}" stroke="currentColor" '
        'stroke-opacity="0.5" fill="none"/>'
    )
    words = thickness_text(trend, units)
    return drawing(frame + "".join(parts), width=_WIDTH, height=_HEIGHT, words=words)


def thickness_text(trend: Json, units: Units) -> str:
    """Return the picture in words, for those who cannot see it."""
    passes = ", ".join(
        f"pass {p['number']} {about(p['thickness_mm'], 'mm', units)}"
        f"{' (thicker)' if p['state'] == 'thicker' else ''}"
        for p in trend["points"][-_MOST:]
    )
    return f"Chip thickness against pass: {passes}."


def thickness_rows(trend: Json, units: Units) -> list[Json]:
    """Return the same as rows of a table, the latest pass first."""
    name = unit_label("mm", units)
    return [
        {
            "pass": p["number"],
            f"chip, {name}": _bare(p["thickness_mm"], units) + _WAYS[p["measured"]],
            f"before, {name}": "\N{EN DASH}"
            if p["before_mm"] is None
            else _bare(
                {"value": p["before_mm"], "u": p["thickness_mm"]["u"]}, units, alone=True
            ),
            "times": about(p["compression"], "", spread=True).replace(
                " ", "\N{NO-BREAK SPACE}"
            ),
            "": _STATES[p["state"]],
        }
        for p in reversed(trend["points"])
    ]


def _bare(measured: Json, units: Units, *, alone: bool = False) -> str:
    """Return a thickness without its unit, which stands in the header of the column."""
    text = about(measured, "mm", units, spread=not alone)
    bare = text.replace(f" {unit_label('mm', units)}", "")
    return bare.replace(" ", "\N{NO-BREAK SPACE}")  # a narrow screen must not tear it apart
