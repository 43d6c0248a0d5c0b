"""From rendered light to a phone's photo: optics, sensor, development, file.

What a phone does to a picture is what a reader has to live with: lens blur, falling
light, photon noise, a white balance that is a little off, a tone curve, sharpening
halos and compression.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from PIL import Image

from vision.training.icc import P3_FROM_SRGB, display_p3_profile
from vision.training.noise import chance, log_uniform
from vision.training.transfer import srgb_encode

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.training.scenes import Scene

__all__ = ["Development", "develop", "draw_development", "encode"]


_PHONE_WIDTH_PX = 4000


@dataclass(frozen=True, slots=True, kw_only=True)
class Development:
    """Settings of one exposure; all drawn from the camera family."""

    blur_px: float
    white_level: float
    """Linear value that the median of the sheet is exposed to; over 1 clips."""
    cast: tuple[float, float, float]
    electrons: float
    read_noise: float
    sharpen: float
    contrast: float
    vignette: float
    jpeg_quality: int
    orientation: int
    """EXIF orientation of the stored file: 1, 3, 6 or 8."""
    wide_gamut: bool
    """Coded as Display-P3 with an embedded profile instead of sRGB."""
    seed: int


def draw_development(scene: Scene) -> Development:
    """Draw the exposure of a scene from its camera family and seed."""
    rng = np.random.default_rng([scene.seed, 11])
    family: dict[str, Any] = scene.camera[1]
    cast = rng.normal(0, 0.035)
    green = rng.normal(0, 0.015)
    bright = rng.uniform(0.5, 0.88) if chance(rng, 0.93) else rng.uniform(0.88, 1.15)
    return Development(
        blur_px=float(rng.uniform(*family["blur_px"])),
        white_level=float(bright),
        cast=(float(1 + cast), float(1 + green), float(1 - cast)),
        electrons=log_uniform(rng, *family["electrons"]),
        read_noise=float(rng.uniform(*family["read"])),
        sharpen=float(rng.uniform(*family["sharpen"])),
        contrast=float(rng.uniform(*family["curve"])),
        vignette=float(rng.uniform(*family["vignette"])),
        jpeg_quality=_draw_quality(rng, scene),
        orientation=int(rng.choice([1, 3, 6, 8], p=[0.7, 0.06, 0.16, 0.08])),
        wide_gamut=chance(rng, 0.2),
        seed=int(rng.integers(2**31)),
    )


def _draw_quality(rng: np.random.Generator, scene: Scene) -> int:
    """Full-size photos are stored by the phone itself and hardly squeezed."""
    low, high = (
        (95, 98) if scene.view.size_px[0] >= _PHONE_WIDTH_PX else scene.camera[1]["jpeg"]
    )
    return int(rng.integers(low, high + 1))


def develop(
    linear: npt.NDArray[np.float32],
    sheet_level: float,
    plan: Development,
    gradient: npt.NDArray[np.float32],
) -> npt.NDArray[np.uint8]:
    """Turn rendered light into an upright 8-bit photo (sRGB or Display-P3).

    Parameters
    ----------
    linear : (H, W, 3) linear light.
    sheet_level : median green value of the bare sheet in ``linear``.
    plan : Development
    gradient : (H, W) factor for light that falls off across the card.
    """
    rng = np.random.default_rng(plan.seed)
    light: npt.NDArray[Any] = linear * gradient[:, :, None] * (plan.white_level / sheet_level)
    light = light * np.array(plan.cast, dtype=np.float32)
    light = cv2.GaussianBlur(light, (0, 0), plan.blur_px)
    light = light * _vignette(linear.shape[:2], plan.vignette)[:, :, None]
    electrons = light * plan.electrons
    sigma = np.sqrt(np.maximum(electrons, 0) + plan.read_noise**2)
    # demosaicing ties neighbours together, so phone noise is never white
    grain = cv2.GaussianBlur(rng.standard_normal(light.shape, dtype=np.float32), (0, 0), 0.6)
    light = (electrons + grain * 1.6 * sigma) / plan.electrons
    if plan.wide_gamut:
        light = light @ P3_FROM_SRGB.T.astype(np.float32)
    coded = srgb_encode(np.clip(light, 0.0, 1.0))
    soft = coded * coded * (3 - 2 * coded)
    coded = coded + plan.contrast * (soft - coded)
    halo = cv2.GaussianBlur(coded, (0, 0), 1.4)
    coded = np.clip(coded + plan.sharpen * (coded - halo), 0.0, 1.0)
    return np.asarray(np.rint(coded * 255), dtype=np.uint8)


def _vignette(shape: tuple[int, ...], strength: float) -> npt.NDArray[np.float32]:
    y, x = np.ogrid[-1 : 1 : shape[0] * 1j, -1 : 1 : shape[1] * 1j]
    return np.asarray(1 - strength * (x * x + y * y) / 2, dtype=np.float32)


#: How to turn an upright picture so that the orientation tag turns it back (np.rot90 k).
_STORED_TURN = {1: 0, 3: 2, 6: 1, 8: 3}


def encode(rgb: npt.NDArray[np.uint8], plan: Development) -> bytes:
    """Store an upright photo as JPEG, turned with an orientation tag if so drawn."""
    stored = np.rot90(rgb, _STORED_TURN[plan.orientation])
    picture = Image.fromarray(np.ascontiguousarray(stored))
    tags = Image.Exif()
    tags[0x0112] = plan.orientation
    out = io.BytesIO()
    picture.save(
        out,
        "JPEG",
        quality=plan.jpeg_quality,
        exif=tags.tobytes(),
        icc_profile=display_p3_profile() if plan.wide_gamut else None,
    )
    return out.getvalue()
