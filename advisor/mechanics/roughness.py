"""The ridges that feed and tool shape leave on the turned surface.

Theory only: a real surface is never smoother, and often rougher. Source keys are listed
in ``advisor.mechanics``.
"""

from __future__ import annotations

import math
from typing import Final

from advisor.mechanics._check import at_least_zero, positive, within

__all__ = [
    "roughness_brammertz_um",
    "roughness_exact_um",
    "roughness_mean_um",
    "roughness_pointed_um",
    "roughness_um",
]

_UM_PER_MM: Final = 1000.0


def roughness_um(feed_mm_rev: float, re_mm: float) -> float:
    """Return the theoretical ridge height behind a nose radius, f² / (8 r), in µm.

    Parameters
    ----------
    feed_mm_rev : float, mm/rev, > 0
        Feed f, at most twice the corner radius.
    re_mm : float, mm, > 0
        Corner radius.

    Returns
    -------
    float
        Peak-to-valley height in µm.

    Raises
    ------
    ValueError
        If a value is not finite or out of its range.

    Notes
    -----
    Not to be trusted for: feeds over 2 r sin(end cutting edge angle), where straight
    edges take part; real surfaces with built-up edge, vibration or a dull edge are
    rougher.

    References
    ----------
    [ghosh] p. 260.

    Examples
    --------
    >>> round(roughness_um(0.125, 0.7), 2)
    2.79
    """
    _check_ridge(feed_mm_rev, re_mm)
    return _UM_PER_MM * feed_mm_rev**2 / (8.0 * re_mm)


def roughness_exact_um(feed_mm_rev: float, re_mm: float) -> float:
    """Return the ridge height from the exact arc, r - sqrt(r² - f²/4), in µm.

    Parameters, errors and limits as for :func:`roughness_um`.

    References
    ----------
    [geometry].

    Examples
    --------
    >>> round(roughness_exact_um(0.1, 0.4), 4)
    3.1373
    """
    _check_ridge(feed_mm_rev, re_mm)
    half_mm = feed_mm_rev / 2.0
    return _UM_PER_MM * (re_mm - math.sqrt(re_mm**2 - half_mm**2))


def roughness_mean_um(feed_mm_rev: float, re_mm: float) -> float:
    """Return the ideal mean roughness behind a nose radius, f² / (32 r), in µm.

    Parameters, errors and limits as for :func:`roughness_um`. Real Ra on ductile steel
    is about 1.25 times this at 100 m/min and up to twice at low speed.

    References
    ----------
    [groover] formula and ratio, from memory.

    Examples
    --------
    >>> round(roughness_mean_um(0.25, 1.2), 3)
    1.628
    """
    return roughness_um(feed_mm_rev, re_mm) / 4.0


def roughness_pointed_um(feed_mm_rev: float, lead_deg: float, end_edge_deg: float) -> float:
    """Return the ridge height behind a tool without nose radius, in µm.

    f / (tan lead + cot end), the saw-tooth that two straight edges leave.

    Parameters
    ----------
    feed_mm_rev : float, mm/rev, > 0
        Feed f.
    lead_deg : float, degrees, 0 to 89
        Side cutting edge angle, 90 minus KAPR.
    end_edge_deg : float, degrees, above 0 to 89
        End cutting edge angle.

    Returns
    -------
    float
        Peak-to-valley height in µm.

    Raises
    ------
    ValueError
        If a value is not finite or out of its range.

    References
    ----------
    [ghosh] example 24, p. 260.

    Examples
    --------
    >>> round(roughness_pointed_um(0.125, 30.0, 7.0), 2)
    14.33
    """
    positive(feed_mm_rev=feed_mm_rev, end_edge_deg=end_edge_deg)
    within(0.0, 89.0, lead_deg=lead_deg, end_edge_deg=end_edge_deg)
    spread = math.tan(math.radians(lead_deg)) + 1.0 / math.tan(math.radians(end_edge_deg))
    return _UM_PER_MM * feed_mm_rev / spread


def roughness_brammertz_um(feed_mm_rev: float, re_mm: float, h_min_mm: float) -> float:
    """Return the ridge height with the ploughed part added, in µm.

    f²/(8 r) + (h_min / 2)(1 + r h_min / f²): under some feed the surface gets rougher
    again, because metal thinner than ``h_min_mm`` is pushed aside and springs back.

    Parameters
    ----------
    feed_mm_rev, re_mm : float
        As for :func:`roughness_um`.
    h_min_mm : float, mm, >= 0
        Least chip thickness.

    Returns
    -------
    float
        Peak-to-valley height in µm.

    Raises
    ------
    ValueError
        If a value is not finite or out of its range.

    References
    ----------
    [brammertz1961] from memory.

    Examples
    --------
    >>> round(roughness_brammertz_um(0.05, 0.4, 0.003), 2)
    3.0
    """
    at_least_zero(h_min_mm=h_min_mm)
    arc_um = roughness_um(feed_mm_rev, re_mm)
    ploughed_mm = h_min_mm / 2.0 * (1.0 + re_mm * h_min_mm / feed_mm_rev**2)
    return arc_um + _UM_PER_MM * ploughed_mm


def _check_ridge(feed_mm_rev: float, re_mm: float) -> None:
    positive(feed_mm_rev=feed_mm_rev, re_mm=re_mm)
    if feed_mm_rev > 2.0 * re_mm:
        raise ValueError("feed_mm_rev must be at most twice re_mm: turns would not meet")
