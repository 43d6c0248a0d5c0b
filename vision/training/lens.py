"""What a lens does to straight lines.

The model is the common radial one: a point at distance r from the optical axis, in
units of the focal length (x/z, y/z), lands at r (1 + k1 r^2 + k2 r^4). Negative k1
is barrel distortion, positive pincushion. Sizes are drawn as the shift of the
picture's corner, as a share of its distance from the middle.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["bend", "draw_lens", "straighten"]

#: Inversion stops after so many steps; each gains a digit or more at |k1 r^2| < 0.05.
_STEPS = 16


def bend(
    xy: npt.NDArray[np.float64], distortion: tuple[float, float]
) -> npt.NDArray[np.float64]:
    """Move ideal points (..., 2), in focal lengths, to where the lens puts them."""
    k1, k2 = distortion
    r2 = (xy**2).sum(axis=-1, keepdims=True)
    return np.asarray(xy * (1 + r2 * (k1 + k2 * r2)))


def straighten(
    xy: npt.NDArray[np.float64], distortion: tuple[float, float]
) -> npt.NDArray[np.float64]:
    """Invert :func:`bend` by fixed-point steps; exact to 1e-9 for what lenses do."""
    k1, k2 = distortion
    if k1 == 0 and k2 == 0:
        return xy
    ideal = xy
    for _ in range(_STEPS):
        r2 = (ideal**2).sum(axis=-1, keepdims=True)
        ideal = xy / (1 + r2 * (k1 + k2 * r2))
    return np.asarray(ideal)


def draw_lens(
    rng: np.random.Generator, camera: dict[str, Any], fov_deg: float, aspect: float
) -> tuple[float, float]:
    """Draw (k1, k2) of a camera family for a field of view.

    Parameters
    ----------
    rng : numpy Generator
    camera : family with ``corner_shift``, the range of the corner's shift as a share.
    fov_deg : across the picture's width.
    aspect : height over width.
    """
    shift = float(rng.uniform(*camera["corner_shift"]))
    bow = float(rng.uniform(-0.3, 0.1)) * shift  # part of it bends the other way farther out
    corner2 = (math.tan(math.radians(fov_deg) / 2) * math.hypot(1, aspect)) ** 2
    return (shift - bow) / corner2, bow / corner2**2
