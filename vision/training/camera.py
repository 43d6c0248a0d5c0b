"""How a phone exposes, develops and stores a photo: the draw, the sensor, the file.

What a phone does to a picture is what a reader has to live with: lens blur, a focus
that missed, a hand that shook, stray light, falling light, photon noise, a white
balance that is off, a tone curve, smearing against noise, sharpening halos and
compression. The picture's own arithmetic is in ``develop``; single effects are in
:mod:`vision.training.tone`.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

import cv2
import numpy as np
import pillow_heif
from PIL import Image

from vision.training.icc import P3_FROM_SRGB, display_p3_profile
from vision.training.noise import chance, log_uniform
from vision.training.tone import (
    blurred,
    colour_noise,
    saturated,
    smeared,
    toned,
    veiled,
    vignette,
)
from vision.training.transfer import srgb_encode

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.training.scenes import Scene

__all__ = ["Development", "FileFormat", "develop", "draw_development", "encode", "photo_suffix"]

FileFormat: TypeAlias = Literal["jpeg", "heic"]

_PHONE_WIDTH_PX = 4000
#: A phone holds its shutter open longer for a dim bench, but not endlessly: light that
#: is caught goes with this power of the light that is there.
_GAIN_POWER = 0.5
#: Below this share of good light a phone smears noise away.
_DIM = 0.35


@dataclass(frozen=True, slots=True, kw_only=True)
class Development:
    """Settings of one exposure; all drawn from the camera family and the light."""

    blur_px: float
    """Standard deviation of the sharp lens's blur."""
    defocus_px: float
    """Radius of the disc of a focus that missed; 0 when it did not."""
    motion_px: float
    """Way of the picture while the shutter was open; 0 for a steady hand."""
    motion_deg: float
    veil: float
    """Stray light over the whole picture, as a share of its mean light."""
    white_level: float
    """Linear value that the median of the sheet is exposed to; over 1 clips."""
    cast: tuple[float, float, float]
    """Error of the white balance as factors of red, green and blue."""
    electrons: float
    read_noise: float
    chroma_noise: float
    """Blotches of colour, standard deviation in coded values 0...1 at white."""
    smear: float
    """Strength of the smearing against noise, 0...1."""
    sharpen: float
    contrast: float
    shadows: float
    """Exponent of the tone curve in linear light; under 1 lifts the shadows."""
    saturation: float
    vignette: float
    jpeg_quality: int
    """Quality of the coder, JPEG or HEIC."""
    file_format: FileFormat
    orientation: int
    """EXIF orientation of the stored file: 1, 3, 6 or 8."""
    wide_gamut: bool
    """Coded as Display-P3 with an embedded profile instead of sRGB."""
    seed: int


def draw_development(scene: Scene) -> Development:
    """Draw the exposure of a scene from its camera family, its light and its seed."""
    rng = np.random.default_rng([scene.seed, 11])
    family: dict[str, Any] = scene.camera[1]
    level = scene.light.level
    dim = max(0.0, 1 - level / _DIM)
    bright = rng.uniform(0.5, 0.88) if chance(rng, 0.93) else rng.uniform(0.88, 1.15)
    width = scene.view.size_px[0]
    heic = chance(rng, 0.1)
    return Development(
        blur_px=float(rng.uniform(*family["blur_px"])),
        defocus_px=_rare(rng, 0.06, 0.0006 * width, 0.0016 * width),
        motion_px=_rare(rng, 0.04 + 0.08 * dim, 1.5, 6.0),
        motion_deg=float(rng.uniform(0, 180)),
        veil=_rare(rng, 0.1, 0.01, 0.05),
        white_level=float(bright),
        cast=_cast(rng, scene.light.kelvin),
        electrons=log_uniform(rng, *family["electrons"]) * level**_GAIN_POWER,
        read_noise=float(rng.uniform(*family["read"])),
        chroma_noise=float(rng.uniform(0.0, 0.006) + dim * rng.uniform(0.004, 0.02)),
        smear=float(np.clip(rng.uniform(-0.4, 0.3) + 0.9 * dim, 0, 1)),
        sharpen=float(rng.uniform(*family["sharpen"])),
        contrast=float(rng.uniform(*family["curve"])),
        shadows=float(rng.uniform(0.85, 1.1)),
        saturation=float(rng.uniform(0.95, 1.2)),
        vignette=float(rng.uniform(*family["vignette"])),
        jpeg_quality=_draw_quality(rng, scene, heic=heic),
        file_format="heic" if heic else "jpeg",
        orientation=int(rng.choice([1, 3, 6, 8], p=[0.7, 0.06, 0.16, 0.08])),
        wide_gamut=chance(rng, 0.2),
        seed=int(rng.integers(2**31)),
    )


def _rare(rng: np.random.Generator, share: float, low: float, high: float) -> float:
    value = float(rng.uniform(low, high))
    return value if chance(rng, share) else 0.0


def _cast(rng: np.random.Generator, kelvin: float) -> tuple[float, float, float]:
    """White-balance error: along the daylight line, towards green, and warm lamps kept warm.

    Phones leave some of a warm lamp's colour on purpose; here up to a quarter of what
    is between it and daylight.
    """
    along = rng.normal(0, 0.045)
    green = rng.normal(0, 0.018)
    kept = rng.uniform(0, 0.25) * max(0.0, np.log(5000 / kelvin))
    cast = np.exp([along + 0.45 * kept, green, -along - 0.75 * kept])
    return (float(cast[0]), float(cast[1]), float(cast[2]))


def _draw_quality(rng: np.random.Generator, scene: Scene, *, heic: bool) -> int:
    """Full-size photos are stored by the phone itself and hardly squeezed."""
    low, high = scene.camera[1]["jpeg"]
    if scene.view.size_px[0] >= _PHONE_WIDTH_PX:
        low, high = 95, 98
    if heic:  # this coder needs a lower figure for the same looks
        low, high = low - 25, high - 20
    return int(rng.integers(low, high + 1))


def photo_suffix(plan: Development) -> str:
    """Return the ending of the photo's file name, with the dot."""
    return {"jpeg": ".jpg", "heic": ".heic"}[plan.file_format]


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
    light = blurred(light, plan.blur_px, plan.defocus_px, (plan.motion_px, plan.motion_deg))
    light = veiled(light, plan.veil)
    light = light * vignette(linear.shape[:2], plan.vignette)[:, :, None]
    electrons = light * plan.electrons
    sigma = np.sqrt(np.maximum(electrons, 0) + plan.read_noise**2)
    # demosaicing ties neighbours together, so phone noise is never white
    grain = cv2.GaussianBlur(rng.standard_normal(light.shape, dtype=np.float32), (0, 0), 0.6)
    light = (electrons + grain * 1.6 * sigma) / plan.electrons
    # what is too bright is white whatever the balance does to it
    light = np.minimum(light, 1.0) * np.array(plan.cast, dtype=np.float32)
    light = saturated(light, plan.saturation)
    if plan.wide_gamut:
        light = light @ P3_FROM_SRGB.T.astype(np.float32)
    coded = srgb_encode(np.clip(light, 0.0, 1.0) ** np.float32(plan.shadows))
    coded = toned(coded, plan.contrast)
    coded = colour_noise(rng, coded, plan.chroma_noise)
    coded = smeared(coded, plan.smear)
    halo = cv2.GaussianBlur(coded, (0, 0), 1.4)
    coded = np.clip(coded + plan.sharpen * (coded - halo), 0.0, 1.0)
    return np.asarray(np.rint(coded * 255), dtype=np.uint8)


#: How to turn an upright picture so that the orientation tag turns it back (np.rot90 k).
_STORED_TURN = {1: 0, 3: 2, 6: 1, 8: 3}


def encode(rgb: npt.NDArray[np.uint8], plan: Development) -> bytes:
    """Store an upright photo as JPEG or HEIC, turned with an orientation tag if so drawn."""
    stored = np.rot90(rgb, _STORED_TURN[plan.orientation])
    picture = Image.fromarray(np.ascontiguousarray(stored))
    tags = Image.Exif()
    tags[0x0112] = plan.orientation
    profile = display_p3_profile() if plan.wide_gamut else None
    out = io.BytesIO()
    if plan.file_format == "heic":
        photo = pillow_heif.from_pillow(picture)
        more = {"icc_profile": profile, "icc_profile_type": "prof"} if profile else {}
        photo.save(
            out,
            quality=plan.jpeg_quality,
            exif=tags.tobytes(),
            enc_params={"preset": "ultrafast"},  # the default takes longer than rendering
            **more,
        )
    else:
        picture.save(
            out, "JPEG", quality=plan.jpeg_quality, exif=tags.tobytes(), icc_profile=profile
        )
    return out.getvalue()
