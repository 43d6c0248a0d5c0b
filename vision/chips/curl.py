"""How a traced line bends: circle by geometric least squares, and turning.

Algebraic circle fits are biased low on short arcs (a third at 30 degrees, 3 % at
60), so the radius comes from a geometric fit started there, and none is given
below 60 degrees of arc. Not in here: coils (``coil``).
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import leastsq

if TYPE_CHECKING:
    from vision.arrays import Float1, Points2

__all__ = ["MIN_ARC_DEG", "Bend", "Circle", "bend_of", "fit_circle"]

#: No radius is given for less arc than this.
MIN_ARC_DEG = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Circle:
    """A fitted circle: unit as the points; ``rms`` is the scatter off the circle."""

    x: float
    y: float
    radius: float
    rms: float
    arc_deg: float
    u_radius: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Bend:
    """Turning along a line: total in degrees, and how uneven its curvature is."""

    turning_deg: float
    curvature_cv: float


def fit_circle(points: Points2, *, noise: float = 0.5) -> Circle | None:
    """Fit a circle to (N, 2) points by geometric least squares.

    Parameters
    ----------
    points : (N, 2) float64
        In order along the arc; N >= 6.
    noise : float
        Least scatter of one independent point, same unit, for the uncertainty.

    Returns
    -------
    Circle or None
        ``None`` for fewer than six points or a straight line.

    Notes
    -----
    Not to be trusted for: arcs under 60 degrees; a circle seen at an angle.
    """
    if len(points) < 6:
        return None
    centre = points.mean(axis=0)
    x, y = (points - centre).T
    a = np.column_stack([x, y, np.ones_like(x)])
    (p, q, c), *_ = np.linalg.lstsq(a, x * x + y * y, rcond=None)
    r2 = c + (p * p + q * q) / 4
    if not np.isfinite(r2) or r2 <= 0:
        return None
    span = float(np.ptp(points, axis=0).max())
    guess = np.array([p / 2, q / 2, np.sqrt(r2)])
    thin = slice(None, None, max(1, len(x) // 200))
    xs, ys = x[thin], y[thin]
    flat = np.full(len(xs), -1.0)

    def off(v: Float1) -> Float1:
        return np.asarray(np.hypot(xs - v[0], ys - v[1]) - v[2])

    def slope(v: Float1) -> np.ndarray:
        dx, dy = v[0] - xs, v[1] - ys
        d = np.maximum(np.hypot(dx, dy), 1e-9)
        return np.array([dx / d, dy / d, flat])

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # where it does not settle the checks below decide
        found = leastsq(off, guess, Dfun=slope, col_deriv=True, maxfev=60)[0]
    cx, cy, radius = (float(v) for v in found)
    if not np.isfinite(radius) or abs(radius) > 50 * span:
        return None
    rms = float(np.sqrt(np.mean(off(found) ** 2)))
    angle = np.unwrap(np.arctan2(y - cy, x - cx))
    jac = slope(found)
    try:
        cov = np.linalg.inv(jac @ jac.T)
    except np.linalg.LinAlgError:
        return None
    # Neighbouring points share their error: about one independent point per five.
    u = max(rms, noise) * float(np.sqrt(max(cov[2, 2], 0) * 5))
    return Circle(
        x=float(cx + centre[0]),
        y=float(cy + centre[1]),
        radius=float(abs(radius)),
        rms=rms,
        arc_deg=float(np.degrees(np.ptp(angle))),
        u_radius=u,
    )


def bend_of(path: Points2, *, step: float) -> Bend | None:
    """Return how a smooth (N, 2) path bends, sampled every ``step`` of its length."""
    gaps = np.hypot(*np.diff(path, axis=0).T)
    along = np.r_[0.0, np.cumsum(gaps)]
    count = int(along[-1] / step)
    if count < 4:
        return None
    at = np.linspace(0, along[-1], count + 1)
    x, y = np.interp(at, along, path[:, 0]), np.interp(at, along, path[:, 1])
    heading = np.unwrap(np.arctan2(np.diff(y), np.diff(x)))
    turn = np.diff(heading)
    mean = float(np.mean(turn))
    return Bend(
        turning_deg=abs(float(np.degrees(turn.sum()))),
        curvature_cv=float(np.std(turn) / (abs(mean) + 0.02)),
    )
