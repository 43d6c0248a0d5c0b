"""What surrounds the chips of a scene: crumbs, things and oil."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from vision.training.noise import chance, log_uniform
from vision.training.props import DISTRACTORS, Prop, crumb, distractor
from vision.training.sweep import Mesh, join, transform

if TYPE_CHECKING:
    from vision.training.layout import Floor
    from vision.training.sheet import SheetPlan

__all__ = [
    "OilSpot",
    "draw_crumbs",
    "draw_oil",
    "draw_props",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class OilSpot:
    """Oil soaked into the sheet; the rim is irregular by ``seed``."""

    x_mm: float
    y_mm: float
    radius_mm: float
    darkening: float
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
