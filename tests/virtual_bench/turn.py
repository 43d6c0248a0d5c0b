"""One pass on the bench: what it does to bar, edge and chips, and what can go wrong."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from . import published as pub
from .cut import Bar, Physics, physics
from .forms import grade, mixture
from .search import CHATTER_AT, DIG_SHARE, torque_limit_n_m
from .world import Blade, Fault

if TYPE_CHECKING:
    import numpy as np

    from .jobs import Job, Settings

__all__ = ["Outcome", "State", "break_edge", "grade_of", "one_pass", "worn_out"]

#: An edge is worn out at 1 (Taylor's life); from here on a look at it finds wear.
WORN_AT, WEAR_SEEN_AT = 1.0, 0.8
MEASURE_U_MM = 0.006  # standard deviation of a workshop micrometer reading
LIFE_FEED_POWER = 0.2  # extended Taylor law: life falls weakly with feed; memory
LIFE_OIL = 1.4  # flood of oil allows up to 40 % more speed (read); here as less wear
#: What shakes, rubs or is cut inside a hardened skin wears an edge this many times faster.
HARD_WEAR = 3.0


@dataclass(frozen=True, slots=True)
class State:
    """The bar and the edge now. ``diameter_mm`` is true; nobody knows it exactly."""

    bar: Bar
    blade: Blade
    fault: Fault = field(default_factory=Fault)
    skin_mm: float = 0.0
    edges_used: int = 1


@dataclass(frozen=True, slots=True)
class Outcome:
    """What really happened in a pass."""

    cut: Physics
    mix: np.ndarray
    grade: int
    stalled: bool
    dug_in: bool
    rubbed: bool
    chatters: bool
    chipped_now: bool
    chipped: bool
    spoiled: bool
    left_mm: tuple[float, float]
    torque_share: float


def break_edge(fault: Fault, rng: np.random.Generator) -> Fault:
    """Return the edge after a piece broke out: other curl, thicker chips, tangles, slivers.

    What is left cuts with a blunt, ragged front: common practice says that a broken edge
    shows first in the chip. Sizes are ours; no study gives them for such small cuts.
    """
    tighter = rng.random() < 0.5
    return replace(
        fault,
        chipped=True,
        curl=float(rng.uniform(0.35, 0.6) if tighter else rng.uniform(1.8, 3.0)),
        snarl=float(rng.uniform(1.0, 3.0)),
        slivers=float(rng.uniform(0.1, 0.5)),
        thicker=float(rng.uniform(1.2, 1.6)),
        wear=fault.wear + 0.3,
    )


def worn_out(fault: Fault) -> bool:
    """Say whether somebody who looks finds wear."""
    return fault.wear >= WEAR_SEEN_AT


def _physics(job: Job, state: State, settings: Settings) -> Physics:
    fault = state.fault
    if settings.depth_mm < state.skin_mm:
        fault = replace(fault, wear=fault.wear + 0.5)
    return physics(
        job.world, state.blade, fault, state.bar,
        speed=settings.speed_rev_min, feed=settings.feed_mm_rev, depth=settings.depth_mm,
        oil=settings.oil,
    )  # fmt: skip


def grade_of(job: Job, state: State, settings: Settings) -> int:
    """Return how good this cut is with edge and bar as they are: 2 right, 1 tolerable, 0 bad.

    What stalls, digs in or rubs is bad, whatever its chips; what chatters is tolerable at best.
    """
    cut = _physics(job, state, settings)
    return _grade(job, state, settings, cut, mixture(job.world, state.fault, cut))


def _grade(job, state, settings, cut, mix):
    limit = torque_limit_n_m(job, settings.speed_rev_min)
    if (
        cut.torque_n_m > limit
        or cut.bend_mm > DIG_SHARE * settings.depth_mm
        or cut.h_eff_mm <= cut.least_mm
        or 2.0 * settings.depth_mm >= state.bar.diameter_mm
    ):
        return 0
    found = int(grade(job.wish, mix, settings.feed_mm_rev, top_feed=job.top_feed))
    return min(found, 1) if cut.chatter_ratio > CHATTER_AT else found


def one_pass(
    job: Job, state: State, settings: Settings, rng: np.random.Generator, *, hazard: float
) -> tuple[State, Outcome]:
    """Make one pass and return bar and edge after it, and what happened.

    ``hazard`` is the chance that the edge chips in a pass that runs smoothly.
    """
    smooth = _physics(job, state, settings)
    chatters = bool(smooth.chatter_ratio > CHATTER_AT)
    limit = float(torque_limit_n_m(job, settings.speed_rev_min))
    stalled = bool(smooth.torque_n_m > limit)
    risk = hazard * (2.0 if chatters else 1.0)
    if stalled and state.blade.material != "HSS":
        risk = 0.5
    breaks = not state.fault.chipped and bool(rng.random() < risk)
    fault = break_edge(state.fault, rng) if breaks else state.fault
    state = replace(state, fault=fault)
    cut = _physics(job, state, settings) if breaks else smooth
    mix = mixture(job.world, fault, cut)
    dug_in = bool(cut.bend_mm > DIG_SHARE * settings.depth_mm)
    rubbed = bool(cut.h_eff_mm <= cut.least_mm)
    outcome = Outcome(
        cut=cut,
        mix=mix,
        grade=_grade(job, state, settings, cut, mix),
        stalled=stalled,
        dug_in=dug_in,
        rubbed=rubbed,
        chatters=chatters,
        chipped_now=breaks,
        chipped=fault.chipped,
        spoiled=False,
        left_mm=_left(job, state, settings, cut, stalled=stalled),
        torque_share=float(cut.torque_n_m) / limit,
    )
    after = sum(outcome.left_mm) / 2.0
    spoiled = min(outcome.left_mm) < job.target_mm - job.tolerance_mm
    spoiled = spoiled or (dug_in and rng.random() < 0.5)
    hard = settings.depth_mm < state.skin_mm
    worn = _wear(job, state, settings, cut, hard=chatters or rubbed or hard)
    fault = replace(fault, wear=fault.wear + worn)
    skin = job.world.metal.hardens_mm * (2.0 if rubbed or fault.wear > WORN_AT else 0.5)
    state = replace(state, bar=replace(state.bar, diameter_mm=after), fault=fault, skin_mm=skin)
    return state, replace(outcome, spoiled=bool(spoiled))


def _left(job, state, settings, cut, *, stalled):
    """Return the true diameters left near the chuck and at the free end, mm."""
    before = state.bar.diameter_mm
    if stalled:
        return before, before
    share = 1.0 / job.world.stiffness_n_mm / _bar_and_machine(job, state)
    machine = share * float(cut.bend_mm)
    whole = min(float(cut.bend_mm), settings.depth_mm)
    return (
        before - 2.0 * (settings.depth_mm - min(machine, settings.depth_mm)),
        before - 2.0 * (settings.depth_mm - whole),
    )


def _bar_and_machine(job, state):
    bar = state.bar
    at = 0.586 * bar.stickout_mm if bar.holding != "chuck" else bar.cut_length_mm
    modulus = job.world.metal.modulus_mpa
    bend = pub.beam_mm(
        1.0, at, bar.stickout_mm, bar.diameter_mm, modulus_mpa=modulus, holding=bar.holding
    )
    return bend + 1.0 / job.world.stiffness_n_mm


def _wear(job, state, settings, cut, *, hard):
    """Return the share of the edge's life that a pass takes (Taylor)."""
    kind = state.blade.kind
    v60 = job.world.metal.speed_60_m_min * kind.speed_over_hss * job.world.taylor
    constant = v60 * kind.life_min**kind.taylor_exponent
    life = pub.taylor_life_min(float(cut.speed_m_min), constant, kind.taylor_exponent)
    life *= (0.1 / settings.feed_mm_rev) ** LIFE_FEED_POWER
    life *= LIFE_OIL if settings.oil else 1.0
    minutes = state.bar.cut_length_mm / (settings.speed_rev_min * settings.feed_mm_rev)
    return min(2.0, minutes / life * (HARD_WEAR if hard else 1.0))
