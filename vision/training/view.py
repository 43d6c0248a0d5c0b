"""Where the camera stands and where a point of the world lands in its picture.

World: millimetres, X right on the card, Y up on the card (so Y = -y of the card's
own coordinates), Z up from the sheet. Pixels: x right, y down, pixel centres at
integers, as everywhere in this package.

From a point on the card to its pixel in the photo: the homography ``px_from_mm``
gives the pixel of an ideal pinhole camera, ``bend_px`` moves that to where the lens
really puts it. ``pixels`` and ``rays`` do both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from vision.training.lens import bend, straighten
from vision.training.sweep import Points3, unit

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import Matrix3, Points2

__all__ = ["View"]

_CARD_TO_WORLD = np.diag([1.0, -1.0, 1.0])


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """A camera; ``fov_deg`` spans the width of its picture before the lens bends it."""

    eye: tuple[float, float, float]
    target: tuple[float, float, float]
    up: tuple[float, float, float]
    fov_deg: float
    size_px: tuple[int, int]
    distortion: tuple[float, float] = (0.0, 0.0)
    """k1, k2 of :mod:`vision.training.lens`; zero for an ideal lens."""

    @property
    def focal_px(self) -> float:
        """Focal length in pixels."""
        return self.size_px[0] / 2 / math.tan(math.radians(self.fov_deg) / 2)

    def axes(self) -> Points3:
        """Rows: picture right, picture down, viewing direction."""
        forward = unit(np.array(self.target) - np.array(self.eye))
        right = unit(np.cross(forward, np.array(self.up)))
        return np.stack([right, np.cross(forward, right), forward])

    def middle_px(self) -> npt.NDArray[np.float64]:
        """Pixel of the optical axis: the middle of the picture."""
        return (np.array(self.size_px) - 1) / 2

    def bend_px(self, ideal_px: Points2) -> Points2:
        """Pixels of an ideal lens, (..., 2), to pixels of the photo."""
        local = (ideal_px - self.middle_px()) / self.focal_px
        return bend(local, self.distortion) * self.focal_px + self.middle_px()

    def straighten_px(self, photo_px: Points2) -> Points2:
        """Pixels of the photo, (..., 2), to those of an ideal lens."""
        local = (photo_px - self.middle_px()) / self.focal_px
        return straighten(local, self.distortion) * self.focal_px + self.middle_px()

    def pixels(self, points: Points3) -> Points2:
        """Project world points, (N, 3) mm, to pixels of the photo, (N, 2)."""
        seen = (points - np.array(self.eye)) @ self.axes().T
        local = bend(seen[:, :2] / seen[:, 2:], self.distortion)
        return local * self.focal_px + self.middle_px()

    def rays(self, x_px: Points2, y_px: Points2) -> Points3:
        """Return unit directions from the eye through pixels of the photo."""
        local = (np.stack([x_px, y_px], axis=-1) - self.middle_px()) / self.focal_px
        local = straighten(local, self.distortion)
        depth = np.ones((*local.shape[:-1], 1))
        return unit(np.concatenate([local, depth], axis=-1) @ self.axes())

    def px_from_mm(self) -> Matrix3:
        """Homography from card millimetres (y down) to ideal pixels, last entry 1."""
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
        """Density of an ideal lens at a point of the card, geometric mean of both axes."""
        h = self.px_from_mm()
        # area magnification of a homography: det / w^3
        w = float(h[2] @ np.array([x_mm, y_mm, 1.0]))
        return math.sqrt(abs(float(np.linalg.det(h)) / w**3))

    def tilt_deg(self) -> float:
        """Angle between the viewing direction and the sheet's normal."""
        return math.degrees(math.acos(min(1.0, -float(self.axes()[2, 2]))))
