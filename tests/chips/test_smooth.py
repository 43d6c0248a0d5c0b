"""Smoothing against the library whose overhead it saves."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from vision.chips.smooth import smoothed


@pytest.mark.parametrize("count", [1, 2, 7, 300])
@pytest.mark.parametrize("sigma", [0.4, 1.1, 3.0, 40.0])
def test_it_is_the_librarys_gaussian(count, sigma):
    """Rows shorter than the kernel are the case that padding gets wrong."""
    row = np.random.default_rng(count).normal(size=count).cumsum()
    expected = gaussian_filter1d(row, sigma, mode="nearest")
    np.testing.assert_allclose(smoothed(row, sigma), expected, atol=1e-12)
