"""All passes from the present diameter to the target, on the dial, inside every limit.

Roughing in even cuts as deep as the lathe bears, then the last two cuts equal and each
above the floor, with the bar cooled and measured before them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from advisor.cautions import cautions_for
from advisor.force import turning_time_s
from advisor.lathes import feeds_for, settable_speeds
from advisor.limits import Stock, broken_limits, check_limits, floor_mm, is_legal
from advisor.parse import left_diameter_mm
from advisor.records import Cut, PassPlan, PlanStep, Quantity, Reason
from advisor.start import starting_wish
from advisor.state import Setup, cut_state, roughness_um, setup_of
from advisor.stiffness import thermal_growth_mm
from advisor.tables import rule_value

if TYPE_CHECKING:
    from advisor.records import Case, LimitCheck

__all__ = ["plan_passes"]

_FINISH_TRIES: Final = 8
_FEED_TRIES: Final = 4
_SPEED_TRIES: Final = 6
#: A finishing cut need not be deeper than this many floors.
_MOST_FLOORS: Final = 5.0
#: Up to so many floors each, the last two cuts share all there is without roughing.
_SHARED_FLOORS: Final = 3
_ROUNDING: Final = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class _Job:
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

    def stock(self, taken: int, rz_um: float) -> Stock:
        """Return what is left once so many divisions are taken."""
        return Stock(
            left_mm=(self.total - taken) * self.step_mm,
            tolerance_mm=self.case.work.tolerance_mm,
            bar_mm=self.case.work.diameter_mm,
            previous_rz_um=rz_um,
        )


def plan_passes(case: Case) -> PassPlan:
    """Return roughing and finishing passes along the bar to the target diameter.

    Parameters
    ----------
    case : Case
        With ``work.target_diameter_mm``; passes already made count.

    Returns
    -------
    PassPlan
        Not feasible, with why and what would help, where no such plan is inside the
        limits. Without steps where the size is reached already.

    Notes
    -----
    Not to be trusted for: shoulders, bores, faces; seconds leave out all handling.

    References
    ----------
    [navedtra] for cooling and measuring before the last cuts; the two equal last cuts are
    common practice.
    """
    setup = setup_of(case, case.passes[-1] if case.passes else None)
    diameter = left_diameter_mm(case.passes[-1]) if case.passes else case.work.diameter_mm
    cautions = cautions_for(case)
    target = case.work.target_diameter_mm
    if target is None:
        return _no(cautions, Reason(id="plan-no-target"), ("help-target",), {})
    tolerance = case.work.tolerance_mm
    if abs(diameter - target) <= tolerance:
        return PassPlan(feasible=True, cautions=cautions)
    if diameter < target:
        return _no(cautions, Reason(id="plan-larger"), (), {})
    job, refusal = _in_divisions(case, setup, diameter, target)
    if job is None:
        return _no(cautions, refusal, ("help-dial", "help-tolerance"), _named(setup, case))
    return _passes(job, cautions)


def _named(setup: Setup, case: Case) -> dict[str, Quantity | str]:
    return {
        "metal": setup.metal.name,
        "tolerance": Quantity(case.work.tolerance_mm, "mm"),
        "stickout": Quantity(setup.stickout_mm, "mm"),
        "nose": Quantity(setup.edge.re_mm, "mm"),
        "overhang": Quantity(setup.edge.overhang_mm, "mm"),
        "step": Quantity(setup.lathe.dial.step_mm, "mm"),
    }


def _no(
    cautions: tuple[Reason, ...],
    why: Reason,
    helps: tuple[str, ...],
    named: dict[str, Quantity | str],
) -> PassPlan:
    return PassPlan(
        feasible=False,
        cautions=cautions,
        why_not=why,
        would_help=tuple(Reason(id=key, values=named) for key in helps),
    )


def _in_divisions(
    case: Case, setup: Setup, diameter_mm: float, target_mm: float
) -> tuple[_Job | None, Reason]:
    step = setup.lathe.dial.step_mm
    left = (diameter_mm - target_mm) / 2.0
    total = round(left / step)
    named = _named(setup, case)
    refused = Reason(id="plan-dial", values=named)
    if total < 1 or abs(left - total * step) > case.work.tolerance_mm / 2.0 + _ROUNDING:
        return None, refused
    last = case.passes[-1] if case.passes else None
    feed = cut_state(setup, last.cut).feed_mm_rev if last else None
    rz = min(roughness_um(setup, feed), 100.0) if feed else 0.0
    job = _Job(
        case=case, setup=setup, step_mm=step, start_mm=diameter_mm, total=total, rz_um=rz
    )
    return job, refused


def _passes(job: _Job, cautions: tuple[Reason, ...]) -> PassPlan:
    """Return the plan for the first finishing depth that leads to one, shallow ones first."""
    refusal: tuple[Reason, tuple[LimitCheck, ...]] | None = None
    floor = floor_mm(job.setup, job.stock(0, job.rz_um), finishing=False)
    least = max(1, math.ceil(floor / job.step_mm - _ROUNDING))
    if job.total < least:
        named = _named(job.setup, job.case)
        named["left"] = Quantity(job.total * job.step_mm, "mm")
        named["floor"] = Quantity(floor, "mm")
        why = Reason(id="plan-too-little", values=named)
        return _no(cautions, why, ("help-tolerance",), named)
    for pair in _finishing_pairs(job, least):
        steps, refused = _with_finish(job, pair)
        if steps:
            return PassPlan(feasible=True, steps=tuple(steps), cautions=cautions)
        refusal = refusal or refused
    why, broken = refusal or (Reason(id="plan-dial", values=_named(job.setup, job.case)), ())
    return _no(cautions, why, _helps(job, broken), _named(job.setup, job.case))


def _finishing_pairs(job: _Job, least: int) -> list[tuple[int, ...]]:
    """Return candidates for the last cuts in divisions: two alike, or one where two rub."""
    most = min(job.total // 2, math.ceil(_MOST_FLOORS * least))
    if job.total < 2 * least:
        return [(job.total,)]
    span = range(least, most + 1)
    stride = max(1, len(span) // _FINISH_TRIES)
    pairs: list[tuple[int, ...]] = [(k, k) for k in span[::stride]]
    if job.total <= 2 * _SHARED_FLOORS * least:  # nothing to rough: the two share it
        pairs.insert(0, (job.total - job.total // 2, job.total // 2))
    return pairs


def _with_finish(
    job: _Job, last: tuple[int, ...]
) -> tuple[list[PlanStep], tuple[Reason, tuple[LimitCheck, ...]] | None]:
    """Return all steps with these last cuts, or why there are none."""
    rough_total = job.total - sum(last)
    if (
        0
        < rough_total
        < max(1, math.ceil(job.setup.metal.finishing_floor_mm.value / job.step_mm))
    ):
        return [], None
    finest = roughness_um(job.setup, feeds_for(job.setup.lathe, "along")[0])
    tried = _finish(job, last, rough_total, min(finest, 100.0) if rough_total else job.rz_um)
    if isinstance(tried, tuple):  # cheap to know before the roughing is worked out
        return [], tried
    rough: list[PlanStep] = []
    taken, rz = 0, job.rz_um
    while taken < rough_total:
        found = _deepest(job, taken, rough_total - taken, rz)
        if isinstance(found, tuple):
            return [], found
        rough.append(_step(job, "rough", found, taken, rz))
        taken += round(found.depth_mm / job.step_mm)
        rz = min(roughness_um(job.setup, found.feed_mm_rev or 0.0), 100.0)
    tail = _finish(job, last, taken, rz)
    if isinstance(tail, tuple):
        return [], tail
    return [*rough, *_between(job, taken, bool(rough)), *tail], None


def _deepest(
    job: _Job, taken: int, rest: int, rz_um: float
) -> Cut | tuple[Reason, tuple[LimitCheck, ...]]:
    """Return the roughing cut that takes the rest in fewest even cuts, or why there is none."""
    stock = job.stock(taken, rz_um)
    wish = _wish(job, taken, stock)
    best: Cut | None = None
    for feed in _feeds_down(job.setup, wish):
        for speed in _speeds_down(job.setup, wish):
            cut = replace(wish, feed_mm_rev=feed, spindle_rev_min=speed)
            depth = _even_depth(job, cut, stock, rest)
            if depth and (best is None or depth > best.depth_mm + _ROUNDING):
                best = replace(cut, depth_mm=depth)
        if best is not None and best.depth_mm >= 0.5 * wish.depth_mm:
            break
    if best is not None:
        return best
    floor = max(1, math.ceil(job.setup.metal.finishing_floor_mm.value / job.step_mm))
    tried = replace(wish, depth_mm=round(min(rest, floor) * job.step_mm, 6))
    return _refused(job, "plan-rough", tried, stock)


def _even_depth(job: _Job, cut: Cut, stock: Stock, rest: int) -> float:
    """Return the deepest legal even share of the rest, mm; 0 where none is legal."""
    deepest = max(1, round(cut.depth_mm / job.step_mm))
    fewest = math.ceil(rest / deepest)
    for count in range(fewest, min(rest, fewest + 25) + 1):
        share = math.ceil(rest / count)
        depth = round(share * job.step_mm, 6)
        if depth < job.setup.metal.finishing_floor_mm.value - _ROUNDING:
            return 0.0
        if is_legal(job.setup, replace(cut, depth_mm=depth), stock):
            return depth
    return 0.0


def _wish(job: _Job, taken: int, stock: Stock) -> Cut:
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


def _finish(
    job: _Job, last: tuple[int, ...], taken: int, rz_um: float
) -> list[PlanStep] | tuple[Reason, tuple[LimitCheck, ...]]:
    """Return the last cuts with measuring between them, or why they cannot be made."""
    out: list[PlanStep] = []
    for place, divisions in enumerate(last):
        final = place == len(last) - 1
        stock = job.stock(taken, rz_um)
        cut = _finishing_cut(job, taken, divisions, stock)
        if isinstance(cut, tuple):
            return cut
        out.append(_step(job, "finish" if final else "semi", cut, taken, rz_um))
        taken += divisions
        rz_um = min(roughness_um(job.setup, cut.feed_mm_rev or 0.0), 100.0)
        diameter = job.diameter_mm(taken)
        note = Reason(id="plan-measure-last" if final else "plan-measure")
        out.append(_pause("measure", diameter, note))
    return out


def _finishing_cut(
    job: _Job, taken: int, divisions: int, stock: Stock
) -> Cut | tuple[Reason, tuple[LimitCheck, ...]]:
    setup, diameter = job.setup, job.diameter_mm(taken)
    wish = starting_wish(setup, stock, diameter, job.case.work.cut_length_mm)
    wish = replace(wish, depth_mm=round(divisions * job.step_mm, 6))
    feeds = _finishing_feeds(job)
    for feed in feeds:
        for speed in _speeds_down(setup, wish):
            cut = replace(wish, feed_mm_rev=feed, spindle_rev_min=speed)
            if is_legal(setup, cut, stock):
                return cut
    return _refused(job, "plan-finish", replace(wish, feed_mm_rev=feeds[0]), stock)


def _finishing_feeds(job: _Job) -> list[float]:
    """Return feeds for the last cuts: fine enough for the roughness asked for, coarse first."""
    feeds = feeds_for(job.setup.lathe, "along")
    wanted = job.case.work.roughness_rz_um
    most = job.setup.metal.start_feed_mm_rev.value
    if wanted is not None and job.setup.edge.re_mm > 0.0:
        most = min(most, math.sqrt(8.0 * job.setup.edge.re_mm * wanted / 1000.0))
    else:
        most = min(most, rule_value("finish", "feed_mm_rev"))
    fine = [f for f in reversed(feeds) if f <= most * 1.05]
    return [*fine[:6], *(f for f in feeds if f > most * 1.05)][:8]


def _refused(
    job: _Job, reason: str, cut: Cut, stock: Stock
) -> tuple[Reason, tuple[LimitCheck, ...]]:
    broken = broken_limits(job.setup, cut, stock)
    named = _named(job.setup, job.case)
    named["diameter"] = Quantity(cut.diameter_mm, "mm")
    worst = broken[0] if broken else None
    named["limit"] = worst.limit if worst else "no setting"
    named["value"] = Quantity(worst.value, worst.unit) if worst else ""
    named["bound"] = Quantity(worst.bound, worst.unit) if worst else ""
    return Reason(id=reason, values=named), tuple(broken)


def _helps(job: _Job, broken: tuple[LimitCheck, ...]) -> tuple[str, ...]:
    names = {check.limit for check in broken}
    out: list[str] = []
    if names & {"deflection", "diameter error", "stick-out over diameter"}:
        out += [] if job.setup.holding != "chuck" else ["help-centre"]
        out += ["help-shorter", "help-nose"]
        if job.setup.holding != "chuck":
            out.append("help-steady")
    if names & {"tool bending", "tool overhang over shank"}:
        out.append("help-tool")
    if job.setup.edge.condition != "fresh":
        out.append("help-sharp")
    return (*out, "help-tolerance")


def _between(job: _Job, taken: int, roughed: bool) -> list[PlanStep]:  # noqa: FBT001 - private
    """Return cooling and measuring between roughing and the last cuts."""
    if not roughed:
        return []
    diameter = job.diameter_mm(taken)
    rise = rule_value("finish", "warm_rise_k")
    growth = thermal_growth_mm(diameter, rise, job.setup.metal.expansion_1e6_k.value)
    out = []
    if growth > job.case.work.tolerance_mm / 10.0:
        named: dict[str, Quantity | str] = {
            "rise": f"{rise:.0f}",
            "growth": Quantity(growth, "mm"),
        }
        note = Reason(id="plan-cool", values=named, sources=("callister", "navedtra"))
        out.append(_pause("cool", diameter, note))
    return [*out, _pause("measure", diameter, Reason(id="plan-measure"))]


def _pause(kind: str, diameter_mm: float, note: Reason) -> PlanStep:
    return PlanStep(
        kind=kind,  # type: ignore[arg-type]
        diameter_from_mm=diameter_mm,
        diameter_to_mm=diameter_mm,
        note=note,
    )


def _step(job: _Job, kind: str, cut: Cut, taken: int, rz_um: float) -> PlanStep:
    divisions = round(cut.depth_mm / job.step_mm)
    state = cut_state(job.setup, cut)
    # The band of the force is taken as two standard uncertainties: 30 % is its far end.
    u = 0.5 * rule_value("force_band", "share") * state.deflection_mm
    return PlanStep(
        kind=kind,  # type: ignore[arg-type]
        diameter_from_mm=cut.diameter_mm,
        diameter_to_mm=job.diameter_mm(taken + divisions),
        cut=cut,
        dial_divisions=divisions,
        dial_from_touch_off=taken + divisions,
        checks=check_limits(job.setup, cut, job.stock(taken, rz_um)),
        deflection_mm=(state.deflection_mm, u),
        diameter_error_mm=(2.0 * state.deflection_mm, 2.0 * u),
        seconds=turning_time_s(cut.length_mm, cut.spindle_rev_min, state.feed_mm_rev),
        note=Reason(id="plan-shoulder") if kind == "finish" else None,
    )
