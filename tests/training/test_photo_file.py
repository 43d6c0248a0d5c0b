"""The phone's file: orientation tag, colour profile and transfer curve."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image, ImageCms, ImageOps

from vision.training.camera import Development, encode
from vision.training.icc import P3_FROM_SRGB, display_p3_profile
from vision.training.transfer import srgb_decode, srgb_encode

colour = pytest.importorskip("colour", reason="colour-science is in the extra test")


def plan(**changes):
    values = {
        "blur_px": 0.5,
        "white_level": 0.8,
        "cast": (1.0, 1.0, 1.0),
        "electrons": 5000.0,
        "read_noise": 3.0,
        "sharpen": 0.0,
        "contrast": 0.0,
        "vignette": 0.0,
        "jpeg_quality": 95,
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
