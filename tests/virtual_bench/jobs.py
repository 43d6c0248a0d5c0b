"""Draws jobs of a bicycle workshop: part, bar, lathe, edge and a beginner's first settings."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from . import published as pub
from .constants import METALS
from .cut import Bar
from .search import Chances, possible, top_feed, works
from .world import Blade, Fault, Lathe, World, draw_world

__all__ = ["PARTS", "Job", "Part", "Settings", "draw_job"]


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the workshop; invented, sizes as such parts have them. Lengths mm."""

    name: str
    metals: tuple[str, ...]
    bar_mm: tuple[float, ...]
    target_share: tuple[float, float]
    length_over_diameter: tuple[float, float]
    tolerance_mm: float
    stock: tuple[str, ...] = ("round",)


PARTS = (
    Part("bottle bolt", ("Ti-6Al-4V", "Ti grade 2"), (8, 10, 12), (0.5, 0.7), (2, 4), 0.05),
    Part("mudguard spacer", ("304", "316", "303"), (10, 12, 16), (0.65, 0.85), (0.8, 2), 0.1),
    Part("workstand axle", ("1045", "4140", "O1"), (16, 20, 25), (0.7, 0.85), (2, 5), 0.05),
    Part("valve dust cap", ("C360", "6061"), (8, 10, 12), (0.6, 0.8), (0.8, 2), 0.1),
    Part("brake pivot bush", ("bronze",), (10, 12, 16), (0.65, 0.85), (1, 2), 0.05),
    Part("headset press drift", ("1018", "12L14"), (25, 30), (0.75, 0.9), (1.5, 3), 0.1),
    Part("chainring bolt", ("6061", "303"), (10, 12), (0.6, 0.8), (0.8, 2), 0.05),
    Part("hub end cap", ("6061", "304"), (20, 25), (0.7, 0.85), (0.6, 1.5), 0.05),
    Part("seat-post stud", ("4140", "316", "Ti-6Al-4V"), (8, 10, 12), (0.6, 0.75), (2, 4), 0.1),
    Part("truing-stand foot", ("grey iron",), (25, 30, 40), (0.8, 0.92), (0.6, 1.2), 0.1,
         ("round", "cast skin")),
    Part("cable-stop ferrule", ("C360", "12L14"), (6, 8, 10), (0.6, 0.8), (1, 2.5), 0.05),
    Part("trainer skewer rod", ("303", "1018"), (8, 10), (0.65, 0.8), (4, 8), 0.1),
)  # fmt: skip
#: Kinds of small bench lathe: power W, speeds, radial stiffness N/um. Ranges that such lathes
#: are sold with (common practice); nobody publishes their stiffness (memory: 3-15).
_STEPS = (
    (100, 170, 270, 430, 700, 1150, 1900),
    (160, 260, 430, 700, 900, 1150, 1900),
    (125, 210, 420, 620, 1000, 2000),
    (130, 300, 600, 800, 1150, 1600, 2000),
)
_FEEDS = (
    (0.04, 0.06, 0.1, 0.15),
    (0.05, 0.07, 0.1, 0.14, 0.2),
    (0.03, 0.06, 0.12, 0.18, 0.24),
    (0.025, 0.05, 0.075, 0.1, 0.15, 0.2, 0.25),
    (0.05, 0.1, 0.2),
)
_DRIVES_W = (250, 400, 550, 750, 1000)


@dataclass(frozen=True, slots=True)
class Settings:
    """What the machinist sets: rev/min, mm/rev, mm on the side, wet or dry."""

    speed_rev_min: float
    feed_mm_rev: float
    depth_mm: float
    coolant: str

    @property
    def oil(self) -> bool:
        return self.coolant != "dry"


@dataclass(frozen=True, slots=True)
class Job:
    """A drawn job: what everybody sees, and the hidden world."""

    number: int
    part: str
    metal: str
    stock: str
    bar: Bar
    target_mm: float
    tolerance_mm: float
    lathe: Lathe
    blade: Blade
    first: Settings
    world: World
    top_feed: float
    chances: Chances

    @property
    def wish(self) -> str:
        return METALS[self.metal].wish

    @property
    def leave_mm(self) -> float:
        """Diameter below which no trial may go: target plus two last cuts."""
        return self.target_mm + 4.0 * METALS[self.metal].last_cut_mm


def draw_job(seed: int, number: int, *, weaken=1.0, reverse=None) -> Job:
    """Draw job ``number`` of a seed; the same whatever the strength of the relations."""
    rng = np.random.default_rng([seed, number])
    part = PARTS[int(rng.integers(len(PARTS)))]
    metal = str(rng.choice(part.metals))
    lathe = _lathe(rng)
    diameter = float(rng.choice(part.bar_mm))
    target = round(diameter * float(rng.uniform(*part.target_share)), 1)
    target = min(target, diameter - 4.0 * METALS[metal].last_cut_mm - 0.6)
    length = diameter * float(rng.uniform(*part.length_over_diameter))
    holding = _holding(rng, length / diameter, lathe)
    bar = Bar(diameter, round(length + 10.0, 0), round(length, 0), holding)
    blade = _blade(rng, metal)
    hidden = draw_world(rng, metal, blade, lathe)
    world = hidden.weakened(weaken, reverse)
    stock = str(rng.choice(part.stock))
    job = Job(
        number, part.name, metal, stock, bar, round(target, 2), part.tolerance_mm, lathe, blade,
        Settings(lathe.speeds_rev_min[0], lathe.feeds_mm_rev[0], lathe.depth_step_mm, "dry"),
        world, 0.0, Chances(exists=False, reachable=False, at_once=False),
    )  # fmt: skip
    first = _first(rng, job, hidden)
    job = replace(job, first=first, top_feed=top_feed(job))
    return replace(job, chances=possible(job))


def _lathe(rng) -> Lathe:
    power = float(rng.choice(_DRIVES_W))
    tells = bool(rng.random() < 0.7)
    tail = bool(rng.random() < 0.9)
    feeds = _FEEDS[int(rng.integers(len(_FEEDS)))]
    change = str(rng.choice(["lever", "gears"]))
    dial, reads = [(0.02, "radius"), (0.025, "radius"), (0.05, "diameter"), (0.02, "diameter")][
        int(rng.integers(4))
    ]
    stiffness = round(float(np.exp(rng.uniform(np.log(4.0), np.log(15.0)))), 1)
    common = (feeds, change, dial, reads, stiffness, tells, tail)
    if rng.random() < 0.4:
        drive, ranges = (100.0, 2200.0), ((100.0, 1100.0, 700.0), (1000.0, 2200.0, 1800.0))
        speeds = tuple(float(round(s, -1)) for s in np.geomspace(100, 2200, 24))
        return Lathe(power, 0.75, speeds, drive, ranges, *common)
    steps = tuple(float(s) for s in _STEPS[int(rng.integers(len(_STEPS)))])
    return Lathe(power, 0.75, steps, None, (), *common)


def _holding(rng, slender, lathe) -> str:
    if slender > 3.5 and lathe.has_tailstock:
        return "between centres" if rng.random() < 0.2 else "chuck and centre"
    return "chuck and centre" if lathe.has_tailstock and rng.random() < 0.2 else "chuck"


def _blade(rng, metal) -> Blade:
    material = str(rng.choice(["HSS", "carbide", "coated carbide"], p=[0.5, 0.2, 0.3]))
    ground = material == "HSS"
    groove = bool(rng.random() < (0.15 if ground else 0.8))
    if metal in {"C360", "bronze"}:
        rake, groove = float(rng.choice([0, 0, 5])), groove and rng.random() < 0.3
    else:
        rake = float(rng.choice([5, 8, 10, 12, 15] if ground else [0, 5, 6, 10]))
    kapr = float(rng.choice([75, 85, 90] if ground else [90, 93, 95]))
    nose = float(rng.choice([0.1, 0.2, 0.4] if ground else [0.2, 0.4, 0.4, 0.8]))
    return Blade("edge-1", material, rake, kapr, nose, groove, 15.0, 10.0)


def _first(rng, job: Job, hidden: World) -> Settings:
    """Draw what a beginner would set: feed low on the plate, speed off, a shy depth.

    Redrawn until this lathe runs it (by the relations at full strength, so that every
    variant of the bench starts alike), at most fifty times; then the gentlest cut.
    """
    metal, lathe = METALS[job.metal], job.lathe
    speeds = np.array(lathe.speeds_rev_min)
    room = (job.bar.diameter_mm - job.leave_mm) / 2.0
    coolants = ["dry"] if job.metal in {"C360", "grey iron"} else ["dry", "cutting oil"]
    full = replace(job, world=hidden)
    settings = job.first
    for _ in range(50):
        v = metal.speed_60_m_min * job.blade.kind.speed_over_hss * rng.uniform(0.4, 1.4)
        wanted = 1000.0 * v / (np.pi * job.bar.diameter_mm)
        speed = float(speeds[np.argmin(np.abs(np.log(speeds / wanted)))])
        low = lathe.feeds_mm_rev[: max(2, int(0.6 * len(lathe.feeds_mm_rev) + 0.5))]
        depth = min(float(np.exp(rng.uniform(np.log(0.08), np.log(0.6)))), room / 3.0)
        step = lathe.depth_step_mm
        depth = round(max(1, round(depth / step)) * step, 4)
        settings = Settings(speed, float(rng.choice(low)), depth, str(rng.choice(coolants)))
        if works(full, settings, Fault(), job.bar):
            return settings
    v = pub.cutting_speed_m_min(speeds, job.bar.diameter_mm)
    gentle = float(speeds[np.argmin(np.abs(v - 0.6 * metal.speed_60_m_min))])
    return replace(settings, speed_rev_min=gentle, feed_mm_rev=lathe.feeds_mm_rev[0])
