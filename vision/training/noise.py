"""Random numbers with the shapes that chips need: log-uniform sizes, slow drifts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.interpolate import PchipInterpolator

if TYPE_CHECKING:
    from vision.arrays import Float1

__all__ = ["chance", "log_uniform", "teeth", "wander"]


def chance(rng: np.random.Generator, share: float) -> bool:
    """Say yes in ``share`` of all cases."""
    return bool(rng.random() < share)


def log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    """Draw so that each doubling between ``low`` and ``high`` is equally likely."""
    if high <= low:
        return low
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def wander(rng: np.random.Generator, s: Float1, scale: float, sigma: float) -> Float1:
    """Slow random process along ``s`` with knots every ``scale`` and spread ``sigma``."""
    span = float(s[-1] - s[0])
    knots = max(3, int(np.ceil(span / scale)) + 2)
    values = rng.normal(0.0, sigma, knots)
    return np.asarray(PchipInterpolator(np.linspace(s[0], s[-1], knots), values)(s))


def teeth(rng: np.random.Generator, s: Float1, pitch_mm: float, depth_mm: float) -> Float1:
    """Saw teeth cut into the free edge: 0 at the tips, down to ``-depth_mm`` between.

    Pitch and depth vary from tooth to tooth by about a third, as in torn edges.
    """
    count = int(np.ceil((s[-1] - s[0]) / pitch_mm)) + 3
    gaps = pitch_mm * rng.uniform(0.67, 1.33, count)
    places = s[0] - pitch_mm + np.cumsum(gaps)
    knots = np.sort(np.concatenate([places, places + 0.3 * gaps]))
    depth = np.where(np.arange(len(knots)) % 2 == 0, 0.0, -depth_mm)
    depth = depth * rng.uniform(0.5, 1.2, len(knots))
    return np.interp(s, knots, depth)
