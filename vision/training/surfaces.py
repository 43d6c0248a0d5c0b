"""Pictures that the renderer wraps round things: metal slopes, bench, oil."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.special import expit

from vision.training.sweep import TEXTURE_TILE_MM

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.training.staging import OilSpot

__all__ = ["bench_texture", "oil_cover", "slope_map"]

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
    dv, du = ((np.roll(height, -1, axis) - np.roll(height, 1, axis)) / 2 for axis in (0, 1))
    scale = slope / np.sqrt(np.mean(du**2 + dv**2))
    normal = np.stack([-du * scale, -dv * scale, np.ones_like(du)], axis=2)
    normal /= np.linalg.norm(normal, axis=2, keepdims=True)
    return np.asarray(normal * 0.5 + 0.5, dtype=np.float32)


def bench_texture(
    rng: np.random.Generator, rgb: tuple[float, float, float], grain: float
) -> npt.NDArray[np.float32]:
    """Reflectance of the table round the card: a base colour with grain and stains."""
    fine = gaussian_filter(rng.normal(size=(512, 512)), (0.8, 6.0), mode="wrap")
    coarse = gaussian_filter(rng.normal(size=(512, 512)), 30, mode="wrap")
    change = 1 + grain * (0.6 * fine / fine.std() + 0.5 * coarse / coarse.std())
    return np.asarray(np.clip(np.array(rgb) * change[:, :, None], 0.005, 0.9), np.float32)


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
