"""What counts as one thing on answers made by hand; every count is by design."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.chips.eye import CELL_PX, KIN
from vision.chips.find import find_chips
from vision.chips.ground import Answer

DENSITY = 7.0  # px per mm, as the reader looks for chips
GROUND, METAL = 0.03, 0.95


def sheet(width_mm=40, height_mm=30):
    return np.full((round(height_mm * DENSITY), round(width_mm * DENSITY)), GROUND, np.float32)


def lay(prob, x, y, length, width, *, angle_deg=0.0, p=METAL):
    """Lay a rectangle of metal: centre, length and width in mm."""
    box = ((x * DENSITY, y * DENSITY), (length * DENSITY, width * DENSITY), angle_deg)
    cv2.fillConvexPoly(prob, np.rint(cv2.boxPoints(box)).astype(np.int32), p)
    return prob


def find(prob, **more):
    return find_chips(Answer.of_metal(prob), px_per_mm=DENSITY, **more)


def pointing(prob, left, right, *, at_mm, reach=1.0):
    """Let cells left of ``at_mm`` point to ``left`` (x, y), the others to ``right``.

    Those that point to one middle are kin.
    """
    answer = Answer.of_metal(prob)
    w = answer.reach.shape[1]
    x = np.arange(w) * CELL_PX / DENSITY
    for k in (0, 1):
        answer.middle_mm[k] = np.where(x < at_mm, left[k], right[k])
    answer.reach[:] = reach
    answer.typical[:] = 0.9
    for k, (_, aside) in enumerate(KIN):
        one = (left == right) | ((x < at_mm) == (np.roll(x, -aside) < at_mm))
        answer.kin[k] = np.where(one, 3.0, -3.0)
    return answer


def test_empty_sheet():
    assert find(sheet()) == []


def test_separate_chips_stay_separate():
    prob = sheet()
    lay(prob, 8, 6, 9, 1.5)
    lay(prob, 28, 6, 7, 1.2, angle_deg=70)
    lay(prob, 10, 22, 3, 3)
    finds = find(prob)
    assert [f.pieces for f in finds] == [1, 1, 1]
    # Largest first; rectangles drawn on whole pixels carry up to one more row and column.
    areas = np.array([f.mask.sum() for f in finds]) / DENSITY**2
    assert areas == pytest.approx([13.5, 9.0, 8.4], rel=0.25)
    assert list(areas) == sorted(areas, reverse=True)


def test_mask_and_place_give_the_picture_back():
    prob = sheet()
    lay(prob, 8, 6, 9, 1.5, angle_deg=20)
    lay(prob, 30, 20, 5, 2)
    again = np.zeros(prob.shape, bool)
    for f in find(prob):
        h, w = f.mask.shape
        again[f.row : f.row + h, f.col : f.col + w] |= f.mask
    assert np.array_equal(again, prob > 0.5)


def test_chips_that_touch_are_two_where_they_point_to_two_middles():
    prob = lay(sheet(), 20, 15, 20, 2)
    one = find_chips(pointing(prob, (20, 15), (20, 15), at_mm=20), px_per_mm=DENSITY)
    assert len(one) == 1
    two = find_chips(pointing(prob, (15, 15), (25, 15), at_mm=20), px_per_mm=DENSITY)
    assert len(two) == 2
    assert sum(f.mask.sum() for f in two) == one[0].mask.sum()
    # Each ends where the other begins: at the cell that lies at 20 mm.
    assert {f.col for f in two} == {one[0].col, 35 * CELL_PX}


def test_turns_apart_are_one_coil_where_they_point_to_one_middle():
    prob = sheet()
    for k in range(8):
        lay(prob, 10 + 2.6 * k, 15, 4, 0.7, angle_deg=75)
    assert len(find(prob)) == 8
    (coil,) = find_chips(pointing(prob, (19, 15), (19, 15), at_mm=0), px_per_mm=DENSITY)
    assert coil.pieces == 8


def test_a_long_ribbon_whose_middles_change_slowly_is_one():
    prob = lay(sheet(), 20, 15, 36, 1)
    answer = Answer.of_metal(prob)
    # Cells of a long chip reach far and are not very sure.
    answer.typical[:] = 0.6
    answer.reach[:] = 4.0
    answer.middle_mm[1] = 15
    # Middles follow their cells at half their pace: 18 mm from end to end, no jump.
    answer.middle_mm[0] = 10 + answer.middle_mm[0] / 2
    assert len(find_chips(answer, px_per_mm=DENSITY)) == 1


def test_crumbs_stay_crumbs():
    prob = sheet()
    for k in range(24):
        lay(prob, 4 + 5.5 * (k % 6), 4 + 7 * (k // 6), 0.7, 0.6, angle_deg=15 * k)
    finds = find(prob)
    assert len(finds) == 24
    assert all(f.pieces == 1 for f in finds)


def test_too_small_to_look_at():
    prob = sheet()
    prob[50:51, 50:55] = METAL  # 5 px = 0.10 mm2, under the limit of 0.12
    assert find(prob) == []
    prob[50:52, 50:54] = METAL  # 9 px = 0.18 mm2
    assert len(find(prob)) == 1


def test_confidence_is_the_mean_probability():
    prob = lay(sheet(), 10, 10, 6, 2, p=0.7)
    prob[70, 60:80] = 0.9
    (chip,) = find(prob)
    inside = prob > 0.5
    assert chip.confidence == pytest.approx(float(prob[inside].mean()), rel=1e-6)


def test_what_is_hardly_metal_is_left_out():
    stain = lay(sheet(), 10, 10, 6, 2, p=0.5)
    assert find(stain) == []
    assert len(find(lay(stain, 10, 10, 4, 2, p=0.9))) == 1


def test_neighbours_are_marked_round_a_find():
    prob = lay(sheet(), 10, 10, 6, 2)
    lay(prob, 10, 12.5, 6, 1)
    upper, lower = sorted(find(prob, pad=7), key=lambda f: f.row)
    h, w = upper.mask.shape
    assert upper.others.shape == (h + 14, w + 14)
    assert not upper.others[7 : 7 + h, 7 : 7 + w].any()
    row = lower.row - upper.row + 7
    assert np.array_equal(upper.others[row, 7 : 7 + w], lower.mask[0])


def test_at_border_of_the_view():
    prob = sheet()
    lay(prob, 2, 15, 8, 1.5)  # runs out on the left
    lay(prob, 25, 15, 8, 1.5)
    assert {f.col == 0: f.at_border for f in find(prob)} == {True: True, False: False}


def test_at_border_of_what_the_photo_shows():
    prob = sheet()
    lay(prob, 10, 15, 8, 1.5)
    lay(prob, 30, 15, 8, 1.5)
    seen = np.ones(prob.shape, bool)
    seen[:, round(33 * DENSITY) :] = False
    finds = sorted(find(prob, seen=seen), key=lambda f: f.col)
    assert [f.at_border for f in finds] == [False, True]


def test_more_specks_than_sixteen_bits_count():
    prob = np.full((600, 1400), GROUND, np.float32)
    prob[::9, ::9] = METAL  # single pixels, each too small to look at
    lay(prob, 60, 40, 9, 1.5)
    finds = find(prob)
    assert len(finds) == 1
    assert finds[0].mask.sum() >= 13 * DENSITY**2
