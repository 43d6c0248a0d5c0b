"""Where the camera of a scene stands: density, framing, tilt and lens."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from vision.training.families import Side, span
from vision.training.lens import draw_lens
from vision.training.noise import chance, log_uniform
from vision.training.view import View

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.training.layout import Area
    from vision.training.scenes import Placed
    from vision.training.sheet import SheetPlan

__all__ = ["Frame", "draw_frame", "draw_view"]

#: Widest picture of a scene in pixels, log-uniform: 1 to 8 megapixels at 4 to 3. Where
#: the card is wider it is cut off.
_WIDEST_PX = (1150.0, 3280.0)
#: Share of the picture's width and height that the chips may take, for they are what it
#: is about.
_FOR_CHIPS = 0.78
#: Width of a photo as phones store it, 12 megapixels.
_PHONE_PX = 4000
#: Least width of a picture; smaller ones are no photos any more.
_NARROWEST_PX = 960
#: How often a chip may be cut off by the picture's edge.
_CARELESS = 0.06
#: Chips stay this share of the picture away from its edge.
_RIM = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """How near a photo is taken: pixels per mm, height over width, most pixels across."""

    density: float
    aspect: float
    widest_px: float

    def patch(self, rng: np.random.Generator, area: Area) -> Area:
        """Return the part of an area that one picture can hold, at a place drawn from it."""
        x0, y0, x1, y1 = area
        wide = min(_FOR_CHIPS * self.widest_px / self.density, x1 - x0)
        tall = min(_FOR_CHIPS * self.widest_px * self.aspect / self.density, y1 - y0)
        left, low = rng.uniform(x0, x1 - wide), rng.uniform(y0, y1 - tall)
        return (float(left), float(low), float(left + wide), float(low + tall))


def draw_frame(rng: np.random.Generator, side: Side) -> Frame:
    """Draw how near a photo is taken; pixels per mm are log-uniform over the side's range."""
    return Frame(
        density=log_uniform(rng, *span("px_per_mm", side)),
        aspect=float(rng.choice([3 / 4, 9 / 16, 2 / 3], p=[0.8, 0.12, 0.08])),
        widest_px=log_uniform(rng, *_WIDEST_PX),
    )


def draw_view(  # noqa: PLR0917 - all that a photographer sees
    rng: np.random.Generator,
    frame: Frame,
    sheet: SheetPlan,
    chips: tuple[Placed, ...],
    camera: dict[str, Any],
    side: Side,
    *,
    native: bool,
    on_card: bool = True,
) -> View:
    """Frame the card, or without one the chips, at the wanted density.

    A card that would
    need a wider picture than the sets have is cut off, the chips are not: the camera is
    moved and drawn back until all are in view, but for one scene in sixteen.
    """
    density, aspect = frame.density, frame.aspect
    sideways = chance(rng, 0.12) and not native
    box = _box(sheet, chips, on_card=on_card)
    across, down = (box[1] - box[0])[::-1] if sideways else box[1] - box[0]
    loose = rng.uniform(1.06, 1.3) if on_card else log_uniform(rng, 1.15, 2.2)
    wanted = max(across, down / aspect) * loose
    if native:
        width_px, aspect, density = _PHONE_PX, 3 / 4, _PHONE_PX / wanted
    else:
        width_px = int(np.clip(density * wanted, _NARROWEST_PX, frame.widest_px) // 8 * 8)
    view_mm = width_px / density
    middle = box.mean(axis=0)
    heart = _heart(chips)
    if heart is not None and view_mm < across:
        # the nearer the photo, the more it is about the chips
        near = 1 - 0.6 * view_mm / across
        middle = (1 - near) * middle + near * heart
    middle = middle + rng.normal(0, 0.015 * view_mm, 2)
    fov = float(rng.uniform(*camera["fov_deg"]))
    low, high = span("tilt_deg", side)
    tilt = math.radians(min(high, low + (high - low) * abs(rng.normal(0, 0.33))))
    lean = float(rng.uniform(0, 2 * np.pi))
    roll = math.radians(rng.normal(0, 7)) + (np.pi if chance(rng, 0.3) else 0.0)
    if sideways:
        roll += np.pi / 2
    view = View(
        eye=(0.0, 0.0, 1.0),
        target=(0.0, 0.0, 0.0),
        up=(-math.sin(roll), math.cos(roll), 0.0),
        fov_deg=fov,
        size_px=(width_px, round(width_px * aspect) // 2 * 2),
        distortion=draw_lens(rng, camera, fov, aspect),
    )
    view = _aim(view, middle, view_mm, tilt, lean)
    if chance(rng, _CARELESS) or heart is None:
        return view
    return _with_all_in(view, chips, middle, view_mm, tilt=tilt, lean=lean)


def _box(
    sheet: SheetPlan, chips: tuple[Placed, ...], *, on_card: bool
) -> npt.NDArray[np.float64]:
    """Lower and upper corner in world millimetres of what the picture is about."""
    if on_card or not chips:
        x0, y0, x1, y1 = sheet.card_area
        rim = (sheet.size_mm[0] - (x1 - x0)) / 2
        return np.array([[x0 - rim, y0 - rim], [x1 + rim, y1 + rim]])
    points = np.concatenate([p.chip.points[:, :2] for p in chips])
    low, high = points.min(axis=0), points.max(axis=0)
    spare = np.maximum(0, 30.0 - (high - low)) / 2  # nobody gets nearer than 3 cm of width
    return np.stack([low - spare, high + spare])


def _heart(chips: tuple[Placed, ...]) -> npt.NDArray[np.float64] | None:
    if not chips:
        return None
    return np.asarray(np.mean([p.chip.line.mean(axis=0)[:2] for p in chips], axis=0))


def _aim(
    view: View, middle: npt.NDArray[np.float64], view_mm: float, tilt: float, lean: float
) -> View:
    """Point the camera at a place of the ground so that ``view_mm`` fill the width."""
    distance = view_mm / 2 / math.tan(math.radians(view.fov_deg) / 2)
    eye = np.append(middle, 0.0) + distance * np.array(
        [math.sin(tilt) * math.cos(lean), math.sin(tilt) * math.sin(lean), math.cos(tilt)]
    )
    return replace(
        view,
        eye=(float(eye[0]), float(eye[1]), float(eye[2])),
        target=(float(middle[0]), float(middle[1]), 0.0),
    )


def _larger(view: View, factor: float) -> View:
    """Give a picture more pixels, as far as the sets go, so that its density is kept."""
    width, height = view.size_px
    factor = max(1.0, min(factor, _WIDEST_PX[1] / width))
    wide = int(width * factor) // 8 * 8
    return replace(view, size_px=(wide, round(wide * height / width / 2) * 2))


def _with_all_in(
    view: View,
    chips: tuple[Placed, ...],
    middle: npt.NDArray[np.float64],
    view_mm: float,
    *,
    tilt: float,
    lean: float,
) -> View:
    """Move over and draw back, a little at a time, until every chip is in the picture."""
    points = np.concatenate([p.chip.points[::5] for p in chips])
    heart = (points[:, :2].min(axis=0) + points[:, :2].max(axis=0)) / 2
    for step in range(24):
        size = np.array(view.size_px)
        pixels = view.pixels(points)
        if (pixels > _RIM * size).all() and (pixels < (1 - _RIM) * size).all():
            break
        middle = middle + 0.3 * (heart - middle)
        if step >= 3:  # noqa: PLR2004 - first only move
            view_mm *= 1.05
            view = _larger(view, 1.05)
        view = _aim(view, middle, view_mm, tilt, lean)
    return view
