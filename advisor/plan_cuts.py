"""The single cuts of a plan: roughing as deep as the lathe bears, finishing fine enough."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from advisor.first_steps import is_under_skin
from advisor.lathes import feeds_for, settable_speeds
from advisor.limits import Stock, broken_limits, is_legal
from advisor.records import Cut, Quantity, Reason
from advisor.start import starting_wish
from advisor.state import roughness_um
from advisor.tables import rule_value

if TYPE_CHECKING:
    from advisor.records import Case, LimitCheck
    from advisor.state import Setup

__all__ = ["Job", "deepest", "finishing_cut", "named_of", "refused"]

_DEPTH_TRIES: Final = 12
_FEED_TRIES: Final = 4
_SPEED_TRIES: Final = 6
_ROUNDING: Final = 1e-6


def named_of(setup: Setup, case: Case) -> dict[str, Quantity | str]:
    """Return the quantities that the sentences of a plan may name."""
    return {
        "metal": setup.metal.name,
        "tolerance": Quantity(case.work.tolerance_mm, "mm"),
        "stickout": Quantity(setup.stickout_mm, "mm"),
        "nose": Quantity(setup.edge.re_mm, "mm"),
        "overhang": Quantity(setup.edge.overhang_mm, "mm"),
        "step": Quantity(setup.lathe.dial.step_mm, "mm"),
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """The job in whole divisions of the dial."""

    case: Case
    setup: Setup
    step_mm: float
    start_mm: float
    total: int
    rz_um: float

    def diameter_mm(self, taken: int) -> float:
        """Return the diameter once so many divisions are taken."""
        return self.start_mm - 2.0 * taken * self.step_mm

    @property
    def least(self) -> int:
        """Return the floor of the metal in divisions."""
        floor = self.setup.metal.finishing_floor_mm.value
        return max(1, math.ceil(floor / self.step_mm - _ROUNDING))

    def stock(self, taken: int, rz_um: float, *, last_two: bool = False) -> Stock:
        """Return what is left once so many divisions are taken."""
        return Stock(
            left_mm=(self.total - taken) * self.step_mm,
            tolerance_mm=self.case.work.tolerance_mm,
            bar_mm=self.case.work.diameter_mm,
            previous_rz_um=rz_um,
            last_two=last_two,
        )


def deepest(
    job: Job, taken: int, rest: int, rz_um: float
) -> Cut | tuple[Reason, tuple[LimitCheck, ...]]:
    """Return the roughing cut that takes the rest in fewest even cuts, or why there is none.

    The cut under a skin is as deep as the lathe bears, and not evened out.
    """
    stock = job.stock(taken, rz_um)
    wish = _wish(job, taken, stock)
    depths = _roughing_depths(job, round(wish.depth_mm / job.step_mm), rest)
    best: Cut | None = None
    for feed in _feeds_down(job.setup, wish):
        for speed in _speeds_down(job.setup, wish):
            cut = replace(wish, feed_mm_rev=feed, spindle_rev_min=speed)
            depth = _legal_depth(job, cut, stock, depths)
            if depth and (best is None or depth > best.depth_mm + _ROUNDING):
                best = replace(cut, depth_mm=depth)
        if best is not None and best.depth_mm >= 0.5 * wish.depth_mm:
            break
    if best is not None:
        under = is_under_skin(job.setup, best.diameter_mm)
        return best if under else _evened(job, best, stock, rest)
    tried = replace(wish, depth_mm=round(min(depths, default=1) * job.step_mm, 6))
    return refused(job, "plan-rough", tried, stock)


def _roughing_depths(job: Job, deepest_divisions: int, rest: int) -> list[int]:
    """Return depths in divisions, deep first, that leave nothing or a cut that does not rub."""
    least = job.least
    most = max(min(deepest_divisions, rest), min(least, rest))
    ratio = (most / least) ** (1.0 / _DEPTH_TRIES) if most > least else 1.0
    tried = {max(least, round(most / ratio**k)) for k in range(_DEPTH_TRIES + 1)}
    tried |= {rest, rest - least, rest // 2, -(-rest // 2)}
    fits = {k for k in tried if k <= most and (k == rest or rest - k >= least)}
    return sorted((k for k in fits if k >= min(least, rest)), reverse=True)


def _legal_depth(job: Job, cut: Cut, stock: Stock, depths: list[int]) -> float:
    """Return the deepest legal of these depths, mm; 0 where none is legal."""
    for divisions in depths:
        depth = round(divisions * job.step_mm, 6)
        if is_legal(job.setup, replace(cut, depth_mm=depth), stock):
            return depth
    return 0.0


def _evened(job: Job, cut: Cut, stock: Stock, rest: int) -> Cut:
    """Return the cut as one of equal ones, where that is legal too."""
    count = math.ceil(rest / round(cut.depth_mm / job.step_mm))
    even = replace(cut, depth_mm=round(math.ceil(rest / count) * job.step_mm, 6))
    return even if is_legal(job.setup, even, stock) else cut


def _wish(job: Job, taken: int, stock: Stock) -> Cut:
    diameter = job.diameter_mm(taken)
    return starting_wish(job.setup, stock, diameter, job.case.work.cut_length_mm)


def _feeds_down(setup: Setup, wish: Cut) -> list[float]:
    """Return the wished feed and the next finer ones, then the next coarser."""
    feeds = feeds_for(setup.lathe, "along")
    start = wish.feed_mm_rev or feeds[0]
    finer = [f for f in reversed(feeds) if f <= start]
    coarser = [f for f in feeds if f > start]
    return [*finer[:_FEED_TRIES], *coarser[:2]]


def _speeds_down(setup: Setup, wish: Cut) -> list[float]:
    """Return the wished speed and slower ones, spread down to the slowest."""
    slower = [s for s in reversed(settable_speeds(setup.lathe)) if s <= wish.spindle_rev_min]
    stride = max(1, len(slower) // _SPEED_TRIES)
    return slower[::stride]


def finishing_cut(
    job: Job, taken: int, divisions: int, stock: Stock
) -> Cut | tuple[Reason, tuple[LimitCheck, ...]]:
    """Return a finishing cut of so many divisions, or why there is none."""
    setup, diameter = job.setup, job.diameter_mm(taken)
    wish = starting_wish(setup, stock, diameter, job.case.work.cut_length_mm)
    wish = replace(wish, depth_mm=round(divisions * job.step_mm, 6))
    feeds = _finishing_feeds(job)
    for feed in feeds:
        for speed in _speeds_down(setup, wish):
            cut = replace(wish, feed_mm_rev=feed, spindle_rev_min=speed)
            if is_legal(setup, cut, stock):
                return cut
    return refused(job, "plan-finish", replace(wish, feed_mm_rev=feeds[0]), stock)


def _finishing_feeds(job: Job) -> list[float]:
    """Return feeds for the last cuts: fine enough for the roughness asked for, coarse first.

    Where none is, the smoothest first; the plan says so.
    """
    feeds = feeds_for(job.setup.lathe, "along")
    wanted = job.case.work.roughness_rz_um
    most = job.setup.metal.start_feed_mm_rev.value
    if wanted is None:
        most = min(most, rule_value("finish", "feed_mm_rev"))
    light = [f for f in reversed(feeds) if f <= most * 1.05]
    rough = {f: 0.0 if wanted is None else roughness_um(job.setup, f) for f in feeds}
    fine = [f for f in light if rough[f] <= (wanted or 0.0)]
    others = sorted((f for f in feeds if f not in fine), key=lambda f: (rough[f], f))
    return [*fine[:6], *others][:8]


def refused(
    job: Job, reason: str, cut: Cut, stock: Stock
) -> tuple[Reason, tuple[LimitCheck, ...]]:
    """Return why a cut cannot be made: the worst limit it breaks."""
    broken = broken_limits(job.setup, cut, stock)
    named = named_of(job.setup, job.case)
    named["diameter"] = Quantity(cut.diameter_mm, "mm")
    worst = broken[0] if broken else None
    named["limit"] = worst.limit if worst else "no setting"
    named["value"] = Quantity(worst.value, worst.unit) if worst else ""
    named["bound"] = Quantity(worst.bound, worst.unit) if worst else ""
    return Reason(id=reason, values=named), tuple(broken)
