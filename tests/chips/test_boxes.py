"""Boxes to look in: all marks once, nothing that hangs together cut."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from vision.chips.boxes import TILE_PX, boxes_of


def marked(shape, *spots):
    near = np.zeros(shape, bool)
    for rows, cols in spots:
        near[rows, cols] = True
    return near


def test_nothing_marked():
    assert boxes_of(np.zeros((50, 70), bool)) == []


def test_far_marks_have_boxes_of_their_own():
    near = marked((300, 400), (slice(5, 9), slice(5, 9)), (slice(200, 240), slice(300, 390)))
    boxes = [box for box, _ in boxes_of(near)]
    assert [(r.start, r.stop, c.start, c.stop) for r, c in boxes] == [
        (192, 240, 288, 400),
        (0, 16, 0, 16),
    ]


def test_a_mark_inside_the_box_of_another_is_looked_at_with_it():
    ring = marked((320, 320), (slice(0, 300), slice(0, 8)), (slice(292, 300), slice(0, 300)))
    both = ring | marked((320, 320), (slice(60, 64), slice(200, 204)))
    assert len(boxes_of(ring)) == len(boxes_of(both)) == 1


@given(st.integers(0, 2**32 - 1), st.integers(20, 130), st.integers(20, 130))
def test_every_mark_is_returned_once(seed, h, w):
    near = np.random.default_rng(seed).random((h, w)) < 0.01
    count = np.zeros((h, w), int)
    for box, own in boxes_of(near):
        assert box[0].start % TILE_PX == box[1].start % TILE_PX == 0
        count[box] += own
    assert np.array_equal(count, near.astype(int))
