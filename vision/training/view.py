"""Where the camera stands and where a point of the world lands in its picture.

World: millimetres, X right on the card, Y up on the card (so Y = -y of the card's
own coordinates), Z up from the sheet. Pixels: x right, y down, pixel centres at
integers, as everywhere in this package.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from vision.training.sweep import Points3, unit

if TYPE_CHECKING:
    from vision.arrays import Matrix3, Points2

__all__ = ["View"]

_CARD_TO_WORLD = np.diag([1.0, -1.0, 1.0])


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """A pinhole camera; ``fov_deg`` spans the picture's width."""

    eye: tuple[float, float, float]
    target: tuple[float, float, float]
    up: tuple[float, float, float]
    fov_deg: float
    size_px: tuple[int, int]

    @property
    def focal_px(self) -> float:
        """Focal length in pixels."""
        return self.size_px[0] / 2 / math.tan(math.radians(self.fov_deg) / 2)

    def axes(self) -> Points3:
        """Rows: picture right, picture down, viewing direction."""
        forward = unit(np.array(self.target) - np.array(self.eye))
        right = unit(np.cross(forward, np.array(self.up)))
        return np.stack([right, np.cross(forward, right), forward])

    def pixels(self, points: Points3) -> Points2:
        """Project world points, (N, 3) mm, to pixels, (N, 2)."""
        seen = (points - np.array(self.eye)) @ self.axes().T
        width, height = self.size_px
        return np.stack(
            [
                self.focal_px * seen[:, 0] / seen[:, 2] + width / 2 - 0.5,
                self.focal_px * seen[:, 1] / seen[:, 2] + height / 2 - 0.5,
            ],
            axis=1,
        )

    def rays(self, x_px: Points2, y_px: Points2) -> Points3:
        """Return unit directions from the eye through pixels."""
        width, height = self.size_px
        local = np.stack(
            [
                (x_px - width / 2 + 0.5) / self.focal_px,
                (y_px - height / 2 + 0.5) / self.focal_px,
                np.ones_like(x_px),
            ],
            axis=-1,
        )
        return unit(local @ self.axes())

    def px_from_mm(self) -> Matrix3:
        """Homography from card millimetres (y down) to pixels, last entry 1."""
        axes, eye = self.axes(), np.array(self.eye)
        width, height = self.size_px
        inner = np.array(
            [
                [self.focal_px, 0, width / 2 - 0.5],
                [0, self.focal_px, height / 2 - 0.5],
                [0, 0, 1.0],
            ]
        )
        outer = np.column_stack([axes @ _CARD_TO_WORLD[:, :2], -axes @ eye])
        h = inner @ outer
        return np.asarray(h / h[2, 2])

    def px_per_mm(self, x_mm: float, y_mm: float) -> float:
        """Geometric mean of the two axes' density at a point of the card."""
        h = self.px_from_mm()
        # area magnification of a homography: det / w^3
        w = float(h[2] @ np.array([x_mm, y_mm, 1.0]))
        return math.sqrt(abs(float(np.linalg.det(h)) / w**3))

    def tilt_deg(self) -> float:
        """Angle between the viewing direction and the sheet's normal."""
        return math.degrees(math.acos(min(1.0, -float(self.axes()[2, 2]))))
