"""Colours against the standards and an open reference library (colour-science)."""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest
from PIL import Image, ImageCms

from vision.photo.colour import lab_from_linear, linear_from_rgb, profile_name, srgb_from_linear

ALL = np.arange(256, dtype=np.uint8)


def as_picture(values: np.ndarray) -> np.ndarray:
    return np.ascontiguousarray(values.reshape(1, -1, 3))


def test_srgb_curve_is_that_of_the_standard():
    grey = as_picture(np.repeat(ALL[:, None], 3, axis=1))
    x = ALL / 255.0
    # IEC 61966-2-1:1999, equations 5 and 6; float32 keeps seven digits.
    want = np.where(x <= 0.04045, x / 12.92, ((x + 0.055) / 1.055) ** 2.4)
    assert linear_from_rgb(grey)[0, :, 1] == pytest.approx(want, abs=1e-6)


def test_encoding_undoes_decoding_for_every_value():
    grey = as_picture(np.repeat(ALL[:, None], 3, axis=1))
    assert np.array_equal(srgb_from_linear(linear_from_rgb(grey)), grey)


def test_lab_agrees_with_the_reference_library(colour_science, rng):
    rgb = rng.integers(0, 256, (1, 500, 3), dtype=np.uint8)
    ours = lab_from_linear(linear_from_rgb(rgb))[0]
    xyz = colour_science.sRGB_to_XYZ(rgb[0] / 255.0)
    want = colour_science.XYZ_to_Lab(
        xyz, colour_science.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    )
    # Four-digit matrices differ in the last digit: white is off by 0.02 there.
    assert np.abs(ours - want).max() < 0.1


@pytest.mark.parametrize(
    ("rgb", "lab"),
    [
        # Primaries in CIELAB D65, as worked out from IEC 61966-2-1 and CIE 15 (widely
        # tabulated to one decimal).
        ((255, 0, 0), (53.2, 80.1, 67.2)),
        ((0, 255, 0), (87.7, -86.2, 83.2)),
        ((0, 0, 255), (32.3, 79.2, -107.9)),
        ((255, 255, 255), (100.0, 0.0, 0.0)),
        ((119, 119, 119), (50.0, 0.0, 0.0)),
    ],
)
def test_known_colours(rgb, lab):
    got = lab_from_linear(linear_from_rgb(np.array([[rgb]], np.uint8)))[0, 0]
    assert got == pytest.approx(lab, abs=0.1)  # the table's last digit


def s15(value: float) -> bytes:
    return struct.pack(">i", round(value * 65536))


def p3_profile(colour_science) -> bytes:
    """A Display-P3 profile built by hand: SMPTE EG 432-1 primaries, D65, sRGB curve."""
    space = colour_science.RGB_COLOURSPACES["Display P3"]
    adapt = colour_science.adaptation.matrix_chromatic_adaptation_VonKries(
        space.matrix_RGB_to_XYZ.sum(axis=1),
        np.array([0.9642, 1.0, 0.8249]),
        transform="Bradford",
    )
    columns = (adapt @ space.matrix_RGB_to_XYZ).T
    curve = b"para" + bytes(4) + struct.pack(">HH", 3, 0)
    curve += b"".join(s15(v) for v in (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045))
    text = "Display P3".encode("utf-16-be")
    named = (
        b"mluc" + bytes(4) + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(text), 28) + text
    )
    xyz = [b"XYZ " + bytes(4) + b"".join(s15(v) for v in c) for c in columns]
    white = b"XYZ " + bytes(4) + b"".join(s15(v) for v in (0.9642, 1.0, 0.8249))
    tags = [(b"desc", named), (b"cprt", named), (b"wtpt", white)]
    tags += list(zip((b"rXYZ", b"gXYZ", b"bXYZ"), xyz, strict=True))
    tags += [(k, curve) for k in (b"rTRC", b"gTRC", b"bTRC")]
    table, body, start = b"", b"", 128 + 4 + 12 * len(tags)
    for name, tag in tags:
        data = tag + bytes(-len(tag) % 4)
        table += struct.pack(">4sII", name, start + len(body), len(data))
        body += data
    size = start + len(body)
    head = struct.pack(
        ">I4s4s4s4s4s12s4s4sIII8sI",
        size,
        b"none",
        b"\x04\x20\x00\x00",
        b"mntr",
        b"RGB ",
        b"XYZ ",
        bytes(12),
        b"acsp",
        bytes(4),
        0,
        0,
        0,
        bytes(8),
        0,
    )
    head += s15(0.9642) + s15(1.0) + s15(0.8249)
    return (head + bytes(128 - len(head))) + struct.pack(">I", len(tags)) + table + body


def test_display_p3_is_read_as_display_p3(colour_science, rng):
    icc = p3_profile(colour_science)
    assert profile_name(icc) == "Display P3"
    rgb = rng.integers(0, 256, (1, 400, 3), dtype=np.uint8)
    want = colour_science.RGB_to_RGB(
        rgb[0] / 255.0,
        "Display P3",
        "sRGB",
        apply_cctf_decoding=True,
        apply_cctf_encoding=False,
    )
    # Profile numbers are rounded to 1/65536, matrices there to four digits.
    assert np.abs(linear_from_rgb(rgb, icc)[0] - want).max() < 1e-3


def test_matrix_profiles_agree_with_littlecms(colour_science, rng):
    """Inside the sRGB gamut, to the rounding of 8 bits."""
    icc = p3_profile(colour_science)
    rgb = rng.integers(100, 156, (20, 20, 3), dtype=np.uint8)
    want = ImageCms.profileToProfile(
        Image.fromarray(rgb),
        ImageCms.ImageCmsProfile(io.BytesIO(icc)),
        ImageCms.createProfile("sRGB"),
        ImageCms.Intent.RELATIVE_COLORIMETRIC,
        outputMode="RGB",
    )
    ours = srgb_from_linear(linear_from_rgb(rgb, icc))
    assert np.abs(ours.astype(int) - np.asarray(want)).max() <= 1


def test_the_library_s_own_srgb_profile_changes_nothing(rng):
    icc = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    rgb = rng.integers(0, 256, (10, 40, 3), dtype=np.uint8)
    assert profile_name(icc) is not None
    # Rounding of the profile's numbers: 1e-3 of white is a fifth of one 8-bit step at the top.
    assert np.abs(linear_from_rgb(rgb, icc) - linear_from_rgb(rgb)).max() < 1e-3


@pytest.mark.parametrize("kind", [0, 1, 2, 3, 4])
def test_every_kind_of_parametric_curve(kind):
    """ICC.1:2010 table 65, evaluated here from the table, not by our code."""
    g, a, b, c, d, e, f = 2.2, 0.9, 0.1, 0.4, 0.05, 0.02, 0.01
    numbers = [(g,), (g, a, b), (g, a, b, c), (g, a, b, c, d), (g, a, b, c, d, e, f)][kind]
    x = ALL / 255.0
    want = [
        x**g,
        np.where(x >= -b / a, (a * x + b) ** g, 0),
        np.where(x >= -b / a, (a * x + b) ** g + c, c),
        np.where(x >= d, (a * x + b) ** g, c * x),
        np.where(x >= d, (a * x + b) ** g + e, c * x + f),
    ][kind]
    from vision.photo.colour import _curve

    tag = b"para" + bytes(4) + struct.pack(">HH", kind, 0) + b"".join(s15(v) for v in numbers)
    assert _curve(tag) == pytest.approx(want, abs=1e-4)  # numbers rounded to 1/65536


def test_broken_profiles_are_no_profiles(colour_science, rng):
    icc = p3_profile(colour_science)
    assert profile_name(b"") is None
    assert profile_name(icc[:90]) is None
    assert profile_name(b"x" * 500) is None
    for _ in range(200):
        bad = bytearray(icc)
        for at in rng.integers(0, len(icc), 6):
            bad[at] = rng.integers(256)
        if profile_name(bytes(bad)) is not None:
            assert linear_from_rgb(np.zeros((2, 2, 3), np.uint8), bytes(bad)).shape == (2, 2, 3)
