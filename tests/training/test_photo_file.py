"""The phone's file: orientation tag, colour profile and transfer curve."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image, ImageCms, ImageOps

from vision.photo.decode import decode_photo
from vision.training.camera import Development, develop, encode, photo_suffix
from vision.training.icc import P3_FROM_SRGB, display_p3_profile
from vision.training.tone import blurred, smeared, veiled
from vision.training.transfer import srgb_decode, srgb_encode

colour = pytest.importorskip("colour", reason="colour-science is in the extra test")


def plan(**changes):
    values = {
        "blur_px": 0.5,
        "defocus_px": 0.0,
        "motion_px": 0.0,
        "motion_deg": 0.0,
        "veil": 0.0,
        "white_level": 0.8,
        "cast": (1.0, 1.0, 1.0),
        "electrons": 5000.0,
        "read_noise": 3.0,
        "chroma_noise": 0.0,
        "smear": 0.0,
        "sharpen": 0.0,
        "contrast": 0.0,
        "shadows": 1.0,
        "saturation": 1.0,
        "vignette": 0.0,
        "jpeg_quality": 95,
        "file_format": "jpeg",
        "orientation": 1,
        "wide_gamut": False,
        "seed": 1,
    }
    return Development(**(values | changes))


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_orientation_tag_turns_the_photo_upright(orientation):
    picture = np.zeros((40, 64, 3), np.uint8)
    picture[:20, :32] = (250, 20, 20)
    stored = encode(picture, plan(orientation=orientation))
    upright = np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(stored))))
    assert upright.shape == picture.shape
    # JPEG at quality 95 keeps flat colours within a few levels
    assert np.abs(upright[10, 16].astype(int) - picture[10, 16]).max() < 8
    assert upright[30, 48].max() < 8


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
@pytest.mark.parametrize("wide_gamut", [False, True])
def test_heic_comes_back_upright_with_its_profile(orientation, wide_gamut):
    picture = np.zeros((80, 128, 3), np.uint8)
    picture[:40, :64] = (250, 20, 20)
    how = plan(orientation=orientation, file_format="heic", wide_gamut=wide_gamut)
    stored = encode(picture, how)
    assert stored[4:8] == b"ftyp"
    assert photo_suffix(how) == ".heic"
    assert encode(picture, how) == stored
    photo = decode_photo(stored)
    assert photo.rgb.shape == picture.shape
    # HEVC with halved colour resolution keeps flat colours within some levels
    assert np.abs(photo.rgb[20, 32].astype(int) - picture[20, 32]).max() < 10
    assert photo.rgb[60, 96].max() < 10
    assert ("P3" in (photo.facts.profile_name or "")) == wide_gamut


def grey_step(level=0.2):
    light = np.full((120, 160, 3), level, np.float32)
    light[:, 80:] = 2 * level
    return light


def test_level_of_the_sheet_is_what_was_exposed_for():
    flat = np.full((60, 80, 3), 0.4, np.float32)
    rgb = develop(flat, 0.4, plan(white_level=0.5), np.ones((60, 80), np.float32))
    coded = 255 * srgb_encode(np.float32(0.5))
    assert abs(rgb.mean() - coded) < 2


def test_clipped_light_is_coloured_by_the_balance_alone():
    flat = np.full((60, 80, 3), 3.0, np.float32)
    how = plan(white_level=3.0, cast=(1.0, 0.9, 0.8), read_noise=0.0)
    rgb = develop(flat, 3.0, how, np.ones((60, 80), np.float32))
    there = 255 * srgb_encode(np.array([1.0, 0.9, 0.8], np.float32))
    assert np.abs(np.median(rgb, axis=(0, 1)) - there).max() <= 2


def test_disc_and_streak_keep_light_and_spread_it_as_far_as_told():
    point = np.zeros((61, 61, 3), np.float32)
    point[30, 30] = 1
    y, x = np.mgrid[:61, :61] - 30
    disc = blurred(point, 0.3, 4.0, (0.0, 0.0))[:, :, 0]
    assert disc.sum() == pytest.approx(1, abs=1e-4)
    # a disc's points are radius / 2 away along each axis, root mean square
    assert np.sqrt((disc * x**2).sum()) == pytest.approx(np.hypot(2.0, 0.3), rel=0.03)
    streak = blurred(point, 0.3, 0.0, (8.0, 90.0))[:, :, 0]
    assert streak.sum() == pytest.approx(1, abs=1e-4)
    # a line's points are way / sqrt(12) away
    assert np.sqrt((streak * y**2).sum()) == pytest.approx(8 / np.sqrt(12), rel=0.05)
    assert np.sqrt((streak * x**2).sum()) < 0.6


def test_veil_lifts_the_darkest_by_its_share():
    light = np.full((96, 128, 3), 0.8, np.float32)
    light[40:56, 50:70] = 0.0
    lifted = veiled(light, 0.05)
    assert 0.02 < lifted[48, 60, 0] < 0.05
    assert lifted[0, 0] == pytest.approx(0.8 * 1.05, rel=0.02)


def test_smearing_takes_grain_and_leaves_edges():
    rng = np.random.default_rng(1)
    clean = grey_step()
    noisy = clean + 0.02 * rng.standard_normal(clean.shape, dtype=np.float32)
    soft = smeared(noisy, 1.0)
    assert (soft - clean)[:, :70].std() < 0.5 * (noisy - clean)[:, :70].std()
    assert np.abs(np.diff(soft.mean(axis=(0, 2)))).max() > 0.5 * 0.2


def test_matrix_against_library():
    there = colour.matrix_RGB_to_RGB("sRGB", "Display P3", None)
    # primaries and white are given with four digits
    assert np.allclose(P3_FROM_SRGB, there, atol=2e-4)


def test_profile_is_understood_by_a_colour_engine():
    """Display-P3 values go through LittleCMS back to the sRGB colour they came from."""
    linear = np.array([[[0.8, 0.1, 0.05], [0.2, 0.5, 0.8], [1, 1, 1]]], np.float32)
    wide = srgb_encode(linear @ P3_FROM_SRGB.T.astype(np.float32))
    profile = ImageCms.ImageCmsProfile(io.BytesIO(display_p3_profile()))
    picture = Image.fromarray(np.rint(255 * wide).astype(np.uint8))
    back = ImageCms.profileToProfile(picture, profile, ImageCms.createProfile("sRGB"))
    # one level from rounding, one from the engine's tables
    assert np.abs(np.asarray(back, float) - 255 * srgb_encode(linear)).max() <= 2


def test_curve_against_library():
    values = np.linspace(0, 1, 101)
    assert np.allclose(srgb_encode(values), colour.cctf_encoding(values, "sRGB"), atol=1e-4)
    assert np.allclose(srgb_decode(srgb_encode(values)), values, atol=1e-4)
