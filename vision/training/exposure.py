"""What the camera exposes for, and how the light falls off over the sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.training.render import Rendered
    from vision.training.scenes import Scene

__all__ = ["light_gradient", "sheet_level"]


def sheet_level(scene: Scene, rendered: Rendered) -> float:
    """Return the linear green value exposed for: that of the bare sheet in the field.

    Without a card a dark ground is lifted half of the way, as exposure meters do, as
    far as the highlights allow.
    """
    green = rendered.linear[:, :, 1]
    ground = rendered.mask == 0
    if scene.ground != "card":
        level = float(np.percentile(green[ground] if ground.any() else green, 60))
        high = float(np.percentile(green, 97))
        return max(float(np.sqrt(max(level, 1e-3))), 0.7 * high, 1e-3)
    field = _field_mask(scene) & ground
    chosen = green[field] if field.any() else green
    return max(float(np.percentile(chosen, 60)), 1e-4)


def _field_mask(scene: Scene) -> npt.NDArray[np.bool_]:
    x0, y0, x1, y1 = scene.sheet.field_area
    corners = np.array([[x0, y0, 0], [x1, y0, 0], [x1, y1, 0], [x0, y1, 0]])
    width, height = scene.view.size_px
    picture = np.zeros((height, width), dtype=np.uint8)
    cv2.fillConvexPoly(picture, np.rint(scene.view.pixels(corners)).astype(np.int32), 1)
    return picture.astype(bool)


def light_gradient(scene: Scene) -> npt.NDArray[np.float32]:
    """Return how the light falls off along the card, a factor for each pixel."""
    h = np.linalg.inv(scene.view.px_from_mm())
    width, height = scene.view.size_px
    x, y = np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32)[:, None]
    w = h[2, 0] * x + h[2, 1] * y + h[2, 2]
    mm_x = (h[0, 0] * x + h[0, 1] * y + h[0, 2]) / w - scene.sheet.size_mm[0] / 2
    mm_y = (h[1, 0] * x + h[1, 1] * y + h[1, 2]) / w - scene.sheet.size_mm[1] / 2
    gx, gy = scene.light.gradient
    return np.asarray(np.clip(1 + (gx * mm_x + gy * mm_y) / 100, 0.5, 1.5), dtype=np.float32)
