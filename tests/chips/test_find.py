"""Finding chips one by one on probability maps made by hand; every count is by design."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.chips.find import find_chips

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
    return find_chips(prob, px_per_mm=DENSITY, **more)


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


@pytest.mark.parametrize("angle_deg", [0, 35, 90])
def test_a_strip_broken_along_its_line_is_joined(angle_deg):
    prob = sheet()
    along = np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])
    for step in (-1, 0, 1):  # three parts of 7 mm, gaps of 0.6 mm, 1 mm wide
        x, y = np.array([20, 15]) + step * 7.6 * along
        lay(prob, x, y, 7, 1.0, angle_deg=angle_deg)
    finds = find(prob)
    assert [f.pieces for f in finds] == [3]


@pytest.mark.parametrize(
    ("pitch", "lean_deg", "axis_deg"), [(1.4, 75, 0), (1.8, 65, 0), (1.4, 80, 40)]
)
def test_slanted_turns_of_a_broken_coil_are_joined(pitch, lean_deg, axis_deg):
    # The near side of each turn of a coil 4 mm across: 4 mm long, 0.8 mm broad, leaning.
    prob = sheet()
    along = np.array([np.cos(np.radians(axis_deg)), np.sin(np.radians(axis_deg))])
    for k in range(8):
        x, y = np.array([20, 15]) + (k - 3.5) * pitch * along
        lay(prob, x, y, 4, 0.7, angle_deg=axis_deg + lean_deg)
    finds = find(prob)
    assert len(finds) == 1
    assert finds[0].pieces == 8


def test_two_parallel_ribbons_far_apart_stay_two():
    prob = sheet()
    lay(prob, 20, 8, 30, 1.0)
    lay(prob, 20, 16, 30, 1.0)
    assert [f.pieces for f in find(prob)] == [1, 1]


def test_strips_that_only_point_at_each_other_stay_apart():
    prob = sheet()
    lay(prob, 8, 15, 10, 1.0)
    lay(prob, 20, 15, 10, 1.0)  # 2 mm of sheet between them
    assert len(find(prob)) == 2


def test_a_turned_neighbour_is_no_part_of_a_strip():
    prob = sheet()
    lay(prob, 10, 15, 12, 1.0)
    lay(prob, 17.1, 15, 6, 1.0, angle_deg=90)  # 0.6 mm from its end, across it
    assert len(find(prob)) == 2


def test_crumbs_stay_crumbs():
    prob = sheet()
    for k in range(24):
        lay(prob, 4 + 5.5 * (k % 6), 4 + 7 * (k // 6), 0.7, 0.6, angle_deg=15 * k)
    finds = find(prob)
    assert len(finds) == 24
    assert all(f.pieces == 1 for f in finds)


def test_crumbs_in_a_row_are_no_coil():
    # 0.7 mm long and 1 mm apart: turns of a coil lie nearer than they are long.
    prob = sheet()
    for k in range(8):
        lay(prob, 10 + 1.7 * k, 15, 0.7, 0.6, angle_deg=90)
    assert len(find(prob)) == 8


def test_chips_side_by_side_at_an_angle_are_no_turns():
    prob = sheet()
    lay(prob, 14, 15, 4, 1.0, angle_deg=60)
    lay(prob, 17.2, 15, 4, 1.0, angle_deg=120)  # alike, 0.7 mm apart at their near ends
    assert len(find(prob)) == 2


def test_a_short_strip_beside_a_long_one_is_no_part_of_it():
    prob = sheet()
    lay(prob, 20, 15, 20, 1.0)
    lay(prob, 20, 16.8, 3, 1.0)  # parallel, 0.7 mm away, but not end to end
    assert len(find(prob)) == 2


def test_a_crumb_joins_only_the_chip_it_nearly_touches():
    prob = sheet()
    lay(prob, 15, 15, 12, 3)
    near = lay(prob.copy(), 15, 17.0, 0.8, 0.5)  # 0.25 mm under its edge
    far = lay(prob.copy(), 15, 18.5, 0.8, 0.5)
    assert len(find(near)) == 1
    assert len(find(far)) == 2


def test_too_small_to_look_at():
    prob = sheet()
    prob[50:51, 50:55] = METAL  # 5 px = 0.10 mm2, under the limit of 0.12
    assert find(prob) == []
    prob[50:52, 50:54] = METAL  # 9 px = 0.18 mm2
    assert len(find(prob)) == 1


def test_doubtful_metal_counts_only_beside_sure_metal():
    lone = lay(sheet(), 10, 10, 6, 2, p=0.6)
    assert find(lone) == []
    held = lay(lone.copy(), 8, 10, 1, 1, p=0.9)
    (chip,) = find(held)
    # All of the doubtful patch comes with its sure core.
    assert chip.mask.sum() == (held > 0.5).sum()
    faint = lay(held.copy(), 10, 12.5, 6, 1.5, p=0.3)
    assert find(faint)[0].mask.sum() == chip.mask.sum()


def test_confidence_is_the_mean_probability():
    prob = lay(sheet(), 10, 10, 6, 2, p=0.7)
    prob[70, 60:80] = 0.9
    (chip,) = find(prob)
    inside = prob > 0.5
    assert chip.confidence == pytest.approx(float(prob[inside].mean()), rel=1e-6)


def test_large_things_that_are_hardly_metal_are_left_out():
    stain = lay(sheet(), 10, 10, 6, 2, p=0.55)
    stain[70, 60:80] = 0.9
    assert find(stain) == []
    crumb = lay(sheet(), 10, 10, 0.7, 0.7, p=0.55)
    crumb[71, 72] = 0.9
    assert len(find(crumb)) == 1


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


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_turning_the_sheet_changes_nothing(turns):
    prob = sheet()
    for k in range(6):
        lay(prob, 10 + 1.4 * k, 8, 4, 0.7, angle_deg=75)
    lay(prob, 28, 20, 9, 1.2, angle_deg=30)
    lay(prob, 8, 24, 0.7, 0.6)
    first = sorted((f.pieces, int(f.mask.sum())) for f in find(prob))
    other = find(np.ascontiguousarray(np.rot90(prob, turns)))
    assert sorted((f.pieces, int(f.mask.sum())) for f in other) == first
    assert [n for n, _ in first] == [1, 1, 6]


def test_more_specks_than_sixteen_bits_count():
    prob = np.full((600, 1400), GROUND, np.float32)
    prob[::3, ::3] = METAL  # 93,400 single pixels, each too small to look at
    lay(prob, 60, 40, 9, 1.5)
    finds = find(prob)
    assert len(finds) == 1
    assert finds[0].mask.sum() >= 13 * DENSITY**2
