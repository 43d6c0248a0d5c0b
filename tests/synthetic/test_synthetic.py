"""The made-up scenes: their truth against plain geometry, their picture against their truth."""

from __future__ import annotations

import io

import cv2
import numpy as np
import pytest
from PIL import Image
from scipy.integrate import quad

from vision.photo.card import CARDS, chess_corners_mm, field_mm
from vision.photo.colour import linear_from_rgb
from vision.photo.decode import decode_photo
from vision.photo.find_card import find_card
from vision.synthetic import FORMS, make_scene
from vision.synthetic.paint import paint_strips
from vision.synthetic.strips import (
    arc,
    coil,
    grains,
    helix_length_mm,
    make_chip,
    needle,
    nest,
    spiral,
    wavy_ribbon,
)


def along(chip):
    """Length of the drawn centre line, straight piece by straight piece."""
    line = chip.strips[0].line
    return float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())


# Chords fall short of an arc by (step angle)^2 / 24; steps are at most 6 degrees: 0.05 %.
CHORDS = 5e-4


@pytest.mark.parametrize("form", sorted(FORMS))
def test_every_form_is_drawn_as_long_as_it_says(form, rng):
    for _ in range(5):
        chip = make_chip(rng, form)
        if chip.length_mm is not None:
            assert along(chip) == pytest.approx(chip.length_mm, rel=CHORDS)


def test_helix_of_a_three_four_five_triangle():
    # Unrolled, a turn is the long side over girth 4 and pitch 3 (school geometry).
    assert helix_length_mm(4 / (2 * np.pi), 3.0, 2.0) == pytest.approx(10.0, rel=1e-12)


def test_arc_sizes():
    chip = arc(10.0, 90.0, 1.0)
    assert chip.length_mm == pytest.approx(np.pi * 5, rel=1e-12)
    # Farthest apart are the outer ends: a chord of the outer circle.
    assert chip.extent_mm == pytest.approx(2 * 10.5 * np.sin(np.pi / 4), rel=1e-3)


def test_spiral_length_and_mean_radius_by_quadrature():
    chip = spiral(1.5, 1.2, 3.0, 0.3)
    b = 1.2 / (2 * np.pi)
    length, _ = quad(lambda t: np.hypot(1.5 + b * t, b), 0, 6 * np.pi)
    moment, _ = quad(lambda t: (1.5 + b * t) * np.hypot(1.5 + b * t, b), 0, 6 * np.pi)
    assert chip.length_mm == pytest.approx(length, rel=1e-9)
    assert chip.curl_radius_mm == pytest.approx(moment / length, rel=1e-9)


def test_wave_length_by_quadrature():
    chip = wavy_ribbon(14.0, 1.5, 1.3, 1.0)
    k = 2 * np.pi / 14.0
    length, _ = quad(lambda x: np.hypot(1, 1.3 * k * np.cos(k * x)), 0, 21.0, limit=200)
    assert chip.length_mm == pytest.approx(length, rel=1e-9)


@pytest.mark.parametrize(
    ("theta_deg", "group", "outer_mm"), [(0.0, "2", 2.0), (90.0, "4", 2.5), (45.0, "5", 2.354)]
)
def test_coil_group_and_outside(theta_deg, group, outer_mm):
    # Outside radius: R, R + w/2, R + w/2 sin 45 deg; a sampled circle loses under 0.2 %.
    chip = coil(2.0, 1.5, 8.0, 1.0, theta_deg=theta_deg)
    first, second = chip.strips[0].edges()
    reach = np.linalg.norm(np.concatenate([first, second])[:, 1:], axis=1).max()
    assert chip.group == group
    assert reach == pytest.approx(outer_mm, rel=2e-3)
    assert chip.coil_length_mm == pytest.approx(12.0)


def test_grains_are_counted_and_apart(rng):
    chip = grains(rng, 12, 0.9)
    (_, _, cover) = paint_strips(chip.strips, 20.0, rng)
    found, _ = cv2.connectedComponents((cover > 0.5).astype(np.uint8))
    assert (found - 1, chip.count) == (12, 12)
    assert 0.6 < chip.median_size_mm < 1.4


@pytest.mark.parametrize("px_per_mm", [6.0, 10.0, 18.0])
@pytest.mark.parametrize(
    ("chip", "area_mm2"),
    [
        # Pappus: a band bent in its own plane covers length times width.
        (arc(6.0, 200.0, 1.5), 6.0 * np.radians(200) * 1.5),
        (needle(6.0, 0.3), 6.0 * 0.3),
        # A tube of touching turns, 6 turns of 1 mm, from the side: near and far wall fill
        # its outline. At a height R cos(angle) the outline is turns * pitch + width less
        # pitch * angle / 180 deg long; over all heights the mean angle is 90 deg.
        (coil(3.0, 1.0, 6.0, 1.0), 6.0 * (6.0 + 1.0 - 0.5)),
    ],
)
def test_painted_area(chip, area_mm2, px_per_mm, rng):
    _, _, cover = paint_strips(chip.strips, px_per_mm, rng)
    # Drawn four times as fine: a doubt of 0.1 fine pixel on each long side of the needle
    # (mean width 0.3 mm = 7 fine pixels at 6 px/mm) is 1.4 %; all else is broader.
    assert float(cover.sum()) / px_per_mm**2 == pytest.approx(area_mm2, rel=0.014)


def test_same_seed_same_bytes():
    first, second = (
        make_scene(np.random.default_rng(7), chips=4, px_per_mm=6.0, distractors=("oil",))
        for _ in range(2)
    )
    other = make_scene(np.random.default_rng(8), chips=4, px_per_mm=6.0)
    assert first.jpeg == second.jpeg
    assert (first.mask == second.mask).all()
    assert first.jpeg != other.jpeg


@pytest.fixture(scope="module")
def scene():
    return make_scene(np.random.default_rng(3), chips=9, px_per_mm=10.0, tilt_deg=15.0)


def test_one_chip_of_every_form_lies_in_the_field(scene):
    assert sorted(c.form for c in scene.chips) == sorted(FORMS)
    x0, y0, x1, y1 = field_mm(CARDS["a5"])
    for chip in scene.chips:
        for strip in chip.strips:
            edge = np.concatenate(strip.edges())
            assert (edge[:, :2].min(axis=0) > (x0, y0)).all()
            assert (edge[:, :2].max(axis=0) < (x1, y1)).all()


def test_mask_lies_where_the_map_puts_the_chip(scene):
    for chip in scene.chips:
        rows, columns = np.nonzero(scene.mask == chip.number)
        line = np.concatenate([s.line[:, :2] for s in chip.strips])
        low, high = line.min(axis=0), line.max(axis=0)
        box = np.array([[low, (high[0], low[1]), high, (low[0], high[1])]])
        seen = cv2.perspectiveTransform(box, scene.px_from_mm)[0]
        slack = 10.0 * (max(s.width.max() for s in chip.strips) / 2 + 0.2)
        assert rows.size > 20
        assert columns.min() > seen[:, 0].min() - slack
        assert columns.max() < seen[:, 0].max() + slack
        assert rows.min() > seen[:, 1].min() - slack
        assert rows.max() < seen[:, 1].max() + slack


def test_chips_do_not_touch(scene):
    for chip in scene.chips:
        alone = (scene.mask == chip.number).astype(np.uint8)
        near = cv2.dilate(alone, np.ones((9, 9), np.uint8)) > 0
        assert set(np.unique(scene.mask[near])) <= {0, chip.number}


def test_printed_corners_lie_where_the_map_says(scene):
    grey = cv2.cvtColor(scene.rgb, cv2.COLOR_RGB2GRAY)
    told = cv2.perspectiveTransform(chess_corners_mm(CARDS["a5"])[None], scene.px_from_mm)[0]
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 40, 1e-3)
    found = cv2.cornerSubPix(grey, told.astype(np.float32).copy(), (5, 5), (-1, -1), stop)
    gap = np.linalg.norm(found.reshape(-1, 2) - told, axis=1)
    # Sub-pixel search on a sharp noisy corner is good to about a tenth of a pixel; half
    # a pixel would be a mistake in where pixel centres lie.
    assert np.median(gap) < 0.12
    assert np.median(found.reshape(-1, 2) - told, axis=0) == pytest.approx([0, 0], abs=0.06)


def test_the_reader_finds_the_card_where_it_was_drawn(scene):
    fix = find_card(decode_photo(scene.jpeg))
    assert fix.card_id == "a5"
    assert fix.tilt_deg == pytest.approx(15.0, abs=1.0)
    x0, y0, x1, y1 = field_mm(CARDS["a5"])
    field = np.array([[[x0, y0], [x1, y0], [x1, y1], [x0, y1]]])
    seen = cv2.perspectiveTransform(field, scene.px_from_mm)
    back = fix.sheet.to_mm(seen[0])[None]
    # A tenth of a pixel at 10 px/mm, doubled towards the corners of the field.
    assert np.linalg.norm(back - field, axis=2).max() < 0.02


@pytest.mark.parametrize("px_per_mm", [6.0, 10.0, 14.0])
def test_density_at_the_middle(px_per_mm, rng):
    scene = make_scene(rng, chips=1, forms=["arc"], px_per_mm=px_per_mm, tilt_deg=0.0)
    middle = np.array([105.0, 74.0])
    pair = cv2.perspectiveTransform(
        (middle + np.array([[[-0.5, 0.0], [0.5, 0.0]]])), scene.px_from_mm
    )[0]
    assert np.linalg.norm(pair[1] - pair[0]) == pytest.approx(px_per_mm, rel=1e-6)


def test_tilt_shortens_the_far_side(rng):
    flat = make_scene(rng, chips=1, forms=["arc"], px_per_mm=5.0, tilt_deg=0.0)
    tilted = make_scene(rng, chips=1, forms=["arc"], px_per_mm=5.0, tilt_deg=25.0)
    corners = np.array([[[0.0, 0.0], [210.0, 0.0], [210.0, 148.0], [0.0, 148.0]]])

    def opposite_sides(scene):
        p = cv2.perspectiveTransform(corners, scene.px_from_mm)[0]
        sides = np.linalg.norm(p - np.roll(p, 1, axis=0), axis=1)
        return sorted([sides[0] / sides[2], sides[1] / sides[3]])

    assert opposite_sides(flat) == pytest.approx([1.0, 1.0], abs=1e-9)
    assert max(abs(np.log(opposite_sides(tilted)))) > 0.05


def test_warm_light_and_noise_do_what_they_say():
    def paper(**how):
        scene = make_scene(
            np.random.default_rng(5),
            chips=1,
            forms=["needle"],
            px_per_mm=5.0,
            uneven=0.0,
            **how,
        )
        linear = linear_from_rgb(scene.rgb)
        at = cv2.perspectiveTransform(np.array([[[105.0, 5.0]]]), scene.px_from_mm)[0, 0]
        x, y = int(at[0]), int(at[1])
        return linear[y - 8 : y + 9, x - 60 : x + 61].reshape(-1, 3)

    neutral, warm = paper(noise=0.0).mean(axis=0), paper(noise=0.0, warmth=1.0).mean(axis=0)
    assert neutral[0] / neutral[2] == pytest.approx(1.0, abs=0.01)
    assert warm[0] / warm[2] == pytest.approx(1.3 / 0.7, rel=0.02)  # the documented cast
    white = paper(noise=0.03)[:, 1]
    # noise is told at full white and grows with the root of the light; 8-bit steps and
    # a sample of 2000 leave 5 %.
    assert white.std() == pytest.approx(0.03 * np.sqrt(white.mean()), rel=0.05)


def test_distractors_darken_the_sheet_and_are_no_chips():
    kwargs = {"chips": 1, "forms": ["needle"], "px_per_mm": 5.0, "noise": 0.0}
    for kind in ("shadow", "oil"):
        scene = make_scene(np.random.default_rng(2), distractors=(kind,), **kwargs)
        assert set(np.unique(scene.mask)) == {0, 1}
        x0, y0, x1, y1 = field_mm(CARDS["a5"])
        flat = cv2.warpPerspective(
            scene.rgb, scene.px_from_mm @ np.diag([0.2, 0.2, 1.0]), (1050, 740),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        )  # fmt: skip
        inside = linear_from_rgb(flat)[int(5 * y0) : int(5 * y1), int(5 * x0) : int(5 * x1), 1]
        dark = (inside < 0.9 * np.median(inside)).mean()
        assert 0.002 < dark < 0.5


def test_asking_for_the_impossible(rng):
    with pytest.raises(ValueError, match="do not fit"):
        make_scene(rng, chips=[nest(rng, 30.0, 5, 1.0) for _ in range(6)], px_per_mm=4.0)
    with pytest.raises(KeyError):
        make_scene(rng, card="napkin")
    with pytest.raises(ValueError, match="px_per_mm"):
        make_scene(rng, px_per_mm=1.0)


def test_the_file_is_a_jpeg_of_the_picture(scene):
    back = np.asarray(Image.open(io.BytesIO(scene.jpeg)).convert("RGB"))
    assert back.shape == scene.rgb.shape == (*scene.mask.shape, 3)
    # Quality 90 moves a noisy pixel by a few of 255 steps.
    assert np.abs(back.astype(int) - scene.rgb.astype(int)).mean() < 4
