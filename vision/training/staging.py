"""What surrounds the chips of a scene: crumbs, things, oil, light and the camera's place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from vision.training.families import Side, families, span
from vision.training.noise import chance, log_uniform
from vision.training.props import DISTRACTORS, Prop, crumb, distractor
from vision.training.sweep import Mesh, join, transform
from vision.training.view import View

if TYPE_CHECKING:
    from vision.training.layout import Floor
    from vision.training.scenes import Placed
    from vision.training.sheet import SheetPlan

__all__ = [
    "Lamp",
    "Light",
    "OilSpot",
    "draw_crumbs",
    "draw_light",
    "draw_oil",
    "draw_props",
    "draw_view",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class OilSpot:
    """Oil soaked into the sheet; the rim is irregular by ``seed``."""

    x_mm: float
    y_mm: float
    radius_mm: float
    darkening: float
    seed: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Lamp:
    """Soft rectangle of light: direction and angular size in degrees, share of light."""

    azimuth_deg: float
    elevation_deg: float
    size_deg: tuple[float, float]
    share: float
    kelvin: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """The room as the card sees it."""

    family: str
    kelvin: float
    lamps: tuple[Lamp, ...]
    ceiling: float
    walls: float
    gradient: tuple[float, float]
    """Relative change of light over 100 mm of card, along x and y."""
    seed: int


def draw_crumbs(
    rng: np.random.Generator, sheet: SheetPlan, *, most: int
) -> tuple[Mesh | None, int]:
    """Scatter swarf dust, half of it round one spot; returns its mesh and count."""
    count = int(rng.integers(0, most)) if chance(rng, 0.75) else 0
    if not count:
        return None, 0
    x0, y0, x1, y1 = sheet.card_area
    knot = np.array([rng.uniform(x0, x1), rng.uniform(y0, y1)])
    bits = []
    for _ in range(count):
        near = chance(rng, 0.5)
        spot = knot + rng.normal(0, 15, 2) if near else rng.uniform([x0, y0], [x1, y1])
        place = np.append(np.clip(spot, [x0, y0], [x1, y1]), 0.0)
        bits.append(transform(crumb(rng), np.eye(3), place))
    return join(bits), count


def draw_props(rng: np.random.Generator, floor: Floor, sheet: SheetPlan) -> tuple[Prop, ...]:
    """Lay down things that are no chips where there is room."""
    props = []
    for _ in range(int(rng.choice([0, 1, 2], p=[0.6, 0.28, 0.12]))):
        thing = distractor(rng, str(rng.choice(DISTRACTORS)))
        shift = floor.place(thing.mesh.points, rng, sheet.card_area, overlap=False)
        if shift is None:
            continue
        mesh = transform(thing.mesh, np.eye(3), shift)
        floor.occupy(mesh.points)
        props.append(Prop(kind=thing.kind, mesh=mesh, rgb=thing.rgb, metallic=thing.metallic))
    return tuple(props)


def draw_oil(rng: np.random.Generator, sheet: SheetPlan) -> tuple[OilSpot, ...]:
    """Spill some oil on nearly half of the cards."""
    if chance(rng, 0.55):
        return ()
    x0, y0, x1, y1 = sheet.card_area
    return tuple(
        OilSpot(
            x_mm=float(rng.uniform(x0, x1)),
            y_mm=float(rng.uniform(y0, y1)),
            radius_mm=log_uniform(rng, 1.0, 14.0),
            darkening=float(rng.uniform(0.08, 0.3)),
            seed=int(rng.integers(2**31)),
        )
        for _ in range(int(rng.integers(1, 6)))
    )


def draw_light(rng: np.random.Generator, side: Side) -> Light:
    """Draw a room with its lamps from a light family."""
    name = str(rng.choice(sorted(families("lights", side))))
    spec = families("lights", side)[name]
    kelvin = float(rng.uniform(*spec["kelvin"]))
    lamps = []
    azimuth = rng.uniform(0, 360)
    for k, lamp in enumerate(spec["lamps"]):
        low, high = lamp["size"]
        second = (
            kelvin if k == 0 else float(np.clip(kelvin * rng.lognormal(0, 0.12), 2700, 7500))
        )
        lamps.append(
            Lamp(
                azimuth_deg=float((azimuth + k * rng.uniform(70, 180)) % 360),
                elevation_deg=float(rng.uniform(*lamp["elevation"])),
                size_deg=(float(rng.uniform(low, high)), float(rng.uniform(low, high))),
                share=float(lamp["share"]),
                kelvin=second,
            )
        )
    gradient = rng.normal(0, 0.06, 2).clip(-0.15, 0.15)
    return Light(
        family=name,
        kelvin=kelvin,
        lamps=tuple(lamps),
        ceiling=float(spec["ceiling"] * rng.uniform(0.6, 1.3)),
        walls=float(spec["walls"] * rng.uniform(0.6, 1.3)),
        gradient=(float(gradient[0]), float(gradient[1])),
        seed=int(rng.integers(2**31)),
    )


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
