"""Lamps and rooms that light a scene."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.training.families import Side, families

__all__ = ["Lamp", "Light", "draw_light"]


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
