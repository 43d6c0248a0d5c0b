"""Strips to pixels: shaded quads, drawn from back to front and averaged down.

Not in here: shapes and sizes (``strips``), the sheet and the camera (``scene``).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vision.arrays import Float1, Float2
    from vision.synthetic.strips import Strip

__all__ = ["paint_strips"]

#: Fine pixels per pixel, and bits behind the point of a fine pixel.
_FINE, _SHIFT = 4, 4
#: A window up left, and how much of the light comes from it; the rest is all round.
_LIGHT = np.array([-0.45, -0.55, 0.70])
_AMBIENT, _BROAD, _GLOSS, _GLOSS_POWER = 0.14, 0.48, 1.0, 30
#: The hollow side of a curl gets less light.
_HOLLOW = 0.55
#: Slope of the ridges across a chip (root mean square), and their spacing.
_RIDGE, _RIDGE_MM = 0.22, 0.35


def _ridges(rng: np.random.Generator, s: Float1) -> Float1:
    """Return random slopes along a strip, smooth over the spacing of its ridges."""
    knots = np.arange(0.0, float(s[-1]) + 2 * _RIDGE_MM, _RIDGE_MM)
    return np.asarray(np.interp(s, knots, rng.normal(0.0, _RIDGE, len(knots))))


def _shades(strip: Strip, rng: np.random.Generator) -> Float1:
    """Return the brightness (N,) of a white metal along a strip, about 0.1 to 1.6."""
    step = np.linalg.norm(np.diff(strip.line, axis=0), axis=1)
    s = np.concatenate([[0.0], np.cumsum(step)])
    along = np.gradient(strip.line, axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    normal = np.cross(along, strip.across)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    normal *= np.where(normal[:, 2:] < 0, -1.0, 1.0)
    hollow = (normal * np.gradient(along, axis=0)).sum(axis=1) > 1e-9  # noqa: PLR2004
    normal = normal + along * _ridges(rng, s)[:, None]
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    light = _LIGHT / np.linalg.norm(_LIGHT)
    half = light + np.array([0.0, 0.0, 1.0])
    half /= np.linalg.norm(half)
    broad = np.clip(normal @ light, 0, 1)
    gloss = np.clip(normal @ half, 0, 1) ** _GLOSS_POWER
    shade = _AMBIENT + _BROAD * broad + _GLOSS * gloss
    return np.asarray(np.where(hollow, _HOLLOW * shade, shade))


def paint_strips(
    strips: Sequence[Strip], px_per_mm: float, rng: np.random.Generator
) -> tuple[tuple[int, int], Float2, Float2]:
    """Draw strips as seen from above.

    Parameters
    ----------
    strips : in mm of the sheet
    px_per_mm : float
        A point (x, y) mm lies at pixel (x, y) * px_per_mm - 0.5, as on the card.

    Returns
    -------
    (row, column) : of the patch's first pixel on the sheet's picture
    shade : (H, W) float32
        Brightness of a white metal, where there is any.
    cover : (H, W) float32, 0 to 1
        Share of each pixel that the chip covers.
    """
    fine = _FINE * px_per_mm
    quads, depth, shade = [], [], []
    for strip in strips:
        # The filler paints every pixel it touches: half a fine pixel less on each side.
        half = np.maximum(strip.width[:, None] / 2 - 0.5 / fine, 0.25 / fine)
        a, b = (strip.line + sign * half * strip.across for sign in (-1.0, 1.0))
        quads.append(np.stack([a[:-1], a[1:], b[1:], b[:-1]], axis=1)[..., :2])
        depth.append((strip.line[:-1, 2] + strip.line[1:, 2]) / 2)
        shade.append(_shades(strip, rng)[:-1])
    corners = np.concatenate(quads)
    low = np.floor(corners.min(axis=(0, 1)) * px_per_mm).astype(int) - 1
    size = np.ceil(corners.max(axis=(0, 1)) * px_per_mm).astype(int) + 2 - low
    canvas = np.full((size[1] * _FINE, size[0] * _FINE), -1.0, np.float32)
    fixed = np.rint((corners * fine - 0.5 - low * _FINE) * (1 << _SHIFT)).astype(np.int32)
    brightness = np.concatenate(shade)
    for k in np.argsort(np.concatenate(depth), kind="stable"):
        cv2.fillConvexPoly(canvas, fixed[k], float(brightness[k]), cv2.LINE_8, _SHIFT)
    inside = (canvas >= 0).astype(np.float32)
    shape = (int(size[0]), int(size[1]))
    cover = np.asarray(cv2.resize(inside, shape, interpolation=cv2.INTER_AREA), np.float32)
    light = np.asarray(cv2.resize(canvas * inside, shape, interpolation=cv2.INTER_AREA))
    mean = np.asarray(light / np.maximum(cover, 1e-6), np.float32)
    return (int(low[1]), int(low[0])), mean, cover
