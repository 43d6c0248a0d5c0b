"""Parts of metal: taken apart, seen side by side, and put together, on small grids by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.cluster.hierarchy import fcluster, linkage

from vision.chips.eye import CELL_PX, KIN
from vision.chips.ground import Answer
from vision.chips.kin import MEASURES, SUREST, Parts, log_odds, put_together

#: Two cells that surely show one chip, and two that surely do not.
ONE, TWO = 5.0, -5.0


def answer(grid, middles=None, *, reach=4.0, kin=ONE):
    """Let each cell point to its piece's middle, mm, and all pairs be as sure as ``kin``."""
    h, w = grid.shape
    at = np.zeros((2, h, w), np.float32)
    for k, (x, y) in (middles or {}).items():
        at[:, grid == k] = [[x], [y]]
    return replace(
        Answer.empty((h * CELL_PX, w * CELL_PX)),
        middle_mm=at,
        reach=np.full((h, w), reach, np.float32),
        kin=np.full((len(KIN), h, w), kin, np.float32),
    )


def told(said, grid, one, two, value):
    """Say the same of every pair of cells of which one is of each piece."""
    h, w = grid.shape
    for k, (down, right) in enumerate(KIN):
        for r in range(h - down):
            for c in range(max(-right, 0), w - max(right, 0)):
                if {grid[r, c], grid[r + down, c + right]} == {one, two}:
                    said.kin[k, r, c] = value
    return said


def side_by_side(rows=4, cols=12, gap=0):
    """Piece 1 left, piece 2 right, so many empty cells between and one round them."""
    grid = np.zeros((rows + 2, cols + gap + 2), np.int32)
    grid[1:-1, 1 : 1 + cols // 2] = 1
    grid[1:-1, 1 + cols // 2 + gap : -1] = 2
    return grid


def chips(grid, said):
    """Return how many chips there are."""
    out = put_together(grid, said)
    assert ((out > 0) == (grid > 0)).all()
    return len(np.unique(out[grid > 0]))


def test_what_is_seen_of_two():
    grid = side_by_side(rows=2, cols=6)
    said = told(answer(grid, {1: (2, 3), 2: (5, 7)}, reach=2.0), grid, 1, 2, 1.5)
    parts = Parts(grid, said)
    one, two = sorted(set(parts.grid[grid > 0].tolist()))
    seen = dict(zip(MEASURES, parts.measures(one, [two])[0], strict=True))
    # 3 and 4 mm apart are 5 mm, or 2.5 reaches; six cells each.
    assert seen["kin"] == pytest.approx(1.5)
    assert seen["apart"] == pytest.approx(np.log(3.5))
    assert seen["apart_mm"] == pytest.approx(np.log(6))
    assert seen["fewer"] == pytest.approx(np.log(7))


def test_pairs_between_two_are_counted_once():
    grid = side_by_side(rows=2, cols=6)
    parts = Parts(grid, answer(grid, kin=1.0))
    # By hand: of cells a and b columns from the seam, pairs lie 1, 2, 4 apart.
    seen = [
        (r, c, down, right)
        for down, right in KIN
        for r in range(4)
        for c in range(8)
        if 0 <= r + down < 4 and 0 <= c + right < 8
        if {grid[r, c], grid[r + down, c + right]} == {1, 2}
    ]
    (sums,) = parts.beside[1].values()
    assert sums.tolist() == [len(seen), len(seen)]


def test_nobody_is_surer_than_sure():
    grid = side_by_side()
    parts = Parts(grid, answer(grid, kin=50.0))
    assert parts.measures(1, [2])[0, 0] == SUREST


def test_touching_chips_that_point_to_one_middle_are_taken_apart():
    grid = np.where(side_by_side() > 0, 1, 0).astype(np.int32)
    said = answer(grid)
    assert chips(grid, said) == 1
    assert chips(grid, told(said, side_by_side(), 1, 2, TWO)) == 2


def test_pieces_are_put_together_where_cells_are_kin():
    grid = side_by_side()
    middles = {1: (3, 3), 2: (5, 3)}
    assert chips(grid, answer(grid, middles)) == 1
    assert chips(grid, told(answer(grid, middles), grid, 1, 2, TWO)) == 2


def test_a_gap_is_bridged_as_far_as_the_eye_tells_of():
    assert chips(side_by_side(gap=7), answer(side_by_side(gap=7))) == 1
    assert chips(side_by_side(gap=8), answer(side_by_side(gap=8))) == 2


def test_far_middles_speak_against_one_chip_and_kin_for_it():
    rows = np.array([[2.0, 0.1, 0.2, 2.0], [2.0, 1.5, 0.2, 2.0], [-2.0, 0.1, 0.2, 2.0]])
    near, far, strange = log_odds(rows)
    assert near > far
    assert near > strange


@pytest.mark.parametrize("seed", range(12))
def test_joining_is_average_linkage(seed):
    """Four cells of which all pairs are told of: as SciPy's ``linkage`` clusters them."""
    rng = np.random.default_rng(seed)
    grid = np.array([[1, 2], [3, 4]], np.int32)
    said = answer(grid)
    likely = np.zeros((5, 5))
    for k, (down, right) in enumerate(KIN[:4]):
        for r in range(2 - down):
            for c in range(max(-right, 0), 2 - max(right, 0)):
                pair = grid[r, c], grid[r + down, c + right]
                value = said.kin[k, r, c] = np.float32(rng.normal(0, 2))
                likely[pair] = likely[pair[::-1]] = value
    parts = Parts(grid, said)
    parts.join(lambda _one, _others, measures: measures[:, 0])
    away = 100 - likely[1:, 1:][np.triu_indices(4, 1)]
    theirs = fcluster(linkage(away, "average"), t=100, criterion="distance")
    ours = parts.chips()[grid > 0]
    assert (ours[:, None] == ours).tolist() == (theirs[:, None] == theirs).tolist()


def test_no_metal_is_no_chip():
    grid = np.zeros((3, 5), np.int32)
    assert not put_together(grid, answer(grid)).any()


def test_one_cell_is_one_chip():
    grid = np.zeros((3, 5), np.int32)
    grid[1, 2] = 4
    assert put_together(grid, answer(grid)).tolist() == (grid > 0).astype(int).tolist()
