"""Pictures that the renderer wraps round things: metal slopes, oil."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.special import expit

from vision.training.noise import wander
from vision.training.sweep import TEXTURE_TILE_MM

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import Float1
    from vision.training.staging import OilSpot
    from vision.training.sweep import Mesh

__all__ = ["dirt_cover", "normal_map", "oil_cover", "slope_map"]

_TILE_PX = 512


def slope_map(
    rng: np.random.Generator, *, along_mm: float, across_mm: float, slope: float
) -> npt.NDArray[np.float32]:
    """Draw the normal map of a rough metal side, repeating every ``TEXTURE_TILE_MM``.

    Parameters
    ----------
    along_mm, across_mm : correlation lengths; lamellae are short along the chip and
        wide across it, streaks the other way round.
    slope : root mean square slope (tangent of the facet angle).

    Returns
    -------
    (512, 512, 3) float32 in 0...1, the usual coding of a normal.
    """
    px = _TILE_PX / TEXTURE_TILE_MM
    noise = rng.normal(size=(_TILE_PX, _TILE_PX))
    height = gaussian_filter(noise, (across_mm * px / 2, along_mm * px / 2), mode="wrap")
    return normal_map(height, slope)


def normal_map(height: npt.NDArray[Any], slope: float) -> npt.NDArray[np.float32]:
    """Code a wrapping height field (H, W) as normals, scaled to a root mean square slope."""
    dv, du = ((np.roll(height, -1, axis) - np.roll(height, 1, axis)) / 2 for axis in (0, 1))
    scale = slope / np.sqrt(np.mean(du**2 + dv**2))
    normal = np.stack([-du * scale, -dv * scale, np.ones_like(du)], axis=2)
    normal /= np.linalg.norm(normal, axis=2, keepdims=True)
    return np.asarray(normal * 0.5 + 0.5, dtype=np.float32)


def dirt_cover(rng: np.random.Generator, mesh: Mesh) -> Float1:
    """Share 0...1 of each point of a chip that rust or baked oil covers, in patches."""
    along = wander(rng, np.linspace(0, 1, 200), 0.07, 0.7)
    over = wander(rng, np.linspace(0, 1, 20), 0.3, 0.5)
    level = np.interp(mesh.along, np.linspace(0, 1, 200), along)
    level = level + np.interp(mesh.over, np.linspace(0, 1, 20), over)
    return np.asarray(expit(4 * level))


def oil_cover(
    spots: tuple[OilSpot, ...], size_mm: tuple[float, float], px_per_mm: float
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    """Share of light that the oily sheet still returns, and where it shines.

    Returns
    -------
    keep, gloss : (H, W) float32 over the card, 1 and 0 where dry.
    """
    shape = (round(size_mm[1] * px_per_mm), round(size_mm[0] * px_per_mm))
    keep = np.ones(shape, dtype=np.float32)
    gloss = np.zeros(shape, dtype=np.float32)
    y, x = np.mgrid[: shape[0], : shape[1]] / px_per_mm
    for spot in spots:
        rng = np.random.default_rng(spot.seed)
        dx, dy = x - spot.x_mm, -y - spot.y_mm
        angle, distance = np.arctan2(dy, dx), np.hypot(dx, dy)
        rim = np.full(shape, spot.radius_mm)
        for lobes in range(2, 7):
            rim = rim * (1 + rng.normal(0, 0.12) * np.sin(lobes * angle + rng.uniform(0, 6)))
        inside = expit((rim - distance) / (0.03 * spot.radius_mm + 0.12))
        keep *= (1 - spot.darkening * inside).astype(np.float32)
        gloss = np.maximum(gloss, (0.5 * inside).astype(np.float32))
    return keep, gloss
