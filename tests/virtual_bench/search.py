"""What the hidden world allows: which settings run at all, and whether right chips exist.

Searches every speed, feed and dial step of the lathe, wet and dry. The players never see it.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from .cut import physics
from .forms import acceptable, mixture
from .world import Fault

if TYPE_CHECKING:
    from .jobs import Job, Settings

__all__ = ["MOST_DEPTH_MM", "holds", "possible", "top_feed", "torque_limit_n_m", "works"]

#: Deepest cut that is searched; a small lathe rarely takes more on the side.
MOST_DEPTH_MM = 2.0
#: The bar or tool is pulled in when bending passes this share of the depth of cut.
DIG_SHARE = 0.35
#: Chips over this many times the chatter limit shake.
CHATTER_AT = 1.0


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


def possible(job: Job) -> tuple[bool, bool]:
    """Say whether right chips can be had after the first pass, and whether it has them.

    With a fresh edge, the bar as held or with a centre where the lathe has a tailstock,
    wet or dry, and only depths that the stock still allows.
    """
    first = _cut(job, Fault(), job.bar, job.first)
    mix = mixture(job.world, Fault(), first)
    at_once = bool(
        acceptable(job.wish, mix, job.first.feed_mm_rev, top_feed=job.top_feed)
        & holds(job, first, job.first.speed_rev_min, job.first.depth_mm)
    )
    left = job.bar.diameter_mm - 2.0 * job.first.depth_mm
    room = (left - job.leave_mm) / 2.0
    if room < job.lathe.depth_step_mm:
        return at_once, at_once
    speed, feed, depth = _grid(job, room)
    for bar in _holdings(job):
        now = replace(bar, diameter_mm=left)
        for oil in (True, False):
            cut = physics(job.world, job.blade, Fault(), now,
                          speed=speed, feed=feed, depth=depth, oil=oil)  # fmt: skip
            runs = holds(job, cut, speed, depth)
            right = acceptable(job.wish, mixture(job.world, Fault(), cut), feed,
                               top_feed=job.top_feed)  # fmt: skip
            if (runs & right).any():
                return True, at_once
    return at_once, at_once
