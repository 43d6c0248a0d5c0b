"""A chip's glance is gathered from the squares it lies in, surer ones counting more."""

from __future__ import annotations

import numpy as np
import pytest

from vision.chips.eye import ASKED, GUESS_PX, GUESSED
from vision.chips.glance import glance_of

COUNT = 2 * len(GUESSED) + len(ASKED)


def guess_of(rows, cols):
    """Squares that say nothing with little sureness."""
    out = np.zeros((COUNT, rows, cols), np.float32)
    out[len(GUESSED) : 2 * len(GUESSED)] = 0.5
    return out


def test_a_square_counts_by_its_pixels_and_its_sureness():
    # Weighted mean with weights pixels / spread, worked by hand: the left square holds 32
    # pixels and says ln 4 within 0.1, the right one 16 pixels and ln 9 within 0.4.
    guess = guess_of(2, 2)
    length, doubt = GUESSED.index("length"), len(GUESSED) + GUESSED.index("length")
    guess[length, 0], guess[doubt, 0] = (np.log(4), np.log(9)), (np.log(0.1), np.log(0.4))
    mask = np.ones((4, 12), bool)
    glance = glance_of(guess, mask, 2, 0)
    left, right = 32 / 0.1, 16 / 0.4
    share = left / (left + right)
    assert glance.log_size["length"] == pytest.approx(
        share * np.log(4) + (1 - share) * np.log(9), rel=1e-5
    )
    assert glance.log_spread["length"] == pytest.approx(
        share * np.log(0.1) + (1 - share) * np.log(0.4), rel=1e-5
    )


def test_only_the_chips_own_squares_count():
    guess = guess_of(3, 3)
    guess[:, 1, 2] = 1.0
    guess[-2:, 1, 2] = 0.9, 0.2
    mask = np.ones((3, 5), bool)
    glance = glance_of(guess, mask, GUESS_PX + 1, 2 * GUESS_PX)
    assert glance.log_size["width"] == pytest.approx(1.0)
    assert glance.mm("width") == pytest.approx(np.e)
    assert (glance.curls, glance.winds) == pytest.approx((0.9, 0.2))


def test_nothing_is_seen_of_nothing():
    assert glance_of(guess_of(2, 2), np.zeros((4, 4), bool), 0, 0) is None
