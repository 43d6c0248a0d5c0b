"""What comes out of every kind of file a phone or an editor may hand over."""

from __future__ import annotations

import hashlib
import io

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image

from vision.errors import PhotoTooLarge, PhotoUnreadable
from vision.photo import decode
from vision.photo.decode import decode_photo


@pytest.fixture
def scene(rng) -> np.ndarray:
    """A smooth picture without symmetry, so that any wrong turn shows."""
    small = rng.integers(0, 256, (12, 16, 3), dtype=np.uint8)
    return cv2.resize(small, (320, 240), interpolation=cv2.INTER_CUBIC)


def saved(picture, kind: str, **options) -> bytes:
    out = io.BytesIO()
    image = picture if isinstance(picture, Image.Image) else Image.fromarray(picture)
    image.save(out, kind, **options)
    return out.getvalue()


def exif(**tags) -> bytes:
    block = Image.Exif()
    for name, value in tags.items():
        block[{"orientation": 0x0112, "make": 0x010F, "model": 0x0110}[name]] = value
    return block.tobytes()


@pytest.mark.parametrize("quality", [60, 95])
@pytest.mark.parametrize("options", [{}, {"progressive": True}, {"subsampling": 0}])
def test_jpeg_equals_pillow(scene, quality, options):
    data = saved(scene, "JPEG", quality=quality, **options)
    want = np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))
    photo = decode_photo(data)
    assert np.array_equal(photo.rgb, want)
    assert photo.sha256 == hashlib.sha256(data).hexdigest()
    assert (photo.facts.format, photo.icc) == ("JPEG", None)


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_lossless_kinds(scene, kind):
    photo = decode_photo(saved(scene, kind, **({"lossless": True} if kind == "WEBP" else {})))
    assert np.array_equal(photo.rgb, scene)
    assert (photo.facts.width_px, photo.facts.height_px) == (320, 240)


def test_heic_round_trip(scene):
    data = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray(scene)).save(data, quality=90)
    photo = decode_photo(data.getvalue())
    assert photo.facts.format == "HEIF"
    # Lossy at quality 90 with halved colour: on average two levels.
    assert np.abs(photo.rgb.astype(int) - scene).mean() < 3


# EXIF 2.32, tag 0x0112: where row 0 and column 0 of the stored picture belong. The value
# says how the stored picture is made from the upright one.
STORED = {
    1: lambda p: p,
    2: np.fliplr,
    3: lambda p: np.rot90(p, 2),
    4: np.flipud,
    5: lambda p: p.swapaxes(0, 1),
    6: lambda p: np.rot90(p, 1),
    7: lambda p: np.rot90(p, 2).swapaxes(0, 1),
    8: lambda p: np.rot90(p, -1),
}


@pytest.mark.parametrize("tag", STORED)
@pytest.mark.parametrize("kind", ["PNG", "JPEG"])
def test_every_orientation_comes_out_upright(scene, tag, kind):
    stored = np.ascontiguousarray(STORED[tag](scene))
    photo = decode_photo(saved(stored, kind, exif=exif(orientation=tag)))
    assert photo.facts.orientation == tag
    assert photo.rgb.shape == scene.shape
    assert photo.rgb.flags.c_contiguous
    # JPEG at quality 75 with halved colour strays by a few levels.
    assert np.abs(photo.rgb.astype(int) - scene).mean() < (0.001 if kind == "PNG" else 6)


def test_heic_is_turned_once_only(scene):
    out = io.BytesIO()
    stored = np.ascontiguousarray(STORED[6](scene))
    pillow_heif.from_pillow(Image.fromarray(stored)).save(
        out, quality=90, exif=exif(orientation=6)
    )
    photo = decode_photo(out.getvalue())
    assert photo.rgb.shape == scene.shape
    assert np.abs(photo.rgb.astype(int) - scene).mean() < 3


def test_camera_and_time_but_no_place(scene):
    block = Image.Exif()
    block[0x010F], block[0x0110] = "Shed", "Shed One\x00\n"
    block.get_ifd(0x8769)[0x9003] = "2031:02:03 04:05:06"
    block.get_ifd(0x8825)[2] = (47.0, 22.0, 0.0)
    photo = decode_photo(saved(scene, "JPEG", exif=block.tobytes()))
    assert photo.facts.camera == "Shed One"
    assert photo.facts.taken_at == "2031-02-03T04:05:06"
    assert "47" not in repr(photo.facts)


@pytest.mark.parametrize("written", ["0000:00:00 00:00:00", "yesterday", "\x00" * 19])
def test_senseless_time_is_no_time(scene, written):
    block = Image.Exif()
    block.get_ifd(0x8769)[0x9003] = written
    assert decode_photo(saved(scene, "JPEG", exif=block.tobytes())).facts.taken_at is None


def test_grey_palette_cmyk_and_bilevel(scene):
    colour = Image.fromarray(scene)
    for mode, kind in (
        ("L", "JPEG"),
        ("P", "PNG"),
        ("1", "PNG"),
        ("CMYK", "JPEG"),
        ("L", "PNG"),
    ):
        photo = decode_photo(saved(colour.convert(mode), kind))
        want = np.asarray(
            Image.open(io.BytesIO(saved(colour.convert(mode), kind))).convert("RGB")
        )
        assert np.array_equal(photo.rgb, want)


def test_see_through_parts_lie_over_white(scene):
    alpha = np.zeros((*scene.shape[:2], 1), np.uint8)
    alpha[:120] = 255
    photo = decode_photo(saved(np.concatenate([scene, alpha], axis=2), "PNG"))
    assert np.array_equal(photo.rgb[:120], scene[:120])
    assert (photo.rgb[120:] == 255).all()


def test_sixteen_bits_are_scaled_not_cut():
    ramp = np.linspace(0, 65535, 256 * 64).astype(np.uint16).reshape(64, 256)
    photo = decode_photo(saved(Image.fromarray(ramp), "PNG"))
    assert np.abs(photo.rgb[:, :, 0] - ramp / 257.0).max() <= 0.51  # rounding to 8 bits


def test_sixteen_bit_colour_png():
    deep = np.full((80, 90, 3), (10000, 30000, 60000), np.uint16)
    data = cv2.imencode(".png", deep[:, :, ::-1])[1].tobytes()
    assert np.abs(decode_photo(data).rgb - deep / 257.0).max() <= 1


def test_animation_gives_its_first_picture(scene):
    second = Image.fromarray(255 - scene)
    for kind in ("PNG", "WEBP"):
        options = {"lossless": True} if kind == "WEBP" else {}
        data = saved(scene, kind, save_all=True, append_images=[second], **options)
        assert np.array_equal(decode_photo(data).rgb, scene)


def test_unusable_profile_counts_as_none(scene):
    photo = decode_photo(saved(scene, "JPEG", icc_profile=b"not a profile" * 20))
    assert (photo.icc, photo.facts.profile_name) == (None, None)


def test_limits_say_what_why_and_what_to_do(scene, monkeypatch):
    data = saved(scene, "JPEG")
    monkeypatch.setattr(decode, "PIXELS_MAX", 320 * 240 - 1)
    with pytest.raises(PhotoTooLarge, match=r"320 x 240 pixels.*export"):
        decode_photo(data)
    monkeypatch.setattr(decode, "BYTES_MAX", len(data) - 1)
    with pytest.raises(PhotoTooLarge, match=r"MB.*export"):
        decode_photo(data)


@pytest.mark.parametrize("size", [(1, 1), (20000, 1), (63, 400)])
def test_pictures_too_small_to_show_a_chip(size):
    with pytest.raises(PhotoUnreadable, match="too few"):
        decode_photo(saved(Image.new("RGB", size), "PNG"))


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"hello",
        b"%PDF-1.7\n",
        b"PK\x03\x04" + bytes(40),
        b"GIF89a" + bytes(40),
        b"\xff\xd8\xff",
    ],
)
def test_what_is_no_photo(data):
    with pytest.raises(PhotoUnreadable):
        decode_photo(data)


def test_a_cut_jpeg_is_not_half_a_photo(scene):
    data = saved(scene, "JPEG", quality=90)
    for share in (0.3, 0.6, 0.99):
        with pytest.raises(PhotoUnreadable):
            decode_photo(data[: int(share * len(data))])
