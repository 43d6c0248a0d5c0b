"""From a seed to a scene: chips on the card, light, camera. Pure data, no picture yet.

A scene is either *one pass* (the chips of one cut: same metal, section, mostly one
form, as a user would lay out) or *mixed* (each chip from another cut). Seeds take
turns through the groups, so that a set is balanced by group.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from vision.training.families import Side, families
from vision.training.framing import draw_view
from vision.training.layout import Floor
from vision.training.lights import Light, draw_light
from vision.training.made import Section
from vision.training.noise import chance, log_uniform, wander
from vision.training.shapes import Chip, chip_of_form
from vision.training.sheet import SheetPlan, sheet_plan
from vision.training.staging import OilSpot, draw_crumbs, draw_oil, draw_props

if TYPE_CHECKING:
    from vision.arrays import Float1
    from vision.training.jobs import Job
    from vision.training.props import Prop
    from vision.training.sweep import Mesh
    from vision.training.view import View

__all__ = ["GENERATOR", "Film", "Placed", "Scene", "draw_scene"]

#: Version of everything that shapes a scene; part of the key of every rendered file.
GENERATOR = "pilot-4"

#: How often each form is drawn within its group.
_FORM_SHARES: dict[str, dict[str, float]] = {
    "1": {"1.2": 0.6, "1.1": 0.22, "1.3": 0.18},
    "2": {"2.2": 0.72, "2.1": 0.14, "2.3": 0.14},
    "3": {"3.1": 0.5, "3.2": 0.5},
    "4": {"4.2": 0.72, "4.1": 0.14, "4.3": 0.14},
    "5": {"5.2": 0.72, "5.1": 0.14, "5.3": 0.14},
    "6": {"6.2": 0.7, "6.1": 0.3},
    "7": {"7": 1.0},
    "8": {"8": 1.0},
}
_LARGE = frozenset({"1.1", "1.3", "2.1", "2.3", "4.1", "4.3", "5.1", "5.3"})
_MOST_LARGE = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Film:
    """Oxide film of one chip: mean and how it varies along and across."""

    mean_nm: float
    slope_along: float
    slope_across: float
    ripple: Float1
    """Relative changes at even places along the chip."""
    n_factor: float
    spread: float

    def at(self, mesh: Mesh) -> Float1:
        """Film thickness at the points of a mesh, nm."""
        places = np.linspace(0, 1, len(self.ripple))
        change = self.slope_along * (mesh.along - 0.5) + self.slope_across * (mesh.over - 0.5)
        change = change + np.interp(mesh.along, places, self.ripple)
        return np.asarray(np.maximum(0.0, self.mean_nm * (1 + change)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A chip in its place on the card, with its metal."""

    number: int
    chip: Chip
    metal: str
    film: Film
    population: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """Everything needed to render one photo and to state its truth."""

    seed: int
    set_name: str
    sheet: SheetPlan
    view: View
    chips: tuple[Placed, ...]
    crumbs: Mesh | None
    crumb_count: int
    props: tuple[Prop, ...]
    oil: tuple[OilSpot, ...]
    light: Light
    surface: dict[str, float]
    """Roughness and slope of the two sides of the metal."""
    bench: tuple[str, tuple[float, float, float], float]
    camera: tuple[str, dict[str, Any]]
    side: Side
    job: str | None = None


def draw_scene(
    seed: int,
    set_name: str,
    *,
    side: Side = "train",
    job: Job | None = None,
    native: bool = False,
) -> Scene:
    """Draw the scene of a seed; the same arguments always give the same scene.

    Parameters
    ----------
    seed : int
        0 or more.
    set_name : str
        Only a label.
    side : families to draw from.
    job : Job, optional
        A workshop job that fixes metal, section and forms (demo scenes).
    native : bool
        Twenty-odd chips in a picture of 4000 x 3000, as a phone stores it.
    """
    rng = np.random.default_rng([seed, 20931])
    forms, mixed = _draw_forms(rng, seed, job, native=native)
    long = sum(f.endswith(".1") and f in _LARGE for f in forms)
    sheet = sheet_plan("a4" if long > 1 or chance(rng, 0.08) else "a5")
    floor = Floor(area=sheet.card_area)
    crowded = chance(rng, 0.1)
    bodies = _draw_chips(rng, forms, mixed=mixed, job=job)
    placed_chips = _lay_down(rng, bodies, floor, sheet, crowded=crowded)
    light = draw_light(rng, side)
    chips = _give_metal(rng, placed_chips, side=side, mixed=mixed, job=job)
    crumbs, count = draw_crumbs(rng, sheet, most=20 if job else 45)
    camera_name = str(rng.choice(sorted(families("cameras", side))))
    camera = families("cameras", side)[camera_name]
    bench_name = str(rng.choice(sorted(families("benches", side))))
    bench = families("benches", side)[bench_name]
    tint = np.array(bench["rgb"]) * rng.uniform(0.7, 1.3)
    return Scene(
        seed=seed,
        set_name=set_name,
        sheet=sheet,
        view=draw_view(rng, sheet, chips, camera, side, native=native),
        chips=chips,
        crumbs=crumbs,
        crumb_count=count,
        props=draw_props(rng, floor, sheet),
        oil=draw_oil(rng, sheet),
        light=light,
        surface={
            "tool_roughness": log_uniform(rng, 0.08, 0.25),
            "tool_slope": rng.uniform(0.05, 0.16),
            "free_roughness": log_uniform(rng, 0.2, 0.42),
            "free_slope": rng.uniform(0.2, 0.5),
            "free_dimming": rng.uniform(0.65, 0.9),
            "lamella_mm": log_uniform(rng, 0.04, 0.16),
        },
        bench=(bench_name, (float(tint[0]), float(tint[1]), float(tint[2])), bench["grain"]),
        camera=(camera_name, camera),
        side=side,
        job=job.name if job else None,
    )


def _lay_down(
    rng: np.random.Generator,
    bodies: list[tuple[Chip, int | None]],
    floor: Floor,
    sheet: SheetPlan,
    *,
    crowded: bool,
) -> list[tuple[Chip, int | None]]:
    """Find each chip a place, mostly in the white field; those without one are dropped."""
    laid = []
    for chip, population in bodies:
        within = sheet.card_area if chance(rng, 0.1) else sheet.field_area
        points = np.concatenate([chip.points[::3], chip.line])
        overlap = crowded and chance(rng, 0.4)
        shift = floor.place(points, rng, within, overlap=overlap)
        if shift is None:
            shift = floor.place(points, rng, sheet.card_area, overlap=False)
        if shift is not None:
            here = chip.moved(np.eye(3), shift)
            floor.occupy(np.concatenate([here.points[::2], here.line]))
            laid.append((here, population))
    return laid


def _pick(rng: np.random.Generator, shares: dict[str, float]) -> str:
    weights = np.array(list(shares.values()))
    return str(rng.choice(list(shares), p=weights / weights.sum()))


def _draw_forms(
    rng: np.random.Generator, seed: int, job: Job | None, *, native: bool
) -> tuple[list[str], bool]:
    """Form codes of the chips that will be tried, and whether the scene is mixed."""
    if job is not None:
        count = int(rng.integers(job.chips[0], job.chips[1] + 1))
        return _cap_large([_pick(rng, job.forms) for _ in range(count)]), False
    mixed = native or seed % 2 == 1
    if mixed:
        count = int(rng.integers(20, 24) if native else rng.integers(10, 19))
        # Groups take turns in a random order: the draw is balanced by group.
        order = np.concatenate([rng.permutation(8) for _ in range(3)])[:count]
        groups = [str(k + 1) for k in order]
    else:
        count = int(rng.integers(9, 19))
        main = str((seed // 2) % 8 + 1)
        groups = [main if chance(rng, 0.85) else str(rng.integers(1, 9)) for _ in range(count)]
        if main == "7":
            groups += ["7"] * int(rng.integers(6, 20))
    return _cap_large([_pick(rng, _FORM_SHARES[g]) for g in groups]), mixed


def _cap_large(forms: list[str]) -> list[str]:
    """At most a few long chips and nests fit on a card."""
    kept, large = [], 0
    for form in sorted(forms, key=lambda f: f not in _LARGE):
        if form in _LARGE:
            large += 1
            if large > _MOST_LARGE:
                continue
        kept.append(form)
    return kept


def _draw_chips(
    rng: np.random.Generator, forms: list[str], *, mixed: bool, job: Job | None
) -> list[tuple[Chip, int | None]]:
    section = None
    if job is not None:
        section = Section(width_mm=job.width_mm, thickness_mm=job.thickness_mm)
    elif not mixed:
        width = log_uniform(rng, 0.35, 2.0)
        section = Section(
            width_mm=width, thickness_mm=log_uniform(rng, 0.07, min(0.4, width / 2.2))
        )
    grains = forms.count("7")
    return [
        (
            chip_of_form(f, rng, None if f == "7" else section),
            1 if f == "7" and grains > 1 else None,
        )
        for f in forms
    ]


def _give_metal(
    rng: np.random.Generator,
    chips: list[tuple[Chip, int | None]],
    *,
    side: Side,
    mixed: bool,
    job: Job | None,
) -> tuple[Placed, ...]:
    metals = families("metals", side)
    shares = {name: float(metal["share"]) for name, metal in sorted(metals.items())}
    main = job.metal if job else _pick(rng, shares)
    second = _pick(rng, shares)
    heat = 0.0
    if chance(rng, 0.65):
        heat = log_uniform(rng, 6.0, 100.0)
    if job is not None:
        heat = log_uniform(rng, *job.film_nm) if job.film_nm[1] > 0 else 0.0
    n_factor = float(rng.uniform(0.9, 1.1))
    placed = []
    for number, (chip, population) in enumerate(chips, start=1):
        metal = second if mixed and chance(rng, 0.4) else main
        if chip.group not in metals[metal].get("groups", chip.group):
            metal = next(n for n in sorted(metals) if "steel" in n)  # iron makes no coils
        tinted = "film" in metals[metal] and heat > 0
        mean = min(heat * float(rng.lognormal(0, 0.18)), 130.0) if tinted else 0.0
        film = Film(
            mean_nm=mean,
            slope_along=float(rng.normal(0, 0.2)),
            slope_across=float(rng.normal(0, 0.12)),
            ripple=wander(rng, np.linspace(0, 1, 60), 0.12, 0.06),
            n_factor=n_factor,
            spread=float(rng.uniform(0, 0.3)),
        )
        placed.append(
            Placed(number=number, chip=chip, metal=metal, film=film, population=population)
        )
    return tuple(placed)
