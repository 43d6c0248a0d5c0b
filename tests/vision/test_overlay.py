"""The drawn picture: what it must show is read back from its pixels."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image, ImageCms

from vision.overlay import draw_overlay, encode_jpeg
from vision.records import (
    ChipGeometry,
    ChipReading,
    Measured,
    PhotoReading,
    Scale,
)

PAPER, METAL = 236, 120
WIDTH, HEIGHT = 1200, 900


def _disc(x, y, radius, n=80):
    t = np.linspace(0, 2 * np.pi, n, endpoint=False)
    return np.column_stack([x + radius * np.cos(t), y + radius * np.sin(t)])


def _chip(number, *rings, sure=True):
    return ChipReading(
        number=number,
        kind="chip",
        outline_px=rings,
        group="2",
        form="2.2",
        sure=sure,
        candidates=("2.2",),
        probability={},
        p_not_chip=0.0,
        why=(),
        geometry=ChipGeometry(),
        tint=None,
    )


def _reading(*chips, px_per_mm=10.0, size=(WIDTH, HEIGHT)):
    density = None if px_per_mm is None else Measured(value=px_per_mm, u=0.1)
    return PhotoReading(
        photo="x.jpg",
        photos=("x.jpg",),
        sha256="0" * 64,
        size_px=size,
        scale=Scale(source="card" if density else "none", px_per_mm=density),
        chips=chips,
        form=None,
        heat=None,
        flags=(),
        usable="yes",
        versions={},
    )


def _paper(chips=(), ground=PAPER):
    import cv2

    picture = np.full((HEIGHT, WIDTH, 3), ground, np.uint8)
    for chip in chips:
        for ring in chip.outline_px:
            cv2.fillPoly(picture, [np.round(ring).astype(np.int32)], (METAL,) * 3)
    return picture


def _luminance(rgb):
    """WCAG 2.2 relative luminance (its definition of contrast ratio)."""
    c = np.asarray(rgb, float) / 255
    linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    return linear @ [0.2126, 0.7152, 0.0722]


def _is_core(picture):
    """The light line: clearly coloured and bright, unlike paper, metal and casing."""
    wide = picture.astype(int)
    return (wide[..., 1] > 200) & (wide[..., 1] - wide[..., 2] > 100)


def _along(picture, ring):
    """Share of a ring's points that lie within 2 px of the light line."""
    core = _is_core(picture)
    hits = 0
    for x, y in np.round(ring).astype(int):
        hits += core[max(0, y - 2) : y + 3, max(0, x - 2) : x + 3].any()
    return hits / len(ring)


def test_the_photo_itself_is_left_alone():
    chip = _chip(1, _disc(600, 450, 80))
    photo = _paper([chip])
    before = photo.copy()
    drawn = draw_overlay(photo, _reading(chip))
    assert np.array_equal(photo, before)
    assert drawn.dtype == np.uint8
    assert not np.array_equal(drawn, before)


def test_sure_is_whole_and_unsure_is_dashed():
    sure, unsure = _chip(1, _disc(350, 450, 90)), _chip(2, _disc(850, 450, 90), sure=False)
    drawn = draw_overlay(_paper([sure, unsure]), _reading(sure, unsure))
    # The tag's line hides a point or two of either ring.
    assert _along(drawn, sure.outline_px[0]) > 0.95
    # Dash and gap are equally long; half a dash of slack for the 2 px reach at each end.
    assert 0.4 < _along(drawn, unsure.outline_px[0]) < 0.9


@pytest.mark.parametrize("ground", [236, 150, 90])
def test_lines_stand_out_on_paper_and_on_metal(ground):
    """WCAG 2.2, 1.4.11: graphics reach 3:1 with what lies beside them; casing or core must."""
    chip = _chip(1, _disc(600, 450, 90))
    drawn = draw_overlay(_paper(ground=ground), _reading(chip, px_per_mm=None))
    row = drawn[450, 500:600]
    lum = _luminance(row)
    beside = _luminance([ground] * 3)
    ratios = (np.maximum(lum, beside) + 0.05) / (np.minimum(lum, beside) + 0.05)
    assert ratios.max() >= 3
    core, casing = lum.max(), lum.min()
    assert (core + 0.05) / (casing + 0.05) >= 3, "core and casing tell each other apart"


def test_holes_are_outlined_too():
    ring = _chip(1, _disc(600, 450, 120), _disc(600, 450, 60))
    drawn = draw_overlay(_paper(), _reading(ring))
    assert _along(drawn, ring.outline_px[1]) > 0.9


def test_tags_hide_no_chip_and_no_other_tag():
    rng = np.random.default_rng(3)
    chips = [
        _chip(
            5 * row + col + 1,
            _disc(150 + 220 * col + rng.integers(-20, 20), 130 + 210 * row, 45),
        )
        for row in range(4)
        for col in range(5)
    ]
    photo = _paper(chips)
    drawn = draw_overlay(photo, _reading(*chips, px_per_mm=None))
    for chip in chips:
        x, y = chip.outline_px[0].mean(axis=0).astype(int)
        inner = drawn[y - 25 : y + 26, x - 25 : x + 26]  # a 51 px square inside a 45 px disc
        assert (inner == METAL).all(), f"something lies on chip {chip.number}"
    # A tag is a dark patch; with all of them apart there are as many as chips.
    import cv2

    dark = (drawn.max(axis=2) < 40).astype(np.uint8)
    opened = cv2.morphologyEx(dark, cv2.MORPH_OPEN, np.ones((7, 3), np.uint8))
    closed = cv2.morphologyEx(opened, cv2.MORPH_CLOSE, np.ones((5, 31), np.uint8))
    count, _, stats, _ = cv2.connectedComponentsWithStats(closed)
    assert sum(stats[1:, cv2.CC_STAT_WIDTH] > 30) == len(chips), count


@pytest.mark.parametrize(("px_per_mm", "max_side"), [(10.0, 1600), (10.0, 600), (37.0, 1600)])
def test_the_scale_bar_is_as_long_as_it_says(px_per_mm, max_side):
    """The longest light run of the bar, in px, is a whole usual length at this density."""
    drawn = draw_overlay(_paper(), _reading(px_per_mm=px_per_mm), max_side_px=max_side)
    zoom = drawn.shape[1] / WIDTH
    runs = _is_core(drawn).sum(axis=1)
    millimetres = runs.max() / (px_per_mm * zoom)
    usual = np.array([1, 2, 5, 10, 20, 50, 100])
    # One pixel at either end may be lost to rounding.
    assert np.abs(usual - millimetres).min() <= 2 / (px_per_mm * zoom)


def test_no_scale_no_bar_and_no_chips_no_change():
    photo = _paper()
    assert np.array_equal(draw_overlay(photo, _reading(px_per_mm=None)), photo)


def test_size_limit_and_never_enlarged():
    photo = _paper()
    assert draw_overlay(photo, _reading(), max_side_px=300).shape == (225, 300, 3)
    assert draw_overlay(photo, _reading(), max_side_px=9000).shape == photo.shape


def test_focus_shows_the_chips_and_little_else():
    chip = _chip(1, _disc(900, 200, 50))
    drawn = draw_overlay(_paper([chip]), _reading(chip), focus=True)
    assert max(drawn.shape[:2]) < 200
    assert (drawn == METAL).all(axis=2).sum() > 0.7 * np.pi * 45**2


def test_outlines_follow_a_smaller_copy_of_the_photo():
    import cv2

    chip = _chip(1, _disc(600, 450, 100))
    small = cv2.resize(_paper([chip]), (WIDTH // 2, HEIGHT // 2), interpolation=cv2.INTER_AREA)
    drawn = draw_overlay(small, _reading(chip))
    assert _along(drawn, (chip.outline_px[0] + 0.5) / 2 - 0.5) > 0.95


def test_in_a_crowd_tags_shrink_to_numbers_and_still_hide_no_chip():
    places = [(60 + 120 * col, 70 + 150 * row) for row in range(6) for col in range(10)]
    chips = [_chip(n, _disc(x, y, 14), sure=n % 2 == 0) for n, (x, y) in enumerate(places, 1)]
    drawn = draw_overlay(_paper(chips), _reading(*chips, px_per_mm=None))
    for x, y in places:
        inner = drawn[y - 5 : y + 6, x - 5 : x + 6]  # 11 px square, well inside the outline
        assert (inner == METAL).all()


@pytest.mark.parametrize("where", [(5, 5), (1195, 895), (600, 2)])
def test_a_chip_at_the_edge_still_gets_its_tag(where):
    chip = _chip(1, _disc(*where, 40))
    drawn = draw_overlay(_paper(), _reading(chip, px_per_mm=None))
    assert (drawn == 255).all(axis=2).any(), "white letters of the tag"


def test_jpeg_keeps_size_and_profile():
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    data = encode_jpeg(_paper(), icc=profile)
    opened = Image.open(io.BytesIO(data))
    assert (opened.format, opened.size) == ("JPEG", (WIDTH, HEIGHT))
    assert opened.info["icc_profile"] == profile
    # A flat picture survives JPEG to within a grey step or two.
    assert np.abs(np.asarray(opened).astype(int) - PAPER).max() <= 2


def test_what_was_measured_along_is_drawn():
    ring = np.array([[100.0, 300.0], [900.0, 300.0], [900.0, 500.0], [100.0, 500.0]])
    line = np.array([[110.0, 400.0], [890.0, 400.0]])
    plain = _chip(1, ring)
    bare, strip, coil = (
        draw_overlay(_paper(), _reading(chip))
        for chip in (
            plain,
            replace(plain, line_px=line),
            replace(plain, line_px=line, line_is_axis=True),
        )
    )
    along = slice(130, 870)
    drawn = [(p[400, along] != bare[400, along]).any(axis=1).mean() for p in (strip, coil)]
    assert drawn[0] == 1  # a centre line is whole
    assert 0.3 < drawn[1] < 0.8  # an axis is dashed


def test_small_gaps_between_turns_are_not_drawn():
    ring = np.array([[100.0, 300.0], [900.0, 300.0], [900.0, 600.0], [100.0, 600.0]])
    gap = np.array([[500.0, 450.0], [508.0, 450.0], [508.0, 458.0], [500.0, 458.0]])
    one, two = (draw_overlay(_paper(), _reading(_chip(1, *r))) for r in ((ring,), (ring, gap)))
    assert np.array_equal(one, two)
    crumb = draw_overlay(_paper(), _reading(_chip(1, gap)))
    assert (crumb[445:463, 495:513] != PAPER).any()


def test_long_gaps_as_narrow_as_the_lines_round_them_are_not_drawn():
    def box(x0, y0, x1, y1):
        return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], float)

    def drawn(*rings):
        return draw_overlay(_paper(), _reading(_chip(1, *rings)))

    coil = box(100, 300, 900, 600)
    # Gaps run round the other way than the outline does.
    narrow, wide = box(500, 320, 505, 580)[::-1], box(500, 320, 560, 580)[::-1]
    assert np.array_equal(drawn(coil), drawn(coil, narrow))
    assert not np.array_equal(drawn(coil), drawn(coil, wide))
    # A narrow piece of the chip itself is shown.
    assert not np.array_equal(drawn(coil), drawn(coil, box(950, 320, 955, 580)))
