"""Five hundred damaged or hostile files: a photo or a plain refusal, soon, nothing else."""

from __future__ import annotations

import io
import struct
import time
import warnings
import zipfile
import zlib
from typing import TYPE_CHECKING

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image

from vision.errors import PhotoError, PhotoTooLarge, PhotoUnreadable
from vision.photo.decode import decode_photo
from vision.records import Photo

if TYPE_CHECKING:
    from collections.abc import Iterator

HANG_S = 20.0  # ten times what a bad file may take: a slow machine passes, a trap does not
MUTANTS_PER_KIND = 70


def picture() -> Image.Image:
    rng = np.random.default_rng(7)
    small = rng.integers(0, 256, (9, 12, 3), dtype=np.uint8)
    return Image.fromarray(cv2.resize(small, (240, 180), interpolation=cv2.INTER_CUBIC))


def saved(kind: str, image: Image.Image | None = None, **options) -> bytes:
    out = io.BytesIO()
    (image or picture()).save(out, kind, **options)
    return out.getvalue()


def heif() -> bytes:
    out = io.BytesIO()
    pillow_heif.from_pillow(picture()).save(out, quality=80)
    return out.getvalue()


def seeds() -> dict[str, bytes]:
    tags = Image.Exif()
    tags[0x0112], tags[0x010F] = 6, "Shed"
    second = [picture().rotate(90)]
    return {
        "jpeg": saved("JPEG", exif=tags.tobytes(), icc_profile=bytes(300)),
        "progressive": saved("JPEG", progressive=True, quality=92),
        "cmyk": saved("JPEG", picture().convert("CMYK")),
        "png": saved("PNG", exif=tags.tobytes(), dpi=(300, 300)),
        "palette": saved("PNG", picture().convert("P"), transparency=3),
        "apng": saved("PNG", save_all=True, append_images=second),
        "webp": saved("WEBP", exif=tags.tobytes(), save_all=True, append_images=second),
        "heif": heif(),
    }


def mutants(data: bytes, rng: np.random.Generator) -> Iterator[bytes]:
    """Yield cut, spliced, bit-flipped and header-damaged copies."""
    for k in range(MUTANTS_PER_KIND):
        bad = bytearray(data)
        way = k % 5
        if way == 0:
            bad = bad[: rng.integers(1, len(bad))]
        elif way == 1:
            for at in rng.integers(0, len(bad), rng.integers(1, 40)):
                bad[at] = rng.integers(256)
        elif way == 2:
            for at in rng.integers(0, min(len(bad), 400), rng.integers(1, 8)):
                bad[at] = (0, 0xFF, 0x7F, 0x80)[rng.integers(4)]
        elif way == 3:
            a, b = sorted(rng.integers(0, len(bad), 2))
            bad = bad[:a] + bad[b:]
        else:
            a = rng.integers(0, len(bad))
            bad = bad[:a] + rng.bytes(rng.integers(1, 200)) + bad[a:]
        yield bytes(bad)


def png_claiming(width: int, height: int, *, body: bytes = b"", depth: int = 8) -> bytes:
    def chunk(name: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data))
            + name
            + data
            + struct.pack(">I", zlib.crc32(name + data))
        )

    head = struct.pack(">IIBBBBB", width, height, depth, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", body) + chunk(b"IEND", b"")
    )


def jpeg_claiming(width: int, height: int) -> bytes:
    data = bytearray(saved("JPEG"))
    at = data.index(b"\xff\xc0")
    data[at + 5 : at + 9] = struct.pack(">HH", height, width)
    return bytes(data)


def many_scans() -> bytes:
    """A progressive JPEG whose last scan is repeated: little to send, much to decode."""
    big = Image.new("RGB", (6000, 6000), (120, 90, 60))
    data = saved("JPEG", big, progressive=True)
    last = data.rindex(b"\xff\xda")
    return data[:last] + data[last:-2] * 300 + b"\xff\xd9"


def with_text_bomb() -> bytes:
    """A PNG comment that unpacks to 200 MB."""
    data = saved("PNG")
    body = b"note\0\0" + zlib.compress(bytes(200_000_000), 9)
    chunk = (
        struct.pack(">I", len(body))
        + b"zTXt"
        + body
        + struct.pack(">I", zlib.crc32(b"zTXt" + body))
    )
    return data[:33] + chunk + data[33:]


def archive() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as z:
        z.writestr("photo.jpg", saved("JPEG"))
    return out.getvalue()


def outcome(data: bytes) -> Photo | PhotoError:
    """Decode and check what may never happen: another error, a warning, a long wait."""
    start = time.process_time()  # of all threads; a busy machine must not fail it
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            result: Photo | PhotoError = decode_photo(data)
        except PhotoError as error:
            result = error
    assert time.process_time() - start < HANG_S
    if isinstance(result, PhotoError):
        assert result.message.count(".") >= 1
        assert len(result.message) < 300
    else:
        assert result.rgb.dtype == np.uint8
        assert result.rgb.shape == (result.facts.height_px, result.facts.width_px, 3)
    return result


@pytest.mark.parametrize("kind", list(seeds()))
def test_damaged_files(kind):
    """560 files in all, the same ones in every run."""
    rng = np.random.default_rng(sum(kind.encode()))
    data = seeds()[kind]
    assert isinstance(outcome(data), Photo)
    refused = sum(isinstance(outcome(bad), PhotoError) for bad in mutants(data, rng))
    assert refused >= 5  # or the damage was none


HOSTILE = {
    "nothing": lambda: b"",
    "one byte": lambda: b"\xff",
    "text": lambda: b"This is no photo.\n" * 50,
    "markup": lambda: b"<svg xmlns='http://www.w3.org/2000/svg'/>",
    "document": lambda: b"%PDF-1.7\n1 0 obj<<>>endobj\n",
    "archive": archive,
    "archive called a jpeg": lambda: b"\xff\xd8\xff\xe0" + archive(),
    "script": lambda: b"#!/bin/sh\necho hello\n",
    "gif": lambda: saved("GIF"),
    "tiff": lambda: saved("TIFF"),
    "bmp": lambda: saved("BMP"),
    "postscript": lambda: b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n",
    "only start marks": lambda: b"\xff\xd8" * 500,
    "start and end": lambda: b"\xff\xd8\xff\xd9",
    "endless header": lambda: b"\xff\xd8" + b"\xff\xe1\xff\xff" * 2000,
    "riff of sound": lambda: b"RIFF\x24\x00\x00\x00WAVEfmt " + bytes(40),
    "webp without picture": lambda: b"RIFF\x0c\x00\x00\x00WEBPVP8 \x00\x00\x00\x00",
    "heif without picture": lambda: b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic",
    "film": lambda: b"\x00\x00\x00\x18ftypisom\x00\x00\x02\x00isomiso2" + bytes(200),
    "one pixel": lambda: saved("PNG", Image.new("RGB", (1, 1))),
    "a thread": lambda: saved("PNG", Image.new("RGB", (20000, 1))),
    "png of no width": lambda: png_claiming(0, 100),
    "png of no data": lambda: png_claiming(400, 300),
    "png with too little data": lambda: png_claiming(400, 300, body=zlib.compress(bytes(100))),
    "png of odd depth": lambda: png_claiming(400, 300, depth=7),
    "jpeg with another size": lambda: jpeg_claiming(3000, 3000),
}

TOO_LARGE = {
    "png as large as a wall": lambda: png_claiming(2**31 - 1, 2**31 - 1),
    "png of 900 megapixels": lambda: png_claiming(
        30000, 30000, body=zlib.compress(bytes(10**6))
    ),
    "jpeg of four gigapixels": lambda: jpeg_claiming(65500, 65500),
    "too many bytes": lambda: b"\xff\xd8\xff" + bytes(64_000_000),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_files(name):
    result = outcome(HOSTILE[name]())
    if name != "jpeg with another size":  # its end is there; the rest is grey
        assert isinstance(result, PhotoUnreadable)


@pytest.mark.parametrize("name", TOO_LARGE)
def test_too_large_is_told_from_damaged(name):
    assert isinstance(outcome(TOO_LARGE[name]()), PhotoTooLarge)


def test_a_thousand_scans_are_refused_before_decoding():
    assert isinstance(outcome(many_scans()), PhotoUnreadable)


def test_a_comment_that_explodes():
    outcome(with_text_bomb())


def test_the_largest_honest_picture_is_read_in_time():
    """64 megapixels of one colour: a few kilobytes that unpack to 192 MB."""
    assert isinstance(outcome(saved("PNG", Image.new("RGB", (8000, 8000), "white"))), Photo)
