"""Parts with gaps between them: what is seen of them, by hand, and which are told apart."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import ndimage
from scipy.sparse.csgraph import minimum_spanning_tree
from scipy.spatial.distance import cdist

from vision.chips.eye import CELL_PX
from vision.chips.gaps import MEASURES, PIECES_OF_A_CHIP, part_by_gaps, parts_with_gaps
from vision.chips.ground import FIND_PX_PER_MM, Answer
from vision.chips.part import owners, things

WHOLE = (slice(0, 80), slice(0, 120))
#: Rows and columns of the second square of :func:`two`.
SECOND = (slice(16, 32), slice(52, 68))
#: Places are told for two by two pixels: each end of a way is off by at most one, each way.
GAP_PX = 2


def answer(shape=(80, 120), *, middle=(5.0, 5.0), reach=2.0):
    """Let all cells point to one middle, mm."""
    empty = Answer.empty(shape)
    at = np.zeros_like(empty.middle_mm)
    at[0], at[1] = middle
    return replace(empty, middle_mm=at, reach=np.full_like(empty.reach, reach))


def point(said, rows, cols, *, middle=None, reach=None):
    """Let the cells of some pixels say something else."""
    cells = tuple(slice(s.start // CELL_PX, -(-s.stop // CELL_PX)) for s in (rows, cols))
    if middle is not None:
        said.middle_mm[:, *cells] = np.array(middle)[:, None, None]
    if reach is not None:
        said.reach[cells] = reach


def two(gap_px=20):
    """Two squares of 16 pixels in a row, one thing."""
    number = np.zeros((80, 120), np.int32)
    number[16:32, 16:32] = number[16:32, 32 + gap_px : 48 + gap_px] = 1
    return number


def elsewhere():
    """Let the second square point to a middle of its own."""
    said = answer()
    point(said, *SECOND, middle=(14.0, 5.0))
    return said


def numbers(number):
    return sorted(set(np.unique(number).tolist()) - {0})


def parted(number, said):
    out = number.copy()
    part_by_gaps(out, ndimage.find_objects(number), said)
    assert np.array_equal(out > 0, number > 0)
    return out


def test_what_is_seen_of_two_parts():
    number, said = two(gap_px=24), answer()
    point(said, slice(16, 32), slice(56, 72), middle=(8.0, 9.0), reach=4.0)
    _, pairs, measures = parts_with_gaps(number == 1, WHOLE, said)
    assert pairs.T.tolist() == [[1, 2]]
    seen = dict(zip(MEASURES, measures[0], strict=True))
    # 3 and 4 mm apart are 5 mm, 2.5 of the smaller reach of 2 mm; the other is twice that.
    assert seen["apart_mm"] == pytest.approx(5)
    assert seen["apart"] == pytest.approx(2.5)
    assert seen["uneven"] == pytest.approx(np.log(2))
    # From the middle of a pixel to that of the next but 24.
    assert seen["gap_mm"] * FIND_PX_PER_MM == pytest.approx(25, abs=GAP_PX)


def test_parts_hang_together_by_the_shortest_ways():
    """SciPy's tree over the true distances of all parts is the same, and so are its ways."""
    rng = np.random.default_rng(5)
    own = np.zeros((80, 120), bool)
    for row in range(4, 76, 18):
        for col in range(4, 116, 18):
            r, c = np.array([row, col]) + rng.integers(0, 7, 2)
            own[r : r + 5, c : c + 5] = True
    parts, pairs, measures = parts_with_gaps(own, WHOLE, answer())
    places = [np.argwhere((parts == k) & own) for k in range(1, parts.max() + 1)]
    far = np.array([[cdist(a, b).min() for b in places] for a in places])
    true = minimum_spanning_tree(far).sum()
    ways = far[tuple(pairs - 1)]
    assert len(places) == 28
    # Where two ways differ by less than a pixel of fifteen, either may be taken.
    assert ways.sum() == pytest.approx(true, rel=0.02)
    gap_px = measures[:, MEASURES.index("gap_mm")] * FIND_PX_PER_MM
    assert np.abs(gap_px - ways).max() < GAP_PX


def test_parts_that_point_to_one_middle_stay_one_and_others_do_not():
    number = two()
    assert numbers(parted(number, answer())) == [1]
    out = parted(number, elsewhere())
    assert numbers(out) == [1, 2]
    assert len(np.unique(out[16:32, 16:32])) == len(np.unique(out[16:32, 52:68])) == 1


def test_what_reaches_unevenly_is_less_likely_one():
    said = answer()
    point(said, *SECOND, reach=9.0)
    assert numbers(parted(two(), said)) == [1, 2]


def test_a_wide_gap_is_less_likely_within_one_chip():
    said = answer()
    point(said, slice(16, 32), slice(36, 120), middle=(8.2, 5.0))
    assert numbers(parted(two(gap_px=4), said)) == [1]
    assert numbers(parted(two(gap_px=70), said)) == [1, 2]


@pytest.mark.parametrize(
    ("reach_mm", "apart_mm", "stays"),
    [(1.0, 2.0, True), (1.0, 2.4, False), (3.0, 8.0, True)],
    ids=["just one", "just two", "further, but of larger reach"],
)
def test_three_chances_in_ten_are_enough_to_stay_one(reach_mm, apart_mm, stays):
    """By hand, with the constants as printed: 0.34, 0.25 and 0.42."""
    said = answer(reach=reach_mm)
    point(said, *SECOND, middle=(5 + apart_mm, 5))
    assert numbers(parted(two(), said)) == ([1] if stays else [1, 2])


def test_numbers_of_other_things_are_not_given_again():
    number = two()
    number[50:60, 16:32] = 2
    out = parted(number, elsewhere())
    assert numbers(out) == [1, 2, 3]
    assert (out[50:60, 16:32] == 2).all()


def test_a_speck_is_of_the_nearest_part():
    number = two()
    number[40:42, 54:56] = 1
    out = parted(number, elsewhere())
    assert numbers(out) == [1, 2]
    assert out[40, 54] == out[20, 56] != out[20, 20]


def in_pieces(count):
    """One thing of so many pieces, half of which point elsewhere."""
    number = np.zeros((200, 200), np.int32)
    for k in range(count):
        r, c = divmod(k, 20)
        number[2 + 8 * r : 6 + 8 * r, 2 + 8 * c : 6 + 8 * c] = 1
    said = answer(number.shape)
    point(said, slice(0, 200), slice(100, 200), middle=(25.0, 5.0))
    return number, said


def test_a_heap_is_not_taken_to_pieces():
    assert len(numbers(parted(*in_pieces(PIECES_OF_A_CHIP)))) > 1
    assert numbers(parted(*in_pieces(PIECES_OF_A_CHIP + 1))) == [1]


def test_owners_part_what_points_to_one_middle_unevenly(monkeypatch):
    """A view of no whole cells; the second part touches its last row and column."""
    prob = np.full((83, 119), 0.03, np.float32)
    prob[16:32, 16:32] = prob[68:, 104:] = 0.95
    said = replace(
        answer(prob.shape), metal=prob, typical=np.full_like(answer(prob.shape).reach, 0.9)
    )
    same, _ = things(said)
    assert numbers(same) == numbers(owners(said)) == [1]
    # What points to one middle within different reaches: one thing still, but two chips.
    monkeypatch.setattr("vision.chips.part.pieces", lambda _: (same[::4, ::4] > 0).astype("i4"))
    point(said, slice(64, 83), slice(100, 119), reach=20.0)
    number, boxes = things(said)
    assert numbers(number) == [1]
    assert len(boxes) == 1
    out = owners(said)
    assert numbers(out) == [1, 2]
    assert (out[68:, 104:] == out[82, 118]).all()
    assert out.shape == prob.shape


def test_one_part_and_none_have_nothing_between():
    one = np.zeros((80, 120), bool)
    one[16:32, 16:32] = True
    for own in (one, np.zeros_like(one)):
        parts, pairs, measures = parts_with_gaps(own, WHOLE, answer())
        assert np.array_equal(parts > 0, own)
        assert pairs.shape == (2, 0)
        assert measures.shape == (0, len(MEASURES))
