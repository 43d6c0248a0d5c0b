"""Metal, section, oxide film and finish of the chips of a scene."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from vision.training.cut import draw_cut
from vision.training.families import Side, families
from vision.training.made import Section
from vision.training.noise import chance, log_uniform, wander
from vision.training.populace import pick

if TYPE_CHECKING:
    from vision.arrays import Float1
    from vision.training.jobs import Job
    from vision.training.sweep import Mesh

__all__ = ["Film", "draw_films", "draw_metals", "draw_sections", "draw_surface"]

#: Range of film thickness of the scenes made for reading heat, nm.
HEAT_NM = (6.0, 120.0)
_THICKEST_NM = 130.0
#: Narrower strips than this are drawn again a few times: they hardly show in a photo.
_NARROW_MM = 0.3
_GOLDEN = 0.6180339887498949


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


def draw_metals(
    rng: np.random.Generator,
    forms: list[str],
    side: Side,
    *,
    mixed: bool,
    job: Job | None,
    tinted: bool,
) -> list[str]:
    """Metal of each chip: one for a pass, up to three in a mixed scene.

    Chips of a form that a metal never gives are of the commonest steel instead.
    ``tinted`` leaves only metals on which heat shows.
    """
    table = families("metals", side)
    shares = {
        name: float(metal["share"])
        for name, metal in sorted(table.items())
        if not tinted or "film" in metal
    }
    chosen = [pick(rng, shares) for _ in range(3)]
    if job is not None:
        chosen = [job.metal] * 3
    ranks = rng.choice(3, size=len(forms), p=[0.5, 0.3, 0.2]) if mixed else [0] * len(forms)
    steel = max((n for n in shares if "steel" in n), key=lambda n: shares[n])
    return [
        chosen[k] if form[0] in table[chosen[k]].get("groups", form[0]) else steel
        for form, k in zip(forms, ranks, strict=True)
    ]


def draw_sections(
    rng: np.random.Generator,
    metals: list[str],
    side: Side,
    *,
    mixed: bool,
    job: Job | None,
) -> list[Section | None]:
    """Section of each chip: one cut for a pass, one for each chip in a mixed scene.

    A third of the chips of mixed scenes have none prescribed, so that every form is
    also met at the ends of its own range.
    """
    if job is not None:
        section = Section(width_mm=job.width_mm, thickness_mm=job.thickness_mm)
        return [section] * len(metals)
    if not metals:
        return []
    if not mixed:
        return [_section(rng, metals[0], side)] * len(metals)
    return [None if chance(rng, 1 / 3) else _section(rng, m, side) for m in metals]


def _section(rng: np.random.Generator, metal: str, side: Side) -> Section:
    low, high = families("metals", side)[metal]["compression"]
    section = draw_cut(rng, (low, high))
    for _ in range(3):
        if section.width_mm >= _NARROW_MM:
            break
        section = draw_cut(rng, (low, high))
    return section


def draw_films(
    rng: np.random.Generator,
    metals: list[str],
    side: Side,
    seed: int,
    *,
    mixed: bool,
    job: Job | None,
    heat: bool,
) -> list[Film]:
    """Oxide film of each chip; chips of one pass are about equally hot.

    ``heat``: every chip has a film, and the seeds spread its thickness evenly over the
    logarithm of :data:`HEAT_NM`.
    """
    table = families("metals", side)
    n_factor = float(rng.uniform(0.9, 1.1))
    scene_nm = log_uniform(rng, 6.0, 100.0) if chance(rng, 0.65) else 0.0
    if job is not None:
        scene_nm = log_uniform(rng, *job.film_nm) if job.film_nm[1] > 0 else 0.0
    if heat:
        low, high = np.log(HEAT_NM)
        scene_nm = float(np.exp(low + (high - low) * ((seed * _GOLDEN) % 1.0)))
    films = []
    for metal in metals:
        mean = scene_nm
        if mixed and not heat:
            mean = log_uniform(rng, 6.0, 100.0) if chance(rng, 0.5) else 0.0
        mean = min(mean * float(rng.lognormal(0, 0.18)), _THICKEST_NM)
        films.append(
            Film(
                mean_nm=mean if "film" in table[metal] else 0.0,
                slope_along=float(rng.normal(0, 0.2)),
                slope_across=float(rng.normal(0, 0.12)),
                ripple=wander(rng, np.linspace(0, 1, 60), 0.12, 0.06),
                n_factor=n_factor,
                spread=float(rng.uniform(0, 0.3)),
            )
        )
    return films


def draw_surface(rng: np.random.Generator) -> dict[str, Any]:
    """Finish of all chips of a scene: bright tool side, matt free side, oil on both.

    ``oil`` is the strength of a clear coat, 0 on most scenes.
    """
    return {
        "tool_roughness": log_uniform(rng, 0.08, 0.25),
        "tool_slope": rng.uniform(0.05, 0.16),
        "free_roughness": log_uniform(rng, 0.2, 0.42),
        "free_slope": rng.uniform(0.2, 0.5),
        "free_dimming": rng.uniform(0.65, 0.9),
        "lamella_mm": log_uniform(rng, 0.04, 0.16),
        "oil": float(rng.uniform(0.3, 1.0)) if chance(rng, 0.22) else 0.0,
    }
