"""Where the camera of a scene stands: density, framing, tilt and lens."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from vision.training.families import Side, span
from vision.training.noise import chance, log_uniform
from vision.training.view import View

if TYPE_CHECKING:
    from vision.training.scenes import Placed
    from vision.training.sheet import SheetPlan

__all__ = ["draw_view"]

#: Widest picture of the set in pixels: about 8 megapixels at 4 to 3.
_WIDEST_PX = 3280
#: Width of a photo as phones store it, 12 megapixels.
_PHONE_PX = 4000


def draw_view(
    rng: np.random.Generator,
    sheet: SheetPlan,
    chips: tuple[Placed, ...],
    camera: dict[str, Any],
    side: Side,
    *,
    native: bool,
) -> View:
    """Frame the card at the wanted density: all of it, or closer if that is too wide."""
    density = log_uniform(rng, *span("px_per_mm", side))
    small = sum(p.chip.group in "78" for p in chips)
    if small > len(chips) / 2:
        density = max(density, rng.uniform(10.0, 14.0))  # a user goes closer to crumbs
    card_w, card_h = sheet.size_mm
    wanted = max(card_w, card_h * 4 / 3) * rng.uniform(1.06, 1.3)
    width_px = int(min(density * wanted, _WIDEST_PX) // 8 * 8)
    if native:
        width_px, density = _PHONE_PX, _PHONE_PX / wanted
    density = min(density, width_px / (0.85 * card_w))
    height_px = width_px * 3 // 4 // 2 * 2
    view_mm = width_px / density
    x0, y0, x1, y1 = sheet.card_area
    middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
    if chips and view_mm < card_w:
        heart = np.mean([p.chip.line.mean(axis=0)[:2] for p in chips], axis=0)
        middle = 0.6 * middle + 0.4 * heart
    middle = middle + rng.normal(0, 0.015 * view_mm, 2)
    fov = rng.uniform(*camera["fov_deg"])
    distance = view_mm / 2 / np.tan(np.radians(fov) / 2)
    low, high = span("tilt_deg", side)
    tilt = np.radians(min(high, low + abs(rng.normal(0, 9.0))))
    lean = rng.uniform(0, 2 * np.pi)
    eye = np.append(middle, 0.0) + distance * np.array(
        [np.sin(tilt) * np.cos(lean), np.sin(tilt) * np.sin(lean), np.cos(tilt)]
    )
    roll = np.radians(rng.normal(0, 7)) + (np.pi if chance(rng, 0.3) else 0.0)
    return View(
        eye=(float(eye[0]), float(eye[1]), float(eye[2])),
        target=(float(middle[0]), float(middle[1]), 0.0),
        up=(float(-np.sin(roll)), float(np.cos(roll)), 0.0),
        fov_deg=float(fov),
        size_px=(width_px, height_px),
    )
