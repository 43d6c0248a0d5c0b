"""The printed card, measured on the print itself: rasterised PDF and PNG file."""

from __future__ import annotations

import io
import itertools
import struct
import warnings

import numpy as np
import pytest
from PIL import Image

from vision.photo.card import (
    CARDS,
    card_image,
    card_pdf,
    card_png,
    check_line_mm,
    chess_corners_mm,
    field_mm,
    markers_mm,
    printed_mm,
)

DPI = 600


def srgb_decode(x: np.ndarray) -> np.ndarray:
    """IEC 61966-2-1."""
    return np.where(x <= 0.04045, x / 12.92, ((x + 0.055) / 1.055) ** 2.4)


PX_PER_MM = DPI / 25.4

#: ISO 216 (A4, A5) and ANSI/ASME Y14.1 A size (8.5 x 11 inches), landscape.
SHEETS = {"a5": (210.0, 148.0), "a4": (297.0, 210.0), "letter": (279.4, 215.9)}


@pytest.fixture(scope="module")
def sheets() -> dict[str, np.ndarray]:
    """The PDFs as a printer would see them: grey pictures at 600 dots per inch."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its compiled types warn on import
        import pymupdf
    out = {}
    for name, spec in CARDS.items():
        page = pymupdf.open(stream=card_pdf(spec), filetype="pdf")[0]
        pixmap = page.get_pixmap(dpi=DPI, colorspace=pymupdf.csGRAY)
        out[name] = np.frombuffer(pixmap.samples, np.uint8).reshape(pixmap.height, pixmap.width)
    return out


def edges_mm(profile: np.ndarray) -> np.ndarray:
    """Places in mm where a profile crosses half way between black and white."""
    level = profile.astype(float) - 127.5
    k = np.flatnonzero(np.sign(level[:-1]) != np.sign(level[1:]))
    return (k + level[k] / (level[k] - level[k + 1]) + 0.5) / PX_PER_MM


@pytest.mark.parametrize("name", CARDS)
def test_page_has_the_size_of_the_sheet(name, sheets):
    # A pixel at 600 dpi is 0.042 mm; the raster rounds the page up to whole pixels.
    height, width = sheets[name].shape
    assert (width / PX_PER_MM, height / PX_PER_MM) == pytest.approx(SHEETS[name], abs=0.05)


@pytest.mark.parametrize("name", CARDS)
def test_check_line_is_100_mm_long(name, sheets):
    x0, y0, x1, _ = check_line_mm(CARDS[name])
    row = sheets[name][round((y0 - 1.0) * PX_PER_MM)]  # through the end ticks only
    cut = edges_mm(row[round((x0 - 2) * PX_PER_MM) : round((x1 + 2) * PX_PER_MM)])
    # Outer faces of the ticks; half a pixel of the raster.
    assert cut[-1] - cut[0] == pytest.approx(100.0, abs=0.5 / PX_PER_MM)


@pytest.mark.parametrize("name", CARDS)
def test_squares_are_12_mm(name, sheets):
    spec = CARDS[name]
    x0, y0, x1, _ = spec.board_mm
    # A hand's breadth below the top edge, above the markers: plain black and white squares.
    cut = edges_mm(sheets[name][round((y0 + 0.7) * PX_PER_MM)])
    assert np.diff(cut) == pytest.approx(12.0, abs=0.5 / PX_PER_MM)
    assert cut[0] == pytest.approx(x0, abs=0.5 / PX_PER_MM)
    assert len(cut) in (spec.columns, spec.columns + 1)
    assert cut[-1] <= x1 + 0.5 / PX_PER_MM


@pytest.mark.parametrize("name", CARDS)
def test_picture_and_pdf_are_the_same_print(name, sheets):
    # In ink (linear light), so that edges inside a pixel average alike.
    picture = srgb_decode(card_image(CARDS[name], 10.0)[:, :, 0] / 255.0)
    ink = Image.fromarray(srgb_decode(sheets[name] / 255.0).astype(np.float32))
    sheet = np.asarray(ink.resize(picture.shape[::-1], Image.Resampling.BOX))
    # The page is rounded up to whole raster pixels, 0.04 mm, and its edges to 1/8 of one:
    # together half a picture pixel; a mark missing or a module off would give a whole one.
    off = np.abs(picture - sheet)
    x0, _, x1, y1 = (round(v * 10) for v in CARDS[name].middle_mm)
    letters = off[y1 - 120 : y1, x0:x1].copy()
    off[y1 - 120 : y1, x0:x1] = 0  # letters are spaced otherwise by the two libraries
    assert off.max() < 0.75
    assert letters.mean() < 0.05
    assert np.mean(off > 0.05) < 0.05


@pytest.mark.parametrize("name", CARDS)
def test_field_is_empty_and_print_lies_in_the_printed_boxes(name):
    spec, k = CARDS[name], 8
    dark = card_image(spec, k)[:, :, 0] < 250
    x0, y0, x1, y1 = (round(v * k) for v in field_mm(spec))
    assert not dark[y0:y1, x0:x1].any()
    assert (x1 - x0) * (y1 - y0) > 0.3 * dark.size  # a field worth having
    for a, b, c, d in printed_mm(spec):
        dark[int(b * k) : int(np.ceil(d * k)) + 1, int(a * k) : int(np.ceil(c * k)) + 1] = False
    assert not dark.any()


@pytest.mark.parametrize("name", CARDS)
def test_png_carries_its_density(name):
    data = card_png(CARDS[name], 12)
    at = data.index(b"pHYs")
    across, down, unit = struct.unpack(">IIB", data[at + 4 : at + 13])
    # PNG specification (ISO/IEC 15948), pHYs: pixels per metre, unit 1.
    assert (across, down, unit) == (12000, 12000, 1)
    width, height = Image.open(io.BytesIO(data)).size
    assert (width / 12, height / 12) == pytest.approx(SHEETS[name], abs=0.5 / 12)


def test_any_two_neighbouring_markers_tell_the_size():
    """Ids of neighbours on one sheet are no neighbours on another."""
    pairs = {}
    for name, spec in CARDS.items():
        middle = {k: m.mean(axis=0) for k, m in markers_mm(spec).items()}
        pairs[name] = {
            (a, b)
            for a, b in itertools.permutations(middle, 2)
            if np.linalg.norm(middle[a] - middle[b]) < 25
        }
    for one, other in itertools.combinations(pairs.values(), 2):
        assert len(one & other) < 0.1 * min(len(one), len(other))


@pytest.mark.parametrize("name", CARDS)
def test_each_used_corner_is_a_whole_saddle(name):
    """Opposite squares alike, neighbours different, on all four sides of each corner."""
    spec, k = CARDS[name], 10
    picture = card_image(spec, k)[:, :, 0]
    for x, y in chess_corners_mm(spec):
        tone = [
            picture[round((y + dy) * k), round((x + dx) * k)]
            for dx, dy in ((-0.7, -0.7), (0.7, -0.7), (0.7, 0.7), (-0.7, 0.7))
        ]
        assert tone[0] == tone[2] != tone[1] == tone[3]


@pytest.mark.parametrize("density", [1.0, 100.0, float("nan")])
def test_senseless_density_is_refused(density):
    with pytest.raises(ValueError, match="px_per_mm"):
        card_image(CARDS["a5"], density)
