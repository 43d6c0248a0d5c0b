"""Sizes of one chip in millimetres, measured by what the chip is.

Ribbons, arcs and needles along their traced line; coils from radius, pitch and
length of the axis, never along a skeleton; spirals from their rings; nests as "at
least". What these raw sizes are worth, chip by chip, is told by ``sizing``. Not in here:
which form it is (``forms``).
"""

from __future__ import annotations

from math import cos, hypot, pi, radians, sin
from typing import TYPE_CHECKING, Literal

from vision.chips.curl import MIN_ARC_DEG
from vision.chips.features import CROP_PX_PER_MM
from vision.records import ChipGeometry, Measured
from vision.terms import COIL_GROUPS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from vision.chips.coil import Coil
    from vision.chips.features import Shape

__all__ = ["SIZES", "Sized", "geometry_of", "raw_sizes"]

SIZES = ("length", "width", "extent", "curl_radius", "pitch", "turns", "coil_length")

#: Least height of the autocorrelation peak for a pitch to be believed.
_REPEAT_SCORE = 0.25
#: Outline and shading must give the same pitch within this.
_REPEAT_AGREE = 0.85
#: Where nothing tells how the strip lies on its coil: degrees from the axis, by group.
_USUAL_LIE_DEG = {"2": 6.0, "5": 40.0, "4": 85.0}
#: Thickness of a strip as a share of its width. Common practice, no source: a tenth.
_THICKNESS = 0.1
#: No strip is wider than such a share of its coil's diameter, and no centre line nearer to the
#: axis than such a one.
_WIDEST, _LEAST_RADIUS = 0.6, 0.15

#: A size and its relative standard uncertainty.
Sized = tuple[float, float]


def _curl_radius_px(s: Shape, coil: Coil, group: str) -> float:
    """Return the radius of a coil's centre line.

    A strip stands out from it by half its width as far as it stands on edge, and by half its
    thickness as far as it lies on the coil: an outline of radius R leaves
    ``R - b / 2 (sin t + h sin (90 deg - t))`` with the share ``h`` of thickness to width. Width
    and lie are those of the glance and of the look at the coil, or what the group suggests.
    """
    if s.glance is not None:
        width = s.glance.mm("width") * CROP_PX_PER_MM
    else:
        width = min(s.strip, _WIDEST * coil.diameter_px)
    lie = radians(_USUAL_LIE_DEG[group] if s.lie is None else s.lie.deg)
    out = width / 2 * (sin(lie) + _THICKNESS * cos(lie))
    return max(coil.diameter_px / 2 - out, _LEAST_RADIUS * coil.diameter_px, 1.0)


def _coil_sizes(s: Shape, group: str) -> dict[str, float]:
    coil = s.coil
    if coil is None:
        return {}
    out = {"coil_length": coil.axis_px}
    if coil.fill < 0.8:
        out["width"] = s.strip
    rho = _curl_radius_px(s, coil, group)
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
    return {
        "turns": turns,
        "length": pi * (outer + inner) * turns,
        "curl_radius": (outer + inner) / 2,
    }


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

    ``group`` is an ISO 3685 group ``"1"``...``"8"``.
    """
    out = {"extent": s.extent}
    if nest:
        out |= {"length": s.area / max(s.width, 1.0), "width": s.width}
    elif group in COIL_GROUPS:
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
    sizes: Mapping[str, Sized],
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
    sizes : mapping of name to (mm, relative uncertainty)
        Those known, as ``sizing`` tells them; the others are not given.
    """
    bound: Literal["at_least"] | None = "at_least" if nest or cut_off else None

    def sized(name: str, *, per_mm: bool = True) -> Measured | None:
        if name not in sizes:
            return None
        value, u_rel = sizes[name]
        u_scale = u_scale_rel if per_mm else 0.0  # turns are a count
        limit = bound if name in ("length", "extent", "turns", "coil_length") else None
        return Measured(value=value, u=value * hypot(u_rel, u_scale), bound=limit)

    unsure = shape.coil is not None and shape.coil.agree < _REPEAT_AGREE
    flags = ("pitch-unsure",) if "pitch" in sizes and unsure else ()
    return (
        ChipGeometry(
            length_mm=sized("length"),
            width_mm=sized("width"),
            extent_mm=sized("extent"),
            curl_radius_mm=sized("curl_radius"),
            curl_radius_range_mm=None if nest else _radii(shape, group, sizes),
            pitch_mm=sized("pitch"),
            turns=sized("turns", per_mm=False),
            coil_length_mm=sized("coil_length"),
            area_mm2=shape.area / px_per_mm**2,
        ),
        flags,
    )


def _radii(shape: Shape, group: str, sizes: Mapping[str, Sized]) -> tuple[float, float] | None:
    """Return the least and the largest curl radius of what winds wider and wider, mm."""
    if group not in ("3", "5") or "curl_radius" not in sizes or shape.glance is None:
        return None
    mean, taper = sizes["curl_radius"][0], max(shape.glance.mm("taper"), 1.0)
    least = 2 * mean / (1 + taper)
    return least, least * taper
