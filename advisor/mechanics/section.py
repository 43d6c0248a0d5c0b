"""The uncut chip: its section under a nose radius, and the least an edge can cut.

Not in here: ridges left on the work (``roughness``), force (``force``), the chip after
it has formed (``orthogonal``). Plane geometry; source keys are listed in
``advisor.mechanics``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from advisor.mechanics._check import at_least_zero, finite, positive, within

__all__ = [
    "ChipSection",
    "MinimumDepth",
    "chip_section",
    "hmin_ratio",
    "minimum_depth_mm",
    "minimum_thickness_mm",
    "nose_limit_mm",
]

#: Largest tool cutting edge angle accepted, degrees; profiling tools stay well under it.
KAPR_MAX_DEG: Final = 150.0
_UM_PER_MM: Final = 1000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ChipSection:
    """Section of the uncut chip, from :func:`chip_section`.

    Attributes
    ----------
    thickness_mm, width_mm : float, mm
        Effective h and b: normal to and along the chord of the engaged edge. Their
        product is ``area_mm2``.
    area_mm2 : float, mm²
        Feed times depth.
    engaged_mm : float, mm
        Length of the engaged edge, arc and straight part together.
    k_eff_deg : float, degrees
        Angle of the chord to the feed direction; equals KAPR for a pointed tool.
    thickness_max_mm : float, mm
        Largest local chip thickness along the edge.
    woxen_mm : float, mm
        Woxen's equivalent chip thickness, area / (engaged + feed / 2).
    """

    thickness_mm: float
    width_mm: float
    area_mm2: float
    engaged_mm: float
    k_eff_deg: float
    thickness_max_mm: float
    woxen_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MinimumDepth:
    """Least depth that still cuts, from :func:`minimum_depth_mm`; mm, or infinite.

    Attributes
    ----------
    for_effective_mm : float
        Depth at which the effective chip thickness reaches the minimum.
    weakest_mm : float
        Depth at which the thickest spot of the chip reaches it; below, all of it rubs.
    """

    for_effective_mm: float
    weakest_mm: float


def nose_limit_mm(re_mm: float, kapr_deg: float) -> float:
    """Return the depth below which only the nose arc cuts, r (1 - cos kr), in mm.

    Parameters
    ----------
    re_mm : float, mm, >= 0
        Corner radius.
    kapr_deg : float, degrees, above 0 to 150
        Tool cutting edge angle.

    Returns
    -------
    float
        Depth in mm; 0 for a pointed tool.

    Raises
    ------
    ValueError
        If a value is not finite or out of its range.

    References
    ----------
    [geometry] plane geometry of a circle and its tangent.

    Examples
    --------
    >>> round(nose_limit_mm(0.8, 45.0), 5)
    0.23431
    """
    at_least_zero(re_mm=re_mm)
    _check_kapr(kapr_deg)
    return re_mm * (1.0 - math.cos(math.radians(kapr_deg)))


def chip_section(
    feed_mm_rev: float, depth_mm: float, kapr_deg: float, re_mm: float
) -> ChipSection:
    """Return the section of the uncut chip of a longitudinal turning cut.

    Without a nose radius this is h = f sin kr, b = ap / sin kr. With one, the chord of
    the engaged edge stands in for the edge: the chip flows normal to it, so force and
    its split go by the chord's angle. On small work, where the depth is rarely more than
    a few nose radii, this is the difference between pushing along and pushing across.

    Parameters
    ----------
    feed_mm_rev : float, mm/rev, > 0
        Feed f.
    depth_mm : float, mm, > 0
        Depth of cut a_p, measured on the side (half of what comes off the diameter).
    kapr_deg : float, degrees, above 0 to 150
        Tool cutting edge angle.
    re_mm : float, mm, >= 0
        Corner radius; 0 for a pointed tool.

    Returns
    -------
    ChipSection
        All lengths in mm.

    Raises
    ------
    ValueError
        If a value is not finite or out of its range.

    Notes
    -----
    Not to be trusted for: feeds over the nose radius (the end cutting edge then shapes
    the chip), and worn or chipped edges. At the trailing end of the arc the chip always
    runs out to nothing, so a little ploughing is always there. Woxen's value is up to
    half wrong for depths below a quarter of the nose radius.

    References
    ----------
    [colwell1954] flow normal to the chord; [astakhov] h and b of a straight edge;
    [woxen1932] equivalent thickness (from memory) and [stahl2007] its error;
    [geometry] chord and arc.

    Examples
    --------
    >>> shallow = chip_section(0.1, 0.2, 90.0, 0.4)
    >>> round(shallow.k_eff_deg, 2), round(shallow.thickness_mm, 5)
    (26.77, 0.04504)
    """
    positive(feed_mm_rev=feed_mm_rev, depth_mm=depth_mm)
    limit_mm = nose_limit_mm(re_mm, kapr_deg)
    kapr_rad = math.radians(kapr_deg)
    area_mm2 = feed_mm_rev * depth_mm
    if re_mm == 0.0:
        engaged_mm = depth_mm / math.sin(kapr_rad)
        k_eff_rad = kapr_rad
        # A straight edge has one angle; only an arc passes through the square position.
        thickness_max_mm = feed_mm_rev * math.sin(kapr_rad)
    else:
        end_rad, engaged_mm, axial_mm = _nose_edge(depth_mm, limit_mm, kapr_rad, re_mm)
        # The cusp between two turns lies half a feed behind the tip, hence f / 2.
        k_eff_rad = math.atan2(depth_mm, axial_mm + feed_mm_rev / 2.0)
        thickness_max_mm = feed_mm_rev * math.sin(min(end_rad, math.pi / 2.0))
    thickness_mm = feed_mm_rev * math.sin(k_eff_rad)
    return ChipSection(
        thickness_mm=thickness_mm,
        width_mm=area_mm2 / thickness_mm,
        area_mm2=area_mm2,
        engaged_mm=engaged_mm,
        k_eff_deg=math.degrees(k_eff_rad),
        thickness_max_mm=thickness_max_mm,
        woxen_mm=area_mm2 / (engaged_mm + feed_mm_rev / 2.0),
    )


def _nose_edge(
    depth_mm: float, limit_mm: float, kapr_rad: float, re_mm: float
) -> tuple[float, float, float]:
    """Return angle at the work surface (rad), engaged length and axial reach (mm)."""
    if depth_mm >= limit_mm:
        straight_mm = (depth_mm - limit_mm) / math.sin(kapr_rad)
        return (
            kapr_rad,
            straight_mm + kapr_rad * re_mm,
            straight_mm * math.cos(kapr_rad) + re_mm * math.sin(kapr_rad),
        )
    end_rad = math.acos(1.0 - depth_mm / re_mm)
    return end_rad, end_rad * re_mm, math.sqrt(depth_mm * (2.0 * re_mm - depth_mm))


def hmin_ratio(stagnation_deg: float) -> float:
    """Return least chip thickness over edge radius for a stagnation angle, 1 - cos.

    Parameters
    ----------
    stagnation_deg : float, degrees, 0 to 90
        Where on the rounded edge the metal parts into chip and ploughed skin.

    Returns
    -------
    float
        Ratio h_min / r_beta.

    Raises
    ------
    ValueError
        If the angle is not finite or out of range.

    References
    ----------
    [basuray1977] 37.6 degrees (from memory).

    Examples
    --------
    >>> round(hmin_ratio(45.0), 4)
    0.2929
    """
    within(0.0, 90.0, stagnation_deg=stagnation_deg)
    return 1.0 - math.cos(math.radians(stagnation_deg))


def minimum_thickness_mm(edge_radius_um: float, ratio: float = 0.3) -> float:
    """Return the least chip thickness that an edge cuts instead of rubbing, in mm.

    Parameters
    ----------
    edge_radius_um : float, µm, >= 0
        Rounding of the edge, not the nose radius.
    ratio : float, above 0 to 1
        h_min over edge radius; 0.2 to 0.4 is reported, 0.3 is our choice.

    Returns
    -------
    float
        Thickness in mm.

    Raises
    ------
    ValueError
        If a value is not finite or out of its range.

    Notes
    -----
    Not to be trusted for: single edges. A hone varies by as much as 25 µm along one edge,
    and the ratio differs between metals.

    References
    ----------
    [liu2006], [vogler2004] reported ratios (from memory).

    Examples
    --------
    >>> round(minimum_thickness_mm(20.0), 6)
    0.006
    """
    at_least_zero(edge_radius_um=edge_radius_um)
    positive(ratio=ratio)
    within(0.0, 1.0, ratio=ratio)
    return ratio * edge_radius_um / _UM_PER_MM


def minimum_depth_mm(feed_mm_rev: float, re_mm: float, h_min_mm: float) -> MinimumDepth:
    """Return the least depths on a nose arc that still form a chip.

    Parameters
    ----------
    feed_mm_rev : float, mm/rev, > 0
        Feed f.
    re_mm : float, mm, > 0
        Corner radius.
    h_min_mm : float, mm, >= 0
        Least chip thickness, from :func:`minimum_thickness_mm`.

    Returns
    -------
    MinimumDepth
        Two depths in mm; both infinite when the feed itself is under ``h_min_mm``,
        because then no depth helps.

    Raises
    ------
    ValueError
        If a value is not finite or out of its range.

    Notes
    -----
    Not to be trusted for: answers above a quarter of the nose radius (the first depth
    comes from h = f sqrt(ap / 2 r), which holds for shallow cuts). The depth must also
    exceed the ridges of the pass before, run-out and spring-back.

    References
    ----------
    [geometry].

    Examples
    --------
    >>> least = minimum_depth_mm(0.05, 0.4, 0.006)
    >>> round(least.for_effective_mm, 5), round(least.weakest_mm, 5)
    (0.01152, 0.00289)
    """
    positive(feed_mm_rev=feed_mm_rev, re_mm=re_mm)
    at_least_zero(h_min_mm=h_min_mm)
    if h_min_mm > feed_mm_rev:
        return MinimumDepth(for_effective_mm=math.inf, weakest_mm=math.inf)
    share = h_min_mm / feed_mm_rev
    return MinimumDepth(
        for_effective_mm=2.0 * re_mm * share**2,
        weakest_mm=re_mm * (1.0 - math.sqrt(1.0 - share**2)),
    )


def _check_kapr(kapr_deg: float) -> None:
    finite(kapr_deg=kapr_deg)
    if not 0.0 < kapr_deg <= KAPR_MAX_DEG:
        raise ValueError(f"kapr_deg must be above 0 to {KAPR_MAX_DEG:g}, not {kapr_deg!r}")
