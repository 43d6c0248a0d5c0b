"""Boundary F of small masks counted by hand, widths, and edges as scikit-image sees them."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage
from skimage.segmentation import find_boundaries

from vision.training.outlines import (
    boundary_f,
    boundary_f_of,
    chip_boxes,
    edge_of,
    mean_width_px,
)
from vision.training.rows import SceneFiles, filled
from vision.training.score import SceneScore, _score_outlines


def block(shape, rows, cols):
    mask = np.zeros(shape, bool)
    mask[slice(*rows), slice(*cols)] = True
    return mask


def rectangle(x0, y0, x1, y1):
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], float)


def scene_of(mask):
    areas = np.bincount(mask.ravel(), minlength=256)
    return SceneFiles("x", b"", mask, {"chips": []}, areas)


def blobs(rng):
    soft = ndimage.gaussian_filter(rng.normal(size=(80, 90)), 4)
    mask = soft > 0.02
    mask[[0, -1]] = mask[:, [0, -1]] = False
    return mask


def test_the_edge_is_scikit_images_inner_boundary(rng):
    mask = blobs(rng)
    wanted = find_boundaries(mask, connectivity=1, mode="inner")
    assert wanted.sum() > 200
    np.testing.assert_array_equal(edge_of(mask), wanted)


def test_a_mask_that_fills_the_picture_has_the_pictures_border_as_edge():
    assert edge_of(np.ones((5, 7), bool)).sum() == 20


def test_boundary_f_of_a_shifted_square():
    # 10 x 10 square, 36 outline pixels. Shifted by 2 px every one is within 2 px. By 3 px:
    # the 10 of the rear side are 3 px away, and of the front side the 4 in its middle,
    # which are 3 px from the other's front and more than 2 from its flanks. 22 of 36 both ways.
    square = block((20, 30), (5, 15), (5, 15))
    assert boundary_f(square, square) == 1.0
    assert boundary_f(np.roll(square, 2, axis=1), square) == 1.0
    assert boundary_f(np.roll(square, 3, axis=1), square) == pytest.approx(22 / 36)


def test_boundary_f_of_half_a_line():
    # 20 px long, 1 px wide, the first 10 found: precision 10/10, recall (10 + 2)/20
    line, half = block((5, 30), (2, 3), (4, 24)), block((5, 30), (2, 3), (4, 14))
    assert boundary_f(half, line) == pytest.approx(2 * 0.6 / 1.6)
    assert boundary_f(line, half) == pytest.approx(2 * 0.6 / 1.6)


def test_a_hole_that_is_filled_costs_its_outline():
    # 15 x 15 with a 5 x 5 hole in the middle: 56 outline pixels outside, 20 round the hole,
    # those at least 4 px from the outside. Precision 56/56, recall 56/76.
    whole = block((21, 21), (3, 18), (3, 18))
    ring = whole & ~block((21, 21), (8, 13), (8, 13))
    assert edge_of(ring).sum() == 76
    assert boundary_f(whole, ring) == pytest.approx(2 * 56 / (56 + 76))


def test_nothing_and_far_away_score_nothing():
    square, none = block((20, 40), (5, 10), (5, 10)), np.zeros((20, 40), bool)
    assert boundary_f(none, square) == 0.0
    assert boundary_f(square, none) == 0.0
    assert boundary_f(block((20, 40), (5, 10), (30, 35)), square) == 0.0


def test_boundary_f_by_scipys_distances(rng):
    one, two = blobs(rng), blobs(rng)
    ours, theirs = (find_boundaries(m, connectivity=1, mode="inner") for m in (one, two))
    precision = (ndimage.distance_transform_edt(~theirs)[ours] <= 2).mean()
    recall = (ndimage.distance_transform_edt(~ours)[theirs] <= 2).mean()
    wanted = 2 * precision * recall / (precision + recall)
    assert 0.1 < wanted < 0.9
    assert boundary_f(one, two) == pytest.approx(wanted)


def test_mean_width_by_hand():
    # 4 x 4: 12 pixels at distance 1 of the outside, 4 at distance 2: mean 1.25, of which 0.4
    # lie past the edge, times four
    assert mean_width_px(block((8, 8), (2, 6), (2, 6))) == pytest.approx(3.4)
    assert mean_width_px(np.zeros((3, 3), bool)) == 0.0


@pytest.mark.parametrize("width_px", [6.0, 12.0, 18.0])
def test_mean_width_of_strips_in_any_direction_of_rings_and_of_discs(width_px):
    y, x = np.mgrid[-220:221, -220:221].astype(float)
    for angle in np.radians([0, 7, 20, 30, 45, 63, 81]):
        along, across = np.cos(angle) * x + np.sin(angle) * y, np.cos(angle) * y
        across = np.abs(across - np.sin(angle) * x - 0.3)
        strip = (across < width_px / 2) & (np.abs(along) < 200)
        # depths are a hipped roof over width and length, 400 px: four times its mean height
        wanted = width_px - width_px**2 / (3 * 400)
        assert mean_width_px(strip) == pytest.approx(wanted, abs=0.5)
    away = np.hypot(x, y)
    assert mean_width_px(np.abs(away - 150) < width_px / 2) == pytest.approx(width_px, abs=0.5)
    assert mean_width_px(away < 5 * width_px) == pytest.approx(20 / 3 * width_px, rel=0.02)


@pytest.mark.parametrize("shift", [(0, 0), (3, 1), (-9, -6), (40, 0)])
def test_cut_out_or_in_the_whole_picture_is_the_same(shift):
    mask = np.zeros((60, 80), np.uint8)
    mask[2:12, 3:40] = 7
    mask[10:20, 20:30] = 9
    rings = [rectangle(3, 2, 39, 11) + shift, rectangle(8, 4, 20, 8) + shift]
    own, (r, c) = filled(rings, mask.shape)
    found = np.zeros(mask.shape, bool)
    found[r : r + own.shape[0], c : c + own.shape[1]] = own
    box = chip_boxes(scene_of(mask), {7})[7]
    assert boundary_f_of(rings, scene_of(mask), 7, box) == boundary_f(found, mask == 7)


def test_wide_chips_are_asked_for_overlap_and_thin_ones_for_their_outline():
    mask = np.zeros((200, 200), np.uint8)
    mask[10:40, 10:40] = 1  # 30 px square: looks 20 px wide
    mask[10:40, 60:90] = 2
    mask[60:64, 10:110] = 3  # 4 px wide
    mask[80:84, 10:110] = 4
    mask[100:104, 10:110] = 5
    mask[150:154, 10:110] = 6
    score = SceneScore("x", card=True)
    finds = {
        1: ([rectangle(10, 10, 39, 39)], 0.9),
        2: ([rectangle(60, 10, 80, 39)], 0.7),
        3: ([rectangle(10, 61, 109, 64)], 0.6),  # a pixel off: overlap 0.6, outline right
        4: ([rectangle(10, 80, 59, 83)], 0.5),  # the first half: 104 of 204, and F 0.69
    }
    _score_outlines(score, scene_of(mask), {1, 2, 3, 4, 5}, finds)
    assert (score.wide, score.wide_close) == (2, 1)
    assert (score.thin, score.thin_close) == (3, 1)
