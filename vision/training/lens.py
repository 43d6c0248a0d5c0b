"""What a lens does to straight lines, and the picture bent the way it does it.

The model is the common radial one: a point at distance r from the optical axis, in
units of the focal length (x/z, y/z), lands at r (1 + k1 r^2 + k2 r^4). Negative k1
is barrel distortion, positive pincushion. Sizes are drawn as the shift of the
picture's corner, as a share of its distance from the middle.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.training.view import View

__all__ = ["bend", "draw_lens", "photo_from_ideal", "straighten", "wide_enough"]

#: Inversion stops after so many steps; each gains a digit or more at |k1 r^2| < 0.05.
_STEPS = 16
#: Pixels that the resampling kernel looks beyond its own.
_KERNEL_PX = 4
#: Light above this (white sheet = 1) is resampled without overshoot.
_GLINT = 1.5


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


def wide_enough(view: View) -> View:
    """Pinhole view with the same middle and focal length that covers a distorted one."""
    if view.distortion == (0.0, 0.0):
        return view
    width, height = view.size_px
    across, down = np.arange(width), np.arange(height)
    rim = np.concatenate(
        [np.column_stack([across, np.full(width, edge)]) for edge in (0, height - 1)]
        + [np.column_stack([np.full(height, edge), down]) for edge in (0, width - 1)]
    ).astype(float)
    reach = np.abs(view.straighten_px(rim) - view.middle_px()).max(axis=0)
    spare = np.maximum(0, np.ceil(reach - view.middle_px())).astype(int) + _KERNEL_PX
    wide = width + 2 * int(spare[0])
    fov = 2 * math.degrees(math.atan(wide / 2 / view.focal_px))
    size = (wide, height + 2 * int(spare[1]))
    return replace(view, size_px=size, fov_deg=fov, distortion=(0.0, 0.0))


def photo_from_ideal(linear: npt.NDArray[np.float32], view: View) -> npt.NDArray[np.float32]:
    """Bend the picture of ``wide_enough(view)`` into the picture of ``view``.

    Up to white with a sharp kernel; the rest of glints, which would ring, linearly.
    """
    if view.distortion == (0.0, 0.0):
        return linear
    width, height = view.size_px
    y, x = np.mgrid[:height, :width]
    at = view.straighten_px(np.stack([x, y], axis=-1).astype(float))
    at += (np.array(linear.shape[1::-1]) - np.array(view.size_px)) / 2
    x_map, y_map = (np.ascontiguousarray(at[..., k], np.float32) for k in (0, 1))
    low = np.minimum(linear, _GLINT)
    bent = cv2.remap(low, x_map, y_map, cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REPLICATE)
    glints = cv2.remap(linear - low, x_map, y_map, cv2.INTER_LINEAR)
    return np.asarray(np.maximum(bent, 0) + glints, dtype=np.float32)
