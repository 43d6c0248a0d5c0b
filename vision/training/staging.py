"""What surrounds the chips of a scene: crumbs, things and oil."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from vision.training.card_wear import seated, sheet_height
from vision.training.noise import chance, log_uniform
from vision.training.props import Prop, crumb
from vision.training.sweep import Mesh, join, transform
from vision.training.things import DISTRACTORS, LIMP, LONG, distractor

if TYPE_CHECKING:
    from vision.training.card_wear import CardWear
    from vision.training.layout import Floor
    from vision.training.scenes import Placed
    from vision.training.sheet import SheetPlan
    from vision.training.sweep import Points3

__all__ = [
    "OilSpot",
    "draw_crumbs",
    "draw_oil",
    "draw_props",
    "on_sheet",
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


#: How many things lie on a scene that has any.
_THINGS = (0.34, 0.32, 0.2, 0.09, 0.05)


def draw_props(
    rng: np.random.Generator,
    floor: Floor,
    sheet: SheetPlan,
    *,
    on_paper: bool,
    covered: bool,
) -> tuple[Prop, ...]:
    """Lay down things that are no chips where there is room: on half of the scenes none.

    Small ones lie on the card or near its middle; long ones and hands may reach out of
    the sheet. ``covered``: some of them lie across the printed frame.
    """
    count = 0
    if chance(rng, 0.5):
        count = 1 + int(rng.choice(len(_THINGS), p=_THINGS))
    wanted = [str(rng.choice(DISTRACTORS)) for _ in range(count)]
    if covered:
        wanted += [str(rng.choice(LONG)) for _ in range(int(rng.integers(1, 3)))]
    props = []
    for kind in wanted:
        if kind == "print" and not on_paper:
            kind = "washer"  # noqa: PLW2901 - marks are printed on paper only
        thing = distractor(rng, kind)
        points = _filled(thing.mesh)
        if kind == "hand":
            shift: Points3 | None = _reaching_in(rng, points, floor, sheet)
        else:
            shift = floor.place(points, rng, sheet.card_area, spill=kind in LONG)
        if shift is None:
            continue
        mesh = transform(thing.mesh, np.eye(3), shift)
        floor.occupy(points + shift)
        props.append(replace(thing, mesh=mesh))
    return tuple(props)


def _filled(mesh: Mesh, step_mm: float = 0.7) -> Points3:
    """Points all over a mesh, none further from the next than ``step_mm``."""
    corners = mesh.points[mesh.faces]
    edges = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    parts = np.ceil(edges / step_mm).astype(int).clip(1)
    out = [mesh.points]
    for n in np.unique(parts[parts > 1]):
        a, b = (k.ravel() / n for k in np.mgrid[: n + 1, : n + 1])
        weights = np.column_stack([a, b, 1 - a - b])[a + b <= 1 + 1e-9]
        out.append((weights @ corners[parts == n]).reshape(-1, 3))
    return np.concatenate(out)


def _reaching_in(
    rng: np.random.Generator, points: Points3, floor: Floor, sheet: SheetPlan
) -> Points3 | None:
    """Shift of a hand whose tips, at the origin and pointing to it, reach over the rim.

    The hand is made lying along +x from the origin; it is only moved, so the rim that
    it can come from is the one on its own side.
    """
    x0, y0, x1, y1 = sheet.card_area
    away = points[:, :2].mean(axis=0)
    for _ in range(12):
        deep = rng.uniform(4, 34)
        if abs(away[0]) > abs(away[1]):
            tip = np.array([x1 - deep if away[0] > 0 else x0 + deep, rng.uniform(y0, y1)])
        else:
            tip = np.array([rng.uniform(x0, x1), y1 - deep if away[1] > 0 else y0 + deep])
        shift = np.array([tip[0], tip[1], 0.0])
        if floor.free(points + shift):
            return shift
    return None


def on_sheet(
    sheet: SheetPlan,
    wear: CardWear,
    chips: tuple[Placed, ...],
    crumbs: Mesh | None,
    props: tuple[Prop, ...],
) -> tuple[tuple[Placed, ...], Mesh | None, tuple[Prop, ...]]:
    """Set everything that was laid on a flat sheet down on the bent one."""
    if not wear.sagitta_mm:
        return chips, crumbs, props
    chips = tuple(
        replace(p, chip=p.chip.moved(*seated(sheet, wear, p.chip.points))) for p in chips
    )
    if crumbs is not None:
        crumbs = _draped(sheet, wear, crumbs)
    stiff = []
    for prop in props:
        if prop.kind in LIMP:
            stiff.append(replace(prop, mesh=_draped(sheet, wear, prop.mesh)))
        else:
            turn, shift = seated(sheet, wear, prop.mesh.points)
            stiff.append(replace(prop, mesh=transform(prop.mesh, turn, shift)))
    return chips, crumbs, tuple(stiff)


def _draped(sheet: SheetPlan, wear: CardWear, mesh: Mesh) -> Mesh:
    lift = sheet_height(sheet, wear, mesh.points)
    return replace(mesh, points=mesh.points + np.outer(lift, [0.0, 0.0, 1.0]))


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
