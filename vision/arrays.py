"""Names for the array shapes that travel through this package.

Arrays are (rows, columns, channels), RGB. Points are (x, y). No functions here.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

__all__ = ["BoolMask", "Float1", "Float2", "Labels", "Linear3", "Matrix3", "Points2", "Rgb8"]

#: (H, W, 3) uint8, colours as encoded in the file or as sRGB, said at the function.
Rgb8: TypeAlias = npt.NDArray[np.uint8]
#: (H, W, 3) float32, linear light; 1.0 is the sheet's white once balanced.
Linear3: TypeAlias = npt.NDArray[np.float32]
#: (H, W) bool.
BoolMask: TypeAlias = npt.NDArray[np.bool_]
#: (H, W) int32, 0 is ground, 1... are things.
Labels: TypeAlias = npt.NDArray[np.int32]
#: (N, 2) float64, x and y; unit in the name of the variable.
Points2: TypeAlias = npt.NDArray[np.float64]
#: (3, 3) float64 plane-to-plane map on homogeneous (x, y, 1).
Matrix3: TypeAlias = npt.NDArray[np.float64]
#: (N,) float64.
Float1: TypeAlias = npt.NDArray[np.float64]
#: (H, W) float32 or float64 picture with one channel.
Float2: TypeAlias = npt.NDArray[np.floating]
