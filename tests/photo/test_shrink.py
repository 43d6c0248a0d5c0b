"""Reducing by halves gives block averages to the next level."""

from __future__ import annotations

import numpy as np
import pytest

from vision._cv import shrink


@pytest.mark.parametrize("factor", [2, 4, 6, 8])
def test_even_factors_are_block_averages(factor):
    rng = np.random.default_rng(factor)
    picture = rng.integers(0, 256, (5 * factor + 1, 7 * factor + 1, 3), dtype=np.uint8)
    blocks = picture[: 5 * factor, : 7 * factor].reshape(5, factor, 7, factor, 3)
    small = shrink(picture, factor)
    assert small.shape == (5, 7, 3)
    # Each halving rounds by half a level at most, three of them by one and a half.
    assert np.abs(small - blocks.mean(axis=(1, 3))).max() <= 1.5
