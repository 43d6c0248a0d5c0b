"""Pieces that meet: what is seen between them, by hand on small grids, and what it says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vision.chips.eye import CELL_PX
from vision.chips.ground import Answer
from vision.chips.pieces import MEASURES, meetings, put_together


def answer(grid, middles, *, reach=4.0, typical=0.6):
    """Let each cell of a piece point to that piece's middle, mm."""
    h, w = grid.shape
    empty = Answer.empty((h * CELL_PX, w * CELL_PX))
    at = np.zeros((2, h, w), np.float32)
    for k, (x, y) in middles.items():
        at[:, grid == k] = [[x], [y]]
    return replace(
        empty,
        middle_mm=at,
        reach=np.full((h, w), reach, np.float32),
        typical=np.full((h, w), typical, np.float32),
    )


def side_by_side(rows=4, cols=12):
    """Piece 1 left, piece 2 right, nothing round them."""
    grid = np.zeros((rows + 2, cols + 2), np.int32)
    grid[1:-1, 1 : 1 + cols // 2] = 1
    grid[1:-1, 1 + cols // 2 : 1 + cols] = 2
    return grid


def test_what_is_seen_where_two_meet():
    grid = side_by_side()
    pairs, measures = meetings(grid, answer(grid, {1: (2, 3), 2: (5, 7)}, reach=2.0))
    assert pairs.T.tolist() == [[1, 2]]
    seen = dict(zip(MEASURES, measures[0], strict=True))
    # 3 and 4 mm apart are 5 mm, or 2.5 reaches; 24 cells each; four rows meet straight,
    # and six pairs of cells over corners.
    assert seen["jump"] == seen["jump_mean"] == pytest.approx(2.5)
    assert seen["apart"] == pytest.approx(2.5)
    assert seen["apart_mm"] == pytest.approx(5)
    assert (seen["fewer_cells"], seen["more_cells"]) == (24, 24)
    assert seen["contact"] == pytest.approx(10 / np.sqrt(24))
    assert seen["uneven"] == 0
    assert seen["typical"] == pytest.approx(0.6)


def test_half_of_the_neighbours_decide_the_jump():
    grid = side_by_side(rows=5)
    said = answer(grid, {1: (5, 5), 2: (5, 5)}, reach=1.0)
    said.middle_mm[0, 1:3, 7] = 25
    _, measures = meetings(grid, said)
    seen = dict(zip(MEASURES, measures[0], strict=True))
    assert seen["jump"] == 0
    # Of 13 pairs five have one of the two cells that point 20 reaches further: each has a
    # neighbour straight ahead, the first row's one across, the second's two.
    assert seen["jump_mean"] == pytest.approx(20 * (2 + 3) / 13)


def in_a_row(count, *, rows=3, cols=30):
    """Return pieces that lie end to end, and one that meets none of them."""
    grid = np.zeros((rows + 6, count * cols + 2), np.int32)
    for k in range(count):
        grid[1 : rows + 1, 1 + k * cols : 1 + (k + 1) * cols] = k + 1
    grid[-2:, -9:-1] = count + 1
    return grid


def slowly(grid, **more):
    """Let middles follow their cells at half their pace, as on a long ribbon."""
    said = answer(grid, {}, **more)
    h, w = grid.shape
    where = Answer.empty((h * CELL_PX, w * CELL_PX)).middle_mm
    return replace(said, middle_mm=where / np.float32(2))


def test_middles_that_change_slowly_are_one_chip_and_a_jump_makes_two():
    grid = in_a_row(2)
    said = slowly(grid)
    assert len(np.unique(put_together(grid, said)[grid > 0])) == 2
    said.middle_mm[0, grid == 2] += 10
    assert len(np.unique(put_together(grid, said)[grid > 0])) == 3


def test_what_reaches_unevenly_is_less_likely_one():
    grid = in_a_row(2)
    said = slowly(grid)
    said.reach[grid == 2] = 0.7
    assert len(np.unique(put_together(grid, said)[grid > 0])) == 3


def test_three_in_a_row_become_one_and_what_meets_nothing_stays():
    grid = in_a_row(3)
    out = put_together(grid, slowly(grid))
    assert len(np.unique(out[(grid > 0) & (grid < 4)])) == 1
    assert len(np.unique(out[grid > 0])) == 2
    assert not out[grid == 0].any()


def test_nothing_meets_on_an_empty_sheet():
    grid = np.zeros((5, 5), np.int32)
    pairs, measures = meetings(grid, answer(grid, {}))
    assert pairs.shape == (2, 0)
    assert measures.shape == (0, len(MEASURES))
    assert not put_together(grid, answer(grid, {})).any()
