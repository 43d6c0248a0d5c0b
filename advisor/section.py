"""Geometry of the uncut chip: nose radius, chord model, roughness, thinnest chip.

Plain floats in mm and degrees, as a handbook prints them. Plane geometry unless a
reference is named; keys stand in ``advisor/data/sources.toml``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = [
    "ChipSection",
    "chip_section",
    "least_depth_for_thickness_mm",
    "least_depth_strict_mm",
    "minimum_thickness_mm",
    "nose_limit_depth_mm",
    "roughness_arc_um",
    "roughness_exact_um",
    "roughness_low_feed_um",
    "roughness_mean_um",
    "roughness_pointed_um",
    "stagnation_share",
]


RIGHT_ANGLE_DEG = 90.0


@dataclass(frozen=True, slots=True)
class ChipSection:
    """Section of the uncut chip, mm; ``angle_deg`` is that of the engaged edge's chord."""

    thickness_mm: float
    width_mm: float
    thickest_mm: float
    angle_deg: float
    edge_length_mm: float
    woxen_mm: float


def nose_limit_depth_mm(re_mm: float, kapr_deg: float) -> float:
    """Return the depth below which only the nose arc cuts, mm.

    >>> round(nose_limit_depth_mm(0.8, 45.0), 5)
    0.23431
    """
    return re_mm * (1.0 - math.cos(math.radians(kapr_deg)))


def chip_section(
    depth_mm: float, feed_mm_rev: float, *, kapr_deg: float = 90.0, re_mm: float = 0.0
) -> ChipSection:
    """Return the section of the uncut chip of a turning cut with a nose radius.

    A nose radius bends the edge; the chord from the trailing to the leading end of the
    engaged edge stands for it (Colwell's rule that the chip flows normal to the chord).
    With ``re_mm`` 0 it is the textbook's h = f sin kr and b = ap / sin kr.

    Parameters
    ----------
    depth_mm : float, mm, > 0
        Depth on the side.
    feed_mm_rev : float, mm/rev, > 0
    kapr_deg : float, degrees, (0, 150)
        Tool cutting edge angle.
    re_mm : float, mm, >= 0
        Nose radius.

    Returns
    -------
    ChipSection
        ``thickness_mm`` times ``width_mm`` is always feed times depth.

    Notes
    -----
    Not to be trusted for: feeds above about twice the nose radius.

    References
    ----------
    [colwell1954] flow normal to the chord; [woxen1932] equivalent thickness, up to half
    wrong for depths under a quarter of the nose radius [stahl2007].

    Examples
    --------
    >>> section = chip_section(0.2, 0.1, kapr_deg=90.0, re_mm=0.4)
    >>> round(section.thickness_mm, 5), round(section.angle_deg, 2)
    (0.04504, 26.77)
    """
    kapr = math.radians(kapr_deg)
    sin_kapr = math.sin(kapr)
    if re_mm <= 0.0:
        thickness = feed_mm_rev * sin_kapr
        length = depth_mm / sin_kapr
        woxen = depth_mm * feed_mm_rev / (length + feed_mm_rev / 2.0)
        return ChipSection(thickness, length, thickness, kapr_deg, length, woxen)
    limit = nose_limit_depth_mm(re_mm, kapr_deg)
    if depth_mm >= limit:
        length = (depth_mm - limit) / sin_kapr + kapr * re_mm
        axial = (depth_mm - limit) / math.tan(kapr) + re_mm * sin_kapr
        thickest = feed_mm_rev * (
            1.0 if kapr_deg > RIGHT_ANGLE_DEG and depth_mm > re_mm else sin_kapr
        )
    else:
        local = math.acos(1.0 - depth_mm / re_mm)
        length = local * re_mm
        axial = math.sqrt(depth_mm * (2.0 * re_mm - depth_mm))
        thickest = feed_mm_rev * (1.0 if local > math.pi / 2.0 else math.sin(local))
    angle = math.atan2(depth_mm, axial + feed_mm_rev / 2.0)
    thickness = feed_mm_rev * math.sin(angle)
    return ChipSection(
        thickness_mm=thickness,
        width_mm=depth_mm * feed_mm_rev / thickness,
        thickest_mm=thickest,
        angle_deg=math.degrees(angle),
        edge_length_mm=length,
        woxen_mm=depth_mm * feed_mm_rev / (length + feed_mm_rev / 2.0),
    )


def roughness_arc_um(feed_mm_rev: float, re_mm: float) -> float:
    """Return the theoretical height f²/(8 r) left by a nose radius, µm.

    Holds while the feed stays under 2 r sin(end edge angle) [ghosh1985].

    >>> round(roughness_arc_um(0.125, 0.7), 3)
    2.79
    """
    return 1000.0 * feed_mm_rev**2 / (8.0 * re_mm)


def roughness_exact_um(feed_mm_rev: float, re_mm: float) -> float:
    """Return the height of the arc without the parabola's shortcut, µm."""
    return 1000.0 * (re_mm - math.sqrt(re_mm**2 - feed_mm_rev**2 / 4.0))


def roughness_mean_um(feed_mm_rev: float, re_mm: float) -> float:
    """Return the ideal mean roughness f²/(32 r), µm [groover]."""
    return 1000.0 * feed_mm_rev**2 / (32.0 * re_mm)


def roughness_pointed_um(
    feed_mm_rev: float, *, lead_deg: float, end_edge_angle_deg: float
) -> float:
    """Return the height left by a pointed tool, µm: f / (tan lead + cot end) [ghosh1985]."""
    return (
        1000.0
        * feed_mm_rev
        / (math.tan(math.radians(lead_deg)) + 1.0 / math.tan(math.radians(end_edge_angle_deg)))
    )


def roughness_low_feed_um(feed_mm_rev: float, re_mm: float, thinnest_mm: float) -> float:
    """Return the height with the part that the edge ploughs instead of cuts, µm.

    Below some feed the surface gets rougher again [brammertz1961].
    """
    ploughed = thinnest_mm / 2.0 * (1.0 + re_mm * thinnest_mm / feed_mm_rev**2)
    return roughness_arc_um(feed_mm_rev, re_mm) + 1000.0 * ploughed


def stagnation_share(angle_deg: float) -> float:
    """Return thinnest chip over edge radius for a stagnation angle: 1 - cos [basuray1977]."""
    return 1.0 - math.cos(math.radians(angle_deg))


def minimum_thickness_mm(edge_radius_um: float, share: float = 0.3) -> float:
    """Return the thinnest chip an edge can cut before it only rubs, mm.

    ``share`` of the edge radius; 0.2 to 0.4 is reported by metal, 0.3 is our choice.
    """
    return share * edge_radius_um / 1000.0


def least_depth_for_thickness_mm(feed_mm_rev: float, re_mm: float, thinnest_mm: float) -> float:
    """Return the depth on a nose arc at which the mean chip is just thick enough, mm.

    Holds for depths well under the nose radius; infinite where the feed itself is thinner.
    """
    if feed_mm_rev <= thinnest_mm:
        return math.inf
    return 2.0 * re_mm * (thinnest_mm / feed_mm_rev) ** 2


def least_depth_strict_mm(feed_mm_rev: float, re_mm: float, thinnest_mm: float) -> float:
    """Return the depth at which the thickest place of the chip is just thick enough, mm."""
    if feed_mm_rev <= thinnest_mm:
        return math.inf
    return re_mm * (1.0 - math.sqrt(1.0 - (thinnest_mm / feed_mm_rev) ** 2))
