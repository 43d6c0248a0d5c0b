"""Pointing at something grey: percent to pixel, turned photos, a cross seen on any ground."""

from __future__ import annotations

import io

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageOps

from app.engine import Upright, upright
from app.pointing import percent_at, photos_without_tint, pixel_at, with_cross

PERCENT = st.integers(0, 100)
ORIENTATION = 0x0112  # Exif 2.32


@given(st.tuples(PERCENT, PERCENT), st.tuples(st.integers(1, 9000), st.integers(1, 9000)))
def test_a_place_is_always_inside(percent, size_px):
    at = pixel_at(percent, size_px)
    assert all(0 <= x < side for x, side in zip(at, size_px, strict=True))


@given(st.tuples(PERCENT, PERCENT), st.tuples(st.integers(101, 9000), st.integers(101, 9000)))
def test_the_way_back_finds_the_same_percent(percent, size_px):
    assert percent_at(pixel_at(percent, size_px), size_px) == percent


def test_corners_and_middle():
    assert pixel_at((0, 0), (4000, 3000)) == (0, 0)
    assert pixel_at((100, 100), (4000, 3000)) == (3999, 2999)
    assert pixel_at((25, 50), (4000, 3000)) == (1000, 1500)


def _as_stored(picture, orientation):
    """The file that a phone writes whose viewer shows ``picture``."""
    exif = Image.Exif()
    exif[ORIENTATION] = orientation
    # Turning is undone by doing it again, or by the opposite quarter turn.
    opposite = {6: 8, 8: 6}.get(orientation, orientation)
    back = Image.Exif()
    back[ORIENTATION] = opposite
    turned = picture.copy()
    turned.info["exif"] = back.tobytes()
    out = io.BytesIO()
    ImageOps.exif_transpose(turned).save(out, "PNG", exif=exif.tobytes())
    return out.getvalue()


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_place_in_a_turned_photo_is_where_it_is_seen(orientation):
    """Pillow's ``exif_transpose`` says how a viewer shows the file."""
    from vision.photo.decode import decode_photo

    seen = Image.new("RGB", (400, 300), (90, 40, 30))
    seen.paste((128, 128, 128), (70, 200, 90, 220))  # 20 % across, 70 % down
    data = _as_stored(seen, orientation)
    viewer = ImageOps.exif_transpose(Image.open(io.BytesIO(data))).convert("RGB")
    assert np.array_equal(np.asarray(viewer), np.asarray(seen))

    photo = upright(data)
    assert photo.size_px == (400, 300)
    x, y = pixel_at((20, 70), photo.size_px)
    assert tuple(decode_photo(data).rgb[y, x]) == (128, 128, 128)
    assert tuple(photo.rgb[y, x]) == (128, 128, 128)


def test_the_photo_to_point_at_is_small_and_knows_its_full_size():
    out = io.BytesIO()
    Image.new("RGB", (640, 480)).save(out, "PNG")
    photo = upright(out.getvalue(), max_side_px=160)
    assert photo.rgb.shape == (120, 160, 3)
    assert photo.size_px == (640, 480)


def _contrast(one, other):
    """Contrast ratio of two greys, 0 to 255, as WCAG 2.2 defines it."""
    share = np.array([one, other], float) / 255
    light = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    return (light.max() + 0.05) / (light.min() + 0.05)


@pytest.mark.parametrize("ground", [0, 60, 118, 180, 255])
def test_the_cross_is_seen_on_any_ground(ground):
    """WCAG 2.2, 1.4.11 asks for 3 to 1."""
    photo = Upright(np.full((600, 800, 3), ground, np.uint8), None, (800, 600))
    shown = np.asarray(Image.open(io.BytesIO(with_cross(photo, (30, 60)))).convert("L"))
    for line in (shown[340:380, 100], shown[100, 220:260]):  # across and down, off the ring
        assert max(_contrast(ground, grey) for grey in (line.min(), line.max())) >= 3


@pytest.mark.parametrize("percent", [(0, 0), (100, 100), (50, 50), (97, 3), (2, 60)])
def test_the_place_itself_stays_free_and_is_shown_large_in_another_corner(percent):
    rgb = np.full((600, 800, 3), 200, np.uint8)
    x, y = pixel_at(percent, (800, 600))
    rgb[max(y - 6, 0) : y + 7, max(x - 6, 0) : x + 7] = (200, 0, 0)
    shown = np.asarray(
        Image.open(io.BytesIO(with_cross(Upright(rgb, None, (800, 600)), percent)))
    )
    red = (shown[..., 0] > 150) & (shown[..., 1] < 90)
    assert red[y, x]
    ys, xs = np.nonzero(red)
    far = np.hypot(xs - x, ys - y) > 150
    assert far.sum() > 3 * 13 * 13


def _reading(*codes, tints=(None,), usable="with care"):
    return {
        "flags": [{"code": code} for code in codes],
        "usable": usable,
        "chips": [{"photo_number": n, "tint": t} for n, t in enumerate(tints, 1)],
    }


def test_only_photos_that_lack_a_neutral_are_asked_for_one():
    assert photos_without_tint(_reading("no-neutral"), 1) == [0]
    assert photos_without_tint(_reading("no-scale"), 1) == []
    assert photos_without_tint(_reading("no-neutral", tints=({}, {"name": "straw"})), 2) == [0]
    two = _reading("no-neutral", tints=({"name": "straw"}, None))
    assert photos_without_tint(two, 2) == [1]


def test_a_photo_of_no_use_or_a_metal_without_tints_asks_for_nothing():
    assert photos_without_tint(_reading("no-neutral", usable="retake"), 1) == []
    assert photos_without_tint(_reading("no-neutral", "tint-says-nothing"), 1) == []
