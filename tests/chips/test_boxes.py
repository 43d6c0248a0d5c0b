"""Boxes round marked places: nothing lost, little besides, parted only where it pays."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.chips.boxes import boxes_of

MARGIN = 10


def held(shape, boxes):
    inside = np.zeros(shape, bool)
    for box in boxes:
        inside[box] = True
    return inside


@pytest.mark.parametrize("seed", range(6))
def test_every_mark_is_in_a_box(seed):
    rng = np.random.default_rng(seed)
    near = np.zeros((203, 317), np.uint8)
    for _ in range(9):
        ends = rng.integers(0, (317, 203), (2, 2))
        cv2.line(near, ends[0].tolist(), ends[1].tolist(), 1, int(rng.integers(1, 9)))
    boxes = boxes_of(near > 0, margin=MARGIN)
    assert held(near.shape, boxes)[near > 0].all()


def test_a_slanting_strip_costs_less_than_its_own_box():
    near = np.zeros((800, 800), np.uint8)
    cv2.line(near, (20, 20), (780, 780), 1, 8)
    boxes = boxes_of(near > 0, margin=MARGIN)
    looked_at = sum(
        (r.stop - r.start + 2 * MARGIN) * (c.stop - c.start + 2 * MARGIN) for r, c in boxes
    )
    assert len(boxes) > 3
    assert looked_at < 0.45 * 770**2


def test_a_full_square_stays_whole_and_is_drawn_tight():
    near = np.zeros((300, 300), bool)
    near[41:203, 55:240] = True
    assert boxes_of(near, margin=MARGIN) == [(slice(41, 203), slice(55, 240))]


def test_nothing_marked_no_box():
    assert boxes_of(np.zeros((50, 70), bool), margin=MARGIN) == []
