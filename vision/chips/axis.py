"""The long axis of a mask, from its moments."""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import Float1

__all__ = ["long_axis"]


def long_axis(on: npt.NDArray[np.uint8]) -> tuple[float, Float1, float]:
    """Return count, middle (x, y) and direction (radians) of the long axis of set pixels."""
    m = cv2.moments(on, binaryImage=True)
    count = max(m["m00"], 1.0)
    angle = 0.5 * np.arctan2(2 * m["mu11"], m["mu20"] - m["mu02"])
    return m["m00"], np.array([m["m10"], m["m01"]]) / count, float(angle)
