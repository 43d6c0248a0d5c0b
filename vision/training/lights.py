"""Lamps, windows and flashes that light a scene, drawn from the light families."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

import numpy as np

from vision.training.families import Side, families
from vision.training.noise import log_uniform
from vision.training.spectra import illuminant_kelvin

if TYPE_CHECKING:
    from vision.training.view import View

__all__ = ["Flash", "Lamp", "Light", "TintedWall", "draw_light", "flash_place"]

#: ``soft``: even rectangle; ``panes``: rectangle parted by bars, as windows are.
Kind: TypeAlias = Literal["soft", "panes"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lamp:
    """Rectangle of light: direction and angular size in degrees, share of light."""

    azimuth_deg: float
    elevation_deg: float
    size_deg: tuple[float, float]
    share: float
    spectrum: str
    """Name of a CIE illuminant."""
    kelvin: float
    kind: Kind = "soft"


@dataclass(frozen=True, slots=True, kw_only=True)
class Flash:
    """The phone's own lamp, ``beside_mm`` from the lens along the picture's x and y."""

    share: float
    spectrum: str
    beside_mm: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class TintedWall:
    """One side of the room in a colour of its own, within ``reach_deg`` of an azimuth."""

    azimuth_deg: float
    reach_deg: float
    rgb: tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """The room as the card sees it. White is the light of ``spectrum``."""

    family: str
    spectrum: str
    """Name of the CIE illuminant of the main light."""
    kelvin: float
    lamps: tuple[Lamp, ...]
    flash: Flash | None
    wall: TintedWall | None
    ceiling: float
    walls: float
    level: float
    """Light on the sheet beside a well-lit bench, 1; a dim corner has 0.05."""
    gradient: tuple[float, float]
    """Relative change of light over 100 mm of card, along x and y."""
    seed: int


def draw_light(rng: np.random.Generator, side: Side) -> Light:
    """Draw a room with its lamps from a light family."""
    table = families("lights", side)
    names = sorted(table)
    often = np.array([float(table[n]["often"]) for n in names])
    name = str(rng.choice(names, p=often / often.sum()))
    spec = table[name]
    main = str(rng.choice(spec["spectra"]))
    azimuth = float(rng.uniform(0, 360))
    lamps = tuple(
        _lamp(rng, lamp, main, (azimuth + k * float(rng.uniform(70, 180))) % 360)
        for k, lamp in enumerate(spec["lamps"])
    )
    flash = None
    if "flash" in spec:
        flash = Flash(
            share=float(rng.uniform(*spec["flash"])),
            spectrum=main,
            beside_mm=(float(rng.uniform(-14, 14)), float(rng.uniform(8, 18))),
        )
    gradient = rng.normal(0, 0.06, 2).clip(-0.15, 0.15)
    return Light(
        family=name,
        spectrum=main,
        kelvin=illuminant_kelvin(main),
        lamps=lamps,
        flash=flash,
        wall=_wall(rng, spec),
        ceiling=float(spec["ceiling"] * rng.uniform(0.6, 1.3)),
        walls=float(spec["walls"] * rng.uniform(0.6, 1.3)),
        level=log_uniform(rng, *spec["level"]),
        gradient=(float(gradient[0]), float(gradient[1])),
        seed=int(rng.integers(2**31)),
    )


def _lamp(rng: np.random.Generator, spec: dict[str, Any], main: str, azimuth: float) -> Lamp:
    """Draw one lamp; without spectra of its own it has the room's main one."""
    low, high = spec["size"]
    spectrum = str(rng.choice(spec["spectra"])) if "spectra" in spec else main
    return Lamp(
        azimuth_deg=azimuth,
        elevation_deg=float(rng.uniform(*spec["elevation"])),
        size_deg=(
            float(rng.uniform(low, high)),
            float(rng.uniform(*spec.get("across", (low, high)))),
        ),
        share=float(spec["share"] * rng.uniform(0.75, 1.25)),
        spectrum=spectrum,
        kelvin=illuminant_kelvin(spectrum),
        kind=spec.get("kind", "soft"),
    )


def _wall(rng: np.random.Generator, spec: dict[str, Any]) -> TintedWall | None:
    if "wall_rgb" not in spec:
        return None
    low, high = np.array(spec["wall_rgb"])
    rgb = low + rng.random() * (high - low)
    return TintedWall(
        azimuth_deg=float(rng.uniform(0, 360)),
        reach_deg=float(rng.uniform(40, 75)),
        rgb=(float(rgb[0]), float(rgb[1]), float(rgb[2])),
    )


def flash_place(flash: Flash, view: View) -> tuple[float, float, float]:
    """Where the flash is in the world, mm: beside the lens and a little behind it."""
    right, down, forward = view.axes()
    x, y = flash.beside_mm
    at = np.array(view.eye) + x * right + y * down - 3.0 * forward
    return float(at[0]), float(at[1]), float(at[2])
