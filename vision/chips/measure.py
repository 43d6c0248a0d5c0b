"""Sizes of one chip in millimetres, measured by what the chip is.

Ribbons, arcs and needles along their traced line; coils from radius, pitch and
length of the axis, never along a skeleton; spirals from their rings; nests as "at
least". Each raw size is then corrected by a factor and given its uncertainty from
a table learned on rendered chips with known truth (``vision/data/sizes.json``).
Not in here: which form it is (``forms``).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, pi, sqrt
from typing import TYPE_CHECKING, Literal

from vision.chips.curl import MIN_ARC_DEG
from vision.records import ChipGeometry, Measured

if TYPE_CHECKING:
    from collections.abc import Mapping

    from vision.chips.features import Shape

__all__ = ["SIZES", "SizeRule", "geometry_of", "raw_sizes"]

SIZES = ("length", "width", "extent", "curl_radius", "pitch", "turns", "coil_length")

#: Groups whose length is followed along a line.
_TRACED = ("1", "6", "8")
#: Least height of the autocorrelation peak for a pitch to be believed.
_REPEAT_SCORE = 0.25
#: Outline and shading must give the same pitch within this.
_REPEAT_AGREE = 0.85


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeRule:
    """Correction of one raw size in one group: a factor, and u = hypot(u_rel * x, u_abs)."""

    factor: float
    u_rel: float
    u_abs: float


def _coil_sizes(s: Shape, group: str) -> dict[str, float]:
    coil = s.coil
    if coil is None:
        return {}
    out = {"coil_length": coil.axis_px}
    strip = s.strip
    if coil.fill < 0.8:
        out["width"] = strip
    # The centre line runs half a strip inside the outline where the strip stands up.
    inset = {"2": 0.1, "5": 0.35, "4": 0.5}[group] * min(strip, 0.6 * coil.diameter_px)
    rho = max(coil.diameter_px / 2 - inset, 1.0)
    out["curl_radius"] = rho
    if coil.pitch_px > 0 and coil.score > _REPEAT_SCORE:
        # The first and the last turn lean over the ends of the axis.
        turns = max(coil.axis_px / coil.pitch_px, 1.0)
        out |= {
            "pitch": coil.pitch_px,
            "turns": turns,
            "length": turns * hypot(2 * pi * rho, coil.pitch_px),
        }
    return out


def _spiral_sizes(s: Shape) -> dict[str, float]:
    outer = s.extent / 2
    inner = max(s.eye * (outer + 2), 0.5)
    turns = max(s.rings, 0.75)
    out = {"turns": turns, "length": pi * (outer + inner) * turns}
    out["inner"], out["outer"] = inner, outer
    return out


def _line_sizes(s: Shape, group: str) -> dict[str, float]:
    if s.trace is None:
        return {}
    crossed = s.trace.junctions > 0 and s.trace.net_px > 1.1 * s.trace.length_px
    out = {
        "length": s.trace.net_px if crossed and group == "1" else s.trace.length_px,
        "width": s.width,
    }
    circle = s.circle
    if group == "6" and circle is not None and circle.arc_deg >= MIN_ARC_DEG:
        out |= {"curl_radius": circle.radius, "turns": circle.arc_deg / 360}
    return out


def raw_sizes(s: Shape, group: str, *, nest: bool = False) -> dict[str, float]:
    """Return raw sizes in crop pixels (``turns`` without unit), by name; missing if unknown.

    ``group`` is an ISO 3685 group ``"1"``...``"8"``; ``inner`` and ``outer`` radius are
    added for spirals.
    """
    out = {"extent": s.extent}
    if nest:
        out |= {"length": s.area / max(s.width, 1.0), "width": s.width}
    elif group in ("2", "4", "5"):
        out |= _coil_sizes(s, group)
    elif group == "3":
        out |= _spiral_sizes(s)
    elif group == "7":
        out |= {"width": min(s.box), "length": max(s.box)}
    else:
        out |= _line_sizes(s, group)
    return out


def _flagged_pitch(s: Shape) -> bool:
    return s.coil is not None and s.coil.agree < _REPEAT_AGREE


def geometry_of(
    shape: Shape,
    group: str,
    *,
    nest: bool,
    cut_off: bool,
    px_per_mm: float,
    u_scale_rel: float,
    rules: Mapping[str, SizeRule],
) -> tuple[ChipGeometry, tuple[str, ...]]:
    """Return a chip's sizes with uncertainties, and flags.

    Parameters
    ----------
    shape : Shape
        Measured on a crop of ``px_per_mm``.
    group : str
        ISO 3685 group.
    nest, cut_off : bool
        Sizes of nests and of chips running out of view are "at least".
    u_scale_rel : float
        Relative standard uncertainty of the scale; enters every length.
    rules : mapping "group/size" -> SizeRule
        Sizes without a rule are not given: nothing is known of their error.
    """
    raw = raw_sizes(shape, group, nest=nest)
    key = "nest" if nest else group
    bound: Literal["at_least"] | None = "at_least" if nest or cut_off else None

    def sized(name: str, *, per_mm: bool = True) -> Measured | None:
        rule = rules.get(f"{key}/{name}")
        if name not in raw or rule is None:
            return None
        value = raw[name] * rule.factor / (px_per_mm if per_mm else 1.0)
        u_scale = u_scale_rel * value if per_mm else 0.0  # turns are a count
        u = sqrt((rule.u_rel * value) ** 2 + rule.u_abs**2 + u_scale**2)
        limit = bound if name in ("length", "extent", "turns", "coil_length") else None
        if name == "length" and shape.pieces > 1 and group in _TRACED:
            limit = "at_least"  # the line was followed along the largest piece only
        return Measured(value=value, u=u, bound=limit)

    radii = None
    if group == "3" and "inner" in raw and not nest:
        radii = (raw["inner"] / px_per_mm, raw["outer"] / px_per_mm)
    elif group == "5" and shape.coil is not None and not nest:
        middle, half = shape.coil.diameter_px / 2, shape.coil.diameter_trend / 2
        radii = (middle * (1 - half) / px_per_mm, middle * (1 + half) / px_per_mm)
    flags = ("pitch-unsure",) if "pitch" in raw and _flagged_pitch(shape) else ()
    return (
        ChipGeometry(
            length_mm=sized("length"),
            width_mm=sized("width"),
            extent_mm=sized("extent"),
            curl_radius_mm=sized("curl_radius"),
            curl_radius_range_mm=radii,
            pitch_mm=sized("pitch"),
            turns=sized("turns", per_mm=False),
            coil_length_mm=sized("coil_length"),
            area_mm2=shape.area / px_per_mm**2,
        ),
        flags,
    )
