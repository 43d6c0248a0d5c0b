"""Transfer curve of sRGB (IEC 61966-2-1), both ways."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["srgb_decode", "srgb_encode"]

_LINEAR_KNEE, _CODED_KNEE = 0.0031308, 0.04045


def srgb_encode(linear: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Code linear light 0...1."""
    steep = 1.055 * np.maximum(linear, _LINEAR_KNEE) ** (1 / 2.4) - 0.055
    return np.asarray(np.where(linear <= _LINEAR_KNEE, 12.92 * linear, steep), np.float32)


def srgb_decode(coded: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Linear light of coded values 0...1."""
    curve = ((coded + 0.055) / 1.055) ** 2.4
    return np.asarray(np.where(coded <= _CODED_KNEE, coded / 12.92, curve), np.float32)
