"""What the hidden world allows: which settings run at all, and whether right chips exist.

Searches every speed, feed and dial step of the lathe, wet and dry. The players never see it.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from .cut import physics
from .forms import acceptable, mixture
from .published import cutting_speed_m_min
from .world import Fault

if TYPE_CHECKING:
    from .cut import Bar
    from .jobs import Job, Settings

__all__ = [
    "MOST_DEPTH_MM",
    "Chances",
    "holds",
    "is_right",
    "possible",
    "right_settings",
    "top_feed",
    "torque_limit_n_m",
    "works",
]

#: Deepest cut that is searched; a small lathe rarely takes more on the side.
MOST_DEPTH_MM = 2.0
#: The bar or tool is pulled in when bending passes this share of the depth of cut.
DIG_SHARE = 0.35
#: Chips over this many times the chatter limit shake.
CHATTER_AT = 1.0
#: Speeds that are searched, in shares of the metal's speed: nobody solves a job at a crawl,
#: and the relations hold nowhere near it.
SLOWEST, FASTEST = 0.4, 1.6
#: Settings nearer than this are the same.
SAME = 0.02


class Chances(NamedTuple):
    """Whether right chips exist, can be reached one lever at a time, are there at once."""

    exists: bool
    reachable: bool
    at_once: bool


def torque_limit_n_m(job: Job, speed):
    """Return the torque the drive really gives at these speeds, N m.

    Constant below the rated speed of the range in use, constant power above it.
    """
    lathe = job.lathe
    speed = np.asarray(speed, float)
    watts = lathe.power_w * lathe.efficiency * job.world.drive
    rated = speed
    if lathe.ranges:
        best = np.zeros_like(speed)
        for low, high, at in lathe.ranges:
            given = watts / (2.0 * np.pi * np.maximum(speed, at) / 60.0)
            inside = (speed >= low) & (speed <= high)
            best = np.where(inside, np.maximum(best, given), best)
        return best
    return watts / (2.0 * np.pi * rated / 60.0)


def holds(job: Job, cut, speed, depth):
    """Say whether the cut runs: no stall, no digging in, no rubbing, no chatter."""
    return (
        (cut.torque_n_m <= torque_limit_n_m(job, speed))
        & (cut.bend_mm <= DIG_SHARE * np.asarray(depth))
        & (cut.h_eff_mm > cut.least_mm)
        & (cut.chatter_ratio <= CHATTER_AT)
    )


def works(job: Job, settings: Settings, fault: Fault, bar) -> bool:
    """Say whether one setting runs in this world."""
    cut = _cut(job, fault, bar, settings)
    return bool(holds(job, cut, settings.speed_rev_min, settings.depth_mm))


def _cut(job, fault, bar, settings):
    return physics(
        job.world, job.blade, fault, bar,
        speed=settings.speed_rev_min, feed=settings.feed_mm_rev, depth=settings.depth_mm,
        oil=settings.oil,
    )  # fmt: skip


def _grid(job: Job, most_mm: float):
    step = job.lathe.depth_step_mm
    count = max(1, int(min(most_mm, MOST_DEPTH_MM) / step + 1e-6))
    depths = step * np.unique(np.round(np.geomspace(1, count, 25)).astype(int))
    speeds = np.array(job.lathe.speeds_rev_min)
    v = cutting_speed_m_min(speeds, job.bar.diameter_mm) / job.world.metal.speed_60_m_min
    sane = (v >= SLOWEST) & (v <= FASTEST * job.blade.kind.speed_over_hss)
    speeds = speeds[sane] if sane.any() else speeds[[np.argmin(np.abs(np.log(v)))]]
    feeds = np.array(job.lathe.feeds_mm_rev)
    return speeds[:, None, None], feeds[None, :, None], depths[None, None, :]


def _holdings(job: Job):
    kinds = [job.bar.holding]
    if job.bar.holding == "chuck" and job.lathe.has_tailstock:
        kinds.append("chuck and centre")
    return [replace(job.bar, holding=kind) for kind in kinds]


def top_feed(job: Job) -> float:
    """Return the largest feed that runs at any speed and depth in the first stock, mm/rev."""
    room = (job.bar.diameter_mm - job.leave_mm) / 2.0
    speed, feed, depth = _grid(job, room)
    best = 0.0
    for bar in _holdings(job):
        cut = physics(job.world, job.blade, Fault(), bar,
                      speed=speed, feed=feed, depth=depth, oil=True)  # fmt: skip
        runs = holds(job, cut, speed, depth)
        if runs.any():
            best = max(best, float(np.broadcast_to(feed, runs.shape)[runs].max()))
    return best or job.lathe.feeds_mm_rev[0]


def possible(job: Job) -> Chances:
    """Say what can be had: with a fresh edge, as held or with a centre, wet or dry.

    ``exists``: some cut that the stock still allows after the first pass makes right chips.
    ``reachable``: one lever a pass leads there before the stock is used up; depth is moved
    last where it grows and first where it shrinks, as costs least stock.
    """
    first = _cut(job, Fault(), job.bar, job.first)
    mix = mixture(job.world, Fault(), first)
    at_once = bool(
        acceptable(job.wish, mix, job.first.feed_mm_rev, top_feed=job.top_feed)
        & holds(job, first, job.first.speed_rev_min, job.first.depth_mm)
    )
    exists = reachable = at_once
    left = job.bar.diameter_mm - 2.0 * job.first.depth_mm
    room = (left - job.leave_mm) / 2.0
    if room < job.lathe.depth_step_mm:
        return Chances(exists, reachable, at_once)
    speed, feed, depth = _grid(job, room)
    was = job.first
    moved = sum(
        np.abs(steps / now - 1.0) > SAME
        for steps, now in (
            (speed, was.speed_rev_min),
            (feed, was.feed_mm_rev),
            (depth, was.depth_mm),
        )
    )
    for bar in _holdings(job):
        now = replace(bar, diameter_mm=left)
        for oil in (True, False):
            levers = moved + (oil != was.oil) + (bar.holding != job.bar.holding)
            used = np.maximum(levers - 1, 0) * np.minimum(was.depth_mm, depth) + depth
            cut = physics(job.world, job.blade, Fault(), now,
                          speed=speed, feed=feed, depth=depth, oil=oil)  # fmt: skip
            right = acceptable(job.wish, mixture(job.world, Fault(), cut), feed,
                               top_feed=job.top_feed)  # fmt: skip
            right = right & holds(job, cut, speed, depth)
            exists = exists or bool(right.any())
            reachable = reachable or bool((right & (used <= room + 1e-9)).any())
    return Chances(exists, reachable, at_once)


def is_right(job: Job, settings: Settings, bar: Bar) -> bool:
    """Say whether this cut runs and makes right chips with a fresh edge."""
    cut = _cut(job, Fault(), bar, settings)
    mix = mixture(job.world, Fault(), cut)
    right = acceptable(job.wish, mix, settings.feed_mm_rev, top_feed=job.top_feed)
    return bool(right & holds(job, cut, settings.speed_rev_min, settings.depth_mm))


def right_settings(job: Job, diameter_mm: float, holding: str) -> list[Settings]:
    """Return every cut of the grid that makes right chips from this diameter on."""
    room = (diameter_mm - job.leave_mm) / 2.0
    if room < job.lathe.depth_step_mm:
        return []
    depths = np.array([job.first.depth_mm])
    speed, feed, depth = _grid(job, room)
    depth = np.unique(np.append(depth, depths[depths <= room]))[None, None, :]
    bar = replace(job.bar, diameter_mm=diameter_mm, holding=holding)
    found = []
    for coolant in ("cutting oil", "dry"):
        cut = physics(job.world, job.blade, Fault(), bar,
                      speed=speed, feed=feed, depth=depth, oil=coolant != "dry")  # fmt: skip
        runs = holds(job, cut, speed, depth)
        right = acceptable(job.wish, mixture(job.world, Fault(), cut), feed,
                           top_feed=job.top_feed)  # fmt: skip
        for a, b, c in np.argwhere(runs & right):
            found.append(
                replace(
                    job.first,
                    speed_rev_min=float(speed[a, 0, 0]),
                    feed_mm_rev=float(feed[0, b, 0]),
                    depth_mm=float(depth[0, 0, c]),
                    coolant=coolant,
                )
            )
    return found
