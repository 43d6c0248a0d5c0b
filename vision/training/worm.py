"""A long curled line that has folded itself into a nest on the table."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.interpolate import CubicSpline

from vision.training.noise import wander

if TYPE_CHECKING:
    from vision.training.sweep import Points3

__all__ = ["worm"]


def worm(
    rng: np.random.Generator,
    *,
    length_mm: float,
    loop_radius_mm: float,
    ball_radius_mm: float,
    floor_mm: float,
) -> Points3:
    """Line that loops inside a squashed ball and lies on a floor.

    Parameters
    ----------
    length_mm : developed length before squashing.
    loop_radius_mm : typical radius of a loop; it drifts along the line.
    ball_radius_mm : outside of it the line is bent back.
    floor_mm : no point lies below this height.

    Returns
    -------
    (N, 3) points at most 0.2 mm apart; the length after squashing is a little less.
    """
    step = 0.4
    n = int(length_mm / step) + 1
    s = np.arange(0.0, n) * step
    bend = np.exp(wander(rng, s, 25.0, 0.35)) / loop_radius_mm
    twist = wander(rng, s, 12.0, 1.0 / loop_radius_mm)
    place, tangent, normal = np.zeros(3), np.array([1.0, 0, 0]), np.array([0, 1.0, 0])
    points = np.empty((n, 3))
    for i in range(n):
        points[i] = place
        far = float(np.linalg.norm(place)) / ball_radius_mm
        pull = -place / ball_radius_mm * max(0.0, far - 0.6) * 1.2 / loop_radius_mm
        tangent = tangent + step * (bend[i] * normal + pull)
        tangent = tangent / np.linalg.norm(tangent)
        normal = normal + step * twist[i] * np.cross(tangent, normal)
        normal = normal - tangent * (tangent @ normal)
        normal = normal / np.linalg.norm(normal)
        place = place + step * tangent
    points[:, 2] *= rng.uniform(0.3, 0.6)
    height = points[:, 2] - np.quantile(points[:, 2], 0.1)
    soft = 1.0  # mm over which the line settles onto the floor
    points[:, 2] = floor_mm + soft * np.logaddexp(0.0, height / soft) - soft * 0.1
    points[:, 2] = np.maximum(points[:, 2], floor_mm)
    fine = np.linspace(0.0, s[-1], 2 * n)
    return np.asarray(CubicSpline(s, points)(fine))
