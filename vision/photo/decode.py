"""From the bytes of a file to an upright RGB picture.

Not in here: colour conversion (``colour``; the embedded profile travels along as
bytes). Only JPEG, PNG, WebP and HEIF are opened, each by its own reader, so that no
other reader of the picture library ever meets unknown bytes. Place data is not read.
"""

from __future__ import annotations

import hashlib
import io
import warnings
from datetime import datetime
from typing import TYPE_CHECKING

import cv2
import numpy as np
import simplejpeg
from PIL import Image
from PIL.JpegImagePlugin import JpegImageFile
from PIL.PngImagePlugin import PngImageFile
from PIL.WebPImagePlugin import WebPImageFile
from pillow_heif import HeifImageFile, open_heif

from vision.errors import PhotoError, PhotoTooLarge, PhotoUnreadable
from vision.photo.colour import profile_name
from vision.records import Photo, PhotoFacts

if TYPE_CHECKING:
    from collections.abc import Callable

    from PIL.ImageFile import ImageFile

    from vision.arrays import Rgb8

__all__ = ["BYTES_MAX", "PIXELS_MAX", "SIDE_MIN_PX", "decode_photo"]

#: Largest file, bytes. A 50-megapixel phone photo has 10 to 25 million.
BYTES_MAX = 64_000_000
#: Largest picture, pixels: phones give 12 or 50 million, and 64 million still fit in memory.
PIXELS_MAX = 64_000_000
#: Smallest side in pixels in which a chip could still be seen.
SIDE_MIN_PX = 64
#: Megapixels times scans. The usual ten scans pass at any size; a file with hundreds
#: of empty scans would keep the decoder busy for minutes.
_SCAN_MEGAPIXELS_MAX = 700.0

_ORIENTATION, _MAKE, _MODEL, _EXIF_IFD, _TAKEN = 0x0112, 0x010F, 0x0110, 0x8769, 0x9003
_HEIF_BRANDS = (b"heic", b"heix", b"hevc", b"hevx", b"heim", b"heis", b"mif1", b"msf1")
_ACCEPTED = "Bluecurl reads JPEG, PNG, WebP and HEIC photos"
_AGAIN = "Send the original photo from the phone again, or take a new one."


def _reader(data: bytes) -> Callable[[io.BytesIO], ImageFile]:
    """Choose the reader by the first bytes; names and endings of files can lie."""
    if data[:3] == b"\xff\xd8\xff":
        return JpegImageFile
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return PngImageFile
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return WebPImageFile
    if data[4:8] == b"ftyp" and data[8:12] in _HEIF_BRANDS:
        return HeifImageFile
    raise PhotoUnreadable(
        f"This file is not a photo that can be read. {_ACCEPTED}. "
        "Save or export it in one of these, then try again."
    )


def _check_bytes(data: bytes) -> None:
    if not data:
        raise PhotoUnreadable(f"The file is empty; the copy probably failed. {_AGAIN}")
    if len(data) > BYTES_MAX:
        raise PhotoTooLarge(
            f"The file has {len(data) / 1e6:.0f} MB, more than the {BYTES_MAX / 1e6:.0f} MB "
            "that are read. Set the camera to its normal size, or export a smaller JPEG."
        )


def _scans(data: bytes) -> int:
    """Count the scans of a JPEG: in its data these two bytes can only be a scan's start."""
    pairs = (np.frombuffer(data, "<u2", (len(data) - k) // 2, k) for k in (0, 1))
    return sum(int(np.count_nonzero(p == 0xDAFF)) for p in pairs)  # noqa: PLR2004 - FF DA


def _check_size(width: int, height: int, data: bytes) -> None:
    """Judge the size that the header claims, before anything is decoded."""
    pixels = width * height
    if pixels > PIXELS_MAX:
        raise PhotoTooLarge(
            f"The photo has {width} x {height} pixels, more than the "
            f"{PIXELS_MAX / 1e6:.0f} million that are read. "
            "Set the camera to its normal size, or export a smaller one."
        )
    if min(width, height) < SIDE_MIN_PX:
        raise PhotoUnreadable(
            f"The photo has only {width} x {height} pixels, too few to see a chip. "
            "Send the original, not a preview."
        )
    scans = _scans(data) if data[:2] == b"\xff\xd8" else 0
    if scans * pixels > _SCAN_MEGAPIXELS_MAX * 1e6:
        raise PhotoUnreadable(
            f"The JPEG is cut into {scans} scans, as no camera does, and would take too long. "
            f"{_AGAIN}"
        )


def _to_rgb8(image: Image.Image) -> Rgb8:
    """Bring any mode to 8-bit RGB: see-through parts over white, 16 bits scaled down."""
    mode = image.mode
    if mode == "RGB" and "transparency" not in image.info:
        return np.asarray(image)
    if mode.startswith(("I", "F")):
        deep = np.asarray(image).astype(np.float32)
        grey = np.clip(deep * (255.0 / 65535.0) + 0.5, 0, 255).astype(np.uint8)
        return np.repeat(grey[:, :, None], 3, axis=2)
    if image.has_transparency_data:
        over = image.convert("RGBA")
        image = Image.alpha_composite(Image.new("RGBA", over.size, "white"), over)
    return np.asarray(image.convert("RGB"))


def _jpeg_to_rgb8(image: ImageFile, data: bytes) -> Rgb8:
    """Decode a three-colour JPEG without the picture library's extra copies.

    Both libraries use the same decoder and give equal pixels; this way takes a third of the
    time and of the memory. It fills the missing rest of a cut file with grey and says nothing,
    so the end mark is looked for here: after the headers it can stand nowhere but at the end.
    """
    start = image.fp.tell() if image.fp is not None else 0
    if data.rfind(b"\xff\xd9", start) < 0:
        raise PhotoUnreadable(f"The photo is cut short: its end is missing. {_AGAIN}")
    rgb = simplejpeg.decode_jpeg(
        data, colorspace="RGB", fastdct=False, fastupsample=False, strict=False
    )
    if rgb.shape[:2] != (image.height, image.width):
        raise ValueError("the decoder gave up")
    return np.asarray(rgb, np.uint8)


def _pixels(image: ImageFile, data: bytes) -> Rgb8:
    """Decode the first picture of the file by the cheapest way that fits."""
    if image.format == "JPEG" and image.mode == "RGB":
        return _jpeg_to_rgb8(image, data)
    if image.format == "HEIF" and image.mode == "RGB":
        return np.asarray(open_heif(data))
    image.load()
    return _to_rgb8(image)


_TURNS = {3: cv2.ROTATE_180, 6: cv2.ROTATE_90_CLOCKWISE, 8: cv2.ROTATE_90_COUNTERCLOCKWISE}


def _upright(rgb: Rgb8, orientation: int) -> Rgb8:
    """Turn the picture as the EXIF orientation tag 2-8 says (EXIF 2.32, tag 0x0112)."""
    if orientation in _TURNS:
        turned = cv2.rotate(rgb, _TURNS[orientation])
    elif orientation in (2, 4):
        turned = cv2.flip(rgb, 1 if orientation == 2 else 0)  # noqa: PLR2004 - tag values
    else:
        turned = cv2.transpose(rgb)
        turned = turned if orientation == 5 else cv2.flip(turned, -1)  # noqa: PLR2004
    return turned.astype(np.uint8, copy=False)


def _plain(text: object) -> str:
    """Return printable text of bounded length, whatever the tag held."""
    words = "".join(c if c.isprintable() else " " for c in str(text))
    return " ".join(words.split())[:80]


def _facts(image: ImageFile, *, turned: bool) -> tuple[int, str | None, str | None]:
    """Return orientation, time and camera; a damaged tag block costs only these."""
    orientation, taken_at, camera = 1, None, None
    try:
        exif = image.getexif()
        tag = exif.get(_ORIENTATION, 1)
        orientation = tag if isinstance(tag, int) and 1 <= tag <= 8 and not turned else 1  # noqa: PLR2004
        maker, model = _plain(exif.get(_MAKE, "")), _plain(exif.get(_MODEL, ""))
        camera = (model if model.startswith(maker) else f"{maker} {model}") or None
        written = _plain(exif.get_ifd(_EXIF_IFD).get(_TAKEN, ""))
        taken_at = datetime.strptime(written, "%Y:%m:%d %H:%M:%S").isoformat()  # noqa: DTZ007
    except Exception:  # noqa: BLE001, S110 - the tag reader raises whatever the bytes provoke
        pass
    return orientation, taken_at, camera


def _decode(data: bytes) -> Photo:
    image = _reader(data)(io.BytesIO(data))
    # A file of many pictures (burst, animation) opens at its first, which is the one we read.
    _check_size(image.width, image.height, data)
    kind = image.format or ""
    rgb = _pixels(image, data)
    orientation, taken_at, camera = _facts(image, turned=kind == "HEIF")
    if orientation != 1:
        rgb = _upright(rgb, orientation)
    icc = image.info.get("icc_profile")
    name = profile_name(icc) if isinstance(icc, bytes) and icc else None
    facts = PhotoFacts(
        width_px=rgb.shape[1],
        height_px=rgb.shape[0],
        format=kind,
        orientation=orientation,
        profile_name=name,
        taken_at=taken_at,
        camera=camera,
    )
    return Photo(
        rgb=rgb,
        sha256=hashlib.sha256(data).hexdigest(),
        facts=facts,
        icc=icc if name is not None else None,
    )


def decode_photo(data: bytes) -> Photo:
    """Decode the bytes of a photo, upright, colours as encoded in the file.

    Parameters
    ----------
    data : bytes
        A JPEG, PNG, WebP or HEIF file of at most ``BYTES_MAX`` bytes and
        ``PIXELS_MAX`` pixels, each side at least ``SIDE_MIN_PX``.

    Returns
    -------
    Photo
        ``rgb`` (H, W, 3) uint8, may be read-only. ``icc`` is set only if the profile can be
        read and is for RGB; otherwise colours count as sRGB. The time is the
        camera's own clock, without a zone.

    Raises
    ------
    PhotoUnreadable
        Not a picture of these kinds, damaged, or too small.
    PhotoTooLarge
        Too many bytes or pixels.

    Notes
    -----
    Not to be trusted for: more than the first picture of a file that holds several;
    colours of CMYK files (converted without their profile).
    """
    _check_bytes(data)
    try:
        # The libraries warn about odd metadata, which is no concern of the person here.
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return _decode(data)
    except PhotoError:
        raise
    except MemoryError as error:
        raise PhotoTooLarge(
            "The photo does not fit in this computer's memory. Export a smaller JPEG."
        ) from error
    except Exception as error:  # the readers raise whatever the bytes provoke
        raise PhotoUnreadable(
            f"The photo is damaged and cannot be decoded, perhaps by a broken copy. {_AGAIN}"
        ) from error
