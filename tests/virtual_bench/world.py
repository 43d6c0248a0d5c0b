"""The hidden side of a job: true constants of metal, edge, lathe and chips.

Nobody but the bench sees a ``World``. Relations can be weakened or turned round here, so that
a player who trusts one of them blindly is found out.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from .constants import BLURS, EDGES, METALS, EdgeKind, Metal

__all__ = [
    "RELATIONS",
    "Blade",
    "Fault",
    "Lathe",
    "World",
    "draw_world",
    "middle_world",
    "strengths",
]

#: Relations whose strength can be changed: 1 as published, 0.5 half as strong, -1 reversed.
RELATIONS = (
    "thickness-strain",  # a thicker chip breaks more easily
    "thickness-curl",  # a thicker chip curls wider
    "thickness-compression",  # a thicker cut is compressed less
    "speed-compression",  # a faster cut is compressed less
    "speed-curl",  # a faster chip curls wider
    "rake-curl",  # more rake curls wider
    "groove-curl",  # a groove curls tighter
    "depth-side-curl",  # past the nose side-curl gives way to up-curl
    "thin-snarl",  # a thin chip tangles
    "speed-heat",  # a faster cut is hotter
    "oil",  # oil tightens the curl, hinders built-up edges and tint
)


#: How far the chip leaves the square to its edge, degrees; memory of flow-angle studies.
FLOW_DEG = (3.0, 14.0)


def strengths(weaken=1.0, reverse=None):
    """Return the strength of every relation; ``reverse`` names one that is turned round."""
    if reverse is not None and reverse not in RELATIONS:
        raise ValueError(f"no relation {reverse!r}; known are {', '.join(RELATIONS)}")
    return {name: weaken * (-1.0 if name == reverse else 1.0) for name in RELATIONS}


@dataclass(frozen=True, slots=True)
class Blade:
    """An edge as its owner would describe it; lengths mm, angles degrees."""

    id: str
    material: str
    rake_deg: float
    kapr_deg: float
    re_mm: float
    groove: bool
    overhang_mm: float
    shank_mm: float

    @property
    def kind(self) -> EdgeKind:
        return EDGES[self.material]


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with the edge: gradual wear 0-1 (and on), and a sudden chip or none.

    ``curl`` multiplies the up-curl radius, ``snarl`` adds to the tendency to tangle,
    ``slivers`` is the share of the chips that a broken edge tears into needles.
    """

    wear: float = 0.0
    chipped: bool = False
    curl: float = 1.0
    snarl: float = 0.0
    slivers: float = 0.0
    thicker: float = 1.0


@dataclass(frozen=True, slots=True)
class Lathe:
    """A small bench lathe as its plate describes it."""

    power_w: float
    efficiency: float
    speeds_rev_min: tuple[float, ...]
    drive: tuple[float, float] | None
    ranges: tuple[tuple[float, float, float], ...]
    feeds_mm_rev: tuple[float, ...]
    feed_change: str
    dial_mm: float
    dial_reads: str
    stiffness_n_um: float
    tells_stiffness: bool
    has_tailstock: bool

    @property
    def depth_step_mm(self) -> float:
        """Smallest change of depth on the side."""
        return self.dial_mm / (2.0 if self.dial_reads == "diameter" else 1.0)


@dataclass(frozen=True, slots=True)
class World:
    """Hidden constants of one job."""

    metal_name: str
    metal: Metal
    force_factor: float
    compression: float
    break_strain: float
    shear_fracture: float
    control_mm: float
    up_curl_mm: float
    side_curl: float
    opening: float
    flow_deg: float
    groove_width_mm: float
    groove_height_mm: float
    least_chip: float
    radius_um: float
    taylor: float
    stiffness_n_mm: float
    damping: float
    body_share: float
    hot_s: float
    drive: float
    hazard: float
    strength: dict[str, float] = field(default_factory=strengths)

    def weakened(self, weaken, reverse):
        """Return the same world with its relations weakened or one reversed."""
        return replace(self, strength=strengths(weaken, reverse))


def draw_world(rng: np.random.Generator, metal_name: str, blade: Blade, lathe: Lathe) -> World:
    """Draw the hidden constants of a job."""
    blur = {k: b.middle * float(np.exp(b.sigma * rng.normal())) for k, b in BLURS.items()}
    return _world(
        metal_name,
        blade,
        lathe,
        blur=blur,
        force_factor=float(rng.uniform(0.7, 1.3)),
        flow_deg=float(rng.uniform(*FLOW_DEG)),
        radius_um=float(rng.uniform(*blade.kind.radius_um)),
    )


def middle_world(metal_name: str, blade: Blade, lathe: Lathe) -> World:
    """Return the world where every hidden constant has the middle value of its draw."""
    return _world(
        metal_name,
        blade,
        lathe,
        blur={k: b.middle for k, b in BLURS.items()},
        force_factor=1.0,
        flow_deg=sum(FLOW_DEG) / 2.0,
        radius_um=sum(blade.kind.radius_um) / 2.0,
    )


def _world(metal_name, blade, lathe, *, blur, force_factor, flow_deg, radius_um):
    metal = METALS[metal_name]
    return World(
        metal_name=metal_name,
        metal=metal,
        force_factor=force_factor,
        compression=1.0 + (metal.compression - 1.0) * blur["compression"],
        break_strain=metal.break_strain * blur["break_strain"],
        shear_fracture=metal.shear_fracture * blur["shear_fracture"],
        control_mm=metal.control_mm * blur["control"],
        up_curl_mm=blur["up_curl_mm"],
        side_curl=blur["side_curl"],
        opening=max(1.8, blur["opening"]),
        flow_deg=flow_deg,
        groove_width_mm=blur["groove_width_mm"],
        groove_height_mm=blur["groove_height_mm"],
        least_chip=blur["least_chip"],
        radius_um=radius_um,
        taylor=blur["taylor"],
        stiffness_n_mm=1000.0 * lathe.stiffness_n_um * blur["stiffness"],
        damping=blur["damping"],
        body_share=metal.body_share * blur["body_share"],
        hot_s=blur["hot_s"],
        drive=blur["drive"],
        hazard=blade.kind.hazard,
    )
