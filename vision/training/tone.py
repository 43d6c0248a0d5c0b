"""Single effects of a phone's lens and development, each a plain function on pictures."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Picture = npt.NDArray[np.float32]

__all__ = ["blurred", "colour_noise", "saturated", "smeared", "toned", "veiled", "vignette"]

#: Share of red, green and blue in brightness (IEC 61966-2-1).
_LUMA = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
#: Disc and streak kernels are drawn this many times finer than pixels.
_FINE = 8


def blurred(
    light: Picture, sigma_px: float, disc_px: float, motion: tuple[float, float]
) -> Picture:
    """Blur light by the lens, by a disc of missed focus and along a shaken way.

    Parameters
    ----------
    light : (H, W, 3) linear light.
    sigma_px : standard deviation of the lens's own blur, over 0.
    disc_px : radius of the disc; 0 for none.
    motion : way in px and direction in degrees; way 0 for none.
    """
    soft: npt.NDArray[Any] = cv2.GaussianBlur(light, (0, 0), sigma_px)
    if disc_px > 0:
        soft = cv2.filter2D(soft, -1, _disc(disc_px), borderType=cv2.BORDER_REFLECT)
    if motion[0] > 0:
        soft = cv2.filter2D(soft, -1, _streak(*motion), borderType=cv2.BORDER_REFLECT)
    return np.asarray(soft, dtype=np.float32)


def _fine_grid(reach: int) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Places (y, x) in px of the fine points of a kernel of ``2 reach + 1`` pixels."""
    count = (2 * reach + 1) * _FINE
    steps = (np.arange(count) + 0.5) / _FINE - reach - 0.5
    y, x = np.meshgrid(steps, steps, indexing="ij")
    return y, x


def _kernel(inside: npt.NDArray[np.bool_]) -> npt.NDArray[np.float32]:
    size = len(inside) // _FINE
    kernel = inside.reshape(size, _FINE, size, _FINE).mean(axis=(1, 3))
    return np.asarray(kernel / kernel.sum(), dtype=np.float32)


def _disc(radius_px: float) -> npt.NDArray[np.float32]:
    y, x = _fine_grid(math.ceil(radius_px))
    return _kernel(np.hypot(x, y) <= radius_px)


def _streak(way_px: float, direction_deg: float) -> npt.NDArray[np.float32]:
    y, x = _fine_grid(math.ceil(way_px / 2 + 0.5))
    c, s = math.cos(math.radians(direction_deg)), math.sin(math.radians(direction_deg))
    along, aside = x * c + y * s, y * c - x * s
    return _kernel((np.abs(along) <= way_px / 2) & (2 * np.abs(aside) <= 1))


def veiled(light: Picture, share: float) -> Picture:
    """Add stray light: even, and a wide glow round what is bright."""
    if share == 0:
        return light
    seen = np.minimum(light, 4.0)  # glints are small and add little
    small = cv2.resize(seen, (64, 48), interpolation=cv2.INTER_AREA)
    glow = cv2.GaussianBlur(small, (0, 0), 9)
    even = small.mean(axis=(0, 1), keepdims=True)
    haze = cv2.resize(glow + even, light.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    return np.asarray(light + (share / 2) * haze, dtype=np.float32)


def vignette(shape: tuple[int, ...], strength: float) -> Picture:
    """Fall of light towards the corners, where it is 1 - ``strength``."""
    y, x = np.ogrid[-1 : 1 : shape[0] * 1j, -1 : 1 : shape[1] * 1j]
    return np.asarray(1 - strength * (x * x + y * y) / 2, dtype=np.float32)


def saturated(light: Picture, factor: float) -> Picture:
    """Move colours away from grey of the same brightness by a factor."""
    grey = (light @ _LUMA)[:, :, None]
    return np.asarray(grey + factor * (light - grey), dtype=np.float32)


def toned(coded: Picture, contrast: float) -> Picture:
    """Bend coded values 0...1 towards an S by ``contrast``, 0...1."""
    soft = coded * coded * (3 - 2 * coded)
    return np.asarray(coded + contrast * (soft - coded), dtype=np.float32)


def colour_noise(rng: np.random.Generator, coded: Picture, strength: float) -> Picture:
    """Add blotches of colour some pixels wide that leave the brightness alone."""
    if strength == 0:
        return coded
    height, width = coded.shape[0] // 3 + 1, coded.shape[1] // 3 + 1
    blots = cv2.GaussianBlur(
        rng.standard_normal((height, width, 3), dtype=np.float32), (0, 0), 0.8
    )
    blots = cv2.resize(blots, coded.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    blots = blots - (blots @ _LUMA)[:, :, None]
    return np.asarray(coded + blots * np.float32(strength / blots.std()), dtype=np.float32)


def smeared(coded: Picture, strength: float) -> Picture:
    """Smear against noise: colour widely, brightness but for edges; ``strength`` 0...1."""
    if strength == 0:
        return coded
    luma = coded @ _LUMA
    colour = coded - luma[:, :, None]
    colour += np.float32(strength) * (cv2.GaussianBlur(colour, (0, 0), 3.0) - colour)
    flat = cv2.bilateralFilter(np.ascontiguousarray(luma), 5, 0.05 + 0.06 * strength, 1.6)
    luma = luma + np.float32(strength) * (flat - luma)
    return np.asarray(colour + luma[:, :, None], dtype=np.float32)
