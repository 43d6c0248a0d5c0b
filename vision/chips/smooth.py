"""Smoothing short rows of numbers, without the library's overhead."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from vision.arrays import Float1

__all__ = ["smoothed"]


def smoothed(values: Float1, sigma: float) -> Float1:
    """Return (N,) values smoothed by a Gaussian cut at four ``sigma`` > 0, in steps.

    Beyond its ends the row is continued by its end values.
    """
    reach = int(4 * sigma + 0.5)
    kernel = np.exp(-0.5 / (sigma * sigma) * np.arange(-reach, reach + 1) ** 2)
    row = np.empty(len(values) + 2 * reach)
    row[:reach], row[reach : reach + len(values)] = values[0], values
    row[reach + len(values) :] = values[-1]
    return np.convolve(row, kernel / kernel.sum(), "valid")
