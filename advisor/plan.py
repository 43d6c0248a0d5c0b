"""All passes from the present diameter to the target, on the dial, inside every limit.

Roughing in even cuts as deep as the lathe bears, then the last two cuts equal and each
above the floor, with the bar cooled and measured before them.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from advisor.cautions import cautions_for
from advisor.force import turning_time_s
from advisor.lathes import feeds_for
from advisor.limits import check_limits
from advisor.parse import left_diameter_mm
from advisor.plan_cuts import Job, deepest, finishing_cut, named_of
from advisor.plan_help import helps, longest_mm
from advisor.records import Cut, PassPlan, PlanStep, Quantity, Reason
from advisor.state import Setup, cut_state, roughness_um, setup_of
from advisor.stiffness import thermal_growth_mm
from advisor.tables import rule_value

if TYPE_CHECKING:
    from advisor.records import Case, LimitCheck

__all__ = ["plan_passes"]

_FINISH_TRIES: Final = 8
#: A finishing cut need not be deeper than this many floors.
_MOST_FLOORS: Final = 5.0
#: Up to so many floors each, the last two cuts share all there is without roughing.
_SHARED_FLOORS: Final = 3
#: Two last cuts are alike within a fifth of the deeper one.
_ALIKE: Final = 0.2
_ROUNDING: Final = 1e-6


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
        return _no(cautions, refusal, ("help-dial", "help-tolerance"), named_of(setup, case))
    return _passes(job, cautions)


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
) -> tuple[Job | None, Reason]:
    step = setup.lathe.dial.step_mm
    left = (diameter_mm - target_mm) / 2.0
    total = round(left / step)
    named = named_of(setup, case)
    refused = Reason(id="plan-dial", values=named)
    if total < 1 or abs(left - total * step) > case.work.tolerance_mm / 2.0 + _ROUNDING:
        return None, refused
    last = case.passes[-1] if case.passes else None
    feed = cut_state(setup, last.cut).feed_mm_rev if last else None
    rz = min(roughness_um(setup, feed), 100.0) if feed else 0.0
    job = Job(case=case, setup=setup, step_mm=step, start_mm=diameter_mm, total=total, rz_um=rz)
    return job, refused


def _passes(job: Job, cautions: tuple[Reason, ...]) -> PassPlan:
    """Return the plan for the first finishing depth that leads to one, shallow ones first."""
    refusal: tuple[Reason, tuple[LimitCheck, ...]] | None = None
    if job.total < job.least:
        named = named_of(job.setup, job.case)
        named["left"] = Quantity(job.total * job.step_mm, "mm")
        named["floor"] = Quantity(job.setup.metal.finishing_floor_mm.value, "mm")
        why = Reason(id="plan-too-little", values=named)
        return _no(cautions, why, ("help-tolerance",), named)
    for pair in _finishing_pairs(job):
        steps, refused = _with_finish(job, pair)
        if steps:
            return PassPlan(feasible=True, steps=tuple(steps), cautions=cautions)
        refusal = refusal or refused
    why, broken = refusal or (Reason(id="plan-dial", values=named_of(job.setup, job.case)), ())
    named = named_of(job.setup, job.case)
    named["longest"] = Quantity(longest_mm(job), "mm")
    return _no(cautions, why, helps(job, broken), named)


def _finishing_pairs(job: Job) -> list[tuple[int, ...]]:
    """Return candidates for the last cuts in divisions: two alike, or one where two rub.

    From a comfortable depth on for metals that harden, then down to the floor itself.
    """
    total, least = job.total, job.least
    if total < 2 * least:
        return [(total,)]
    most = min(total // 2, math.ceil(_MOST_FLOORS * least))
    span = range(least, most + 1)
    stride = max(1, len(span) // _FINISH_TRIES)
    first = span[::stride]
    pairs: list[tuple[int, ...]] = [(k, k) for k in (*first, *sorted({*span} - {*first}))]
    if job.setup.metal.hardens:
        better = math.ceil(rule_value("finish", "better_floors") * least)
        pairs.sort(key=lambda pair: pair[0] < better)
    halves = (total - total // 2, total // 2)
    if total <= 2 * _SHARED_FLOORS * least and halves[0] - halves[1] <= _ALIKE * halves[0]:
        pairs.insert(0, halves)  # nothing to rough: the two share it
    if total <= _SHARED_FLOORS * least:
        pairs.append((total,))
    return pairs


def _with_finish(
    job: Job, last: tuple[int, ...]
) -> tuple[list[PlanStep], tuple[Reason, tuple[LimitCheck, ...]] | None]:
    """Return all steps with these last cuts, or why there are none."""
    rough_total = job.total - sum(last)
    if 0 < rough_total < job.least:
        return [], None
    finest = roughness_um(job.setup, feeds_for(job.setup.lathe, "along")[0])
    tried = _finish(job, last, rough_total, min(finest, 100.0) if rough_total else job.rz_um)
    if isinstance(tried, tuple):  # cheap to know before the roughing is worked out
        return [], tried
    rough: list[PlanStep] = []
    taken, rz = 0, job.rz_um
    while taken < rough_total:
        found = deepest(job, taken, rough_total - taken, rz)
        if isinstance(found, tuple):
            return [], found
        rough.append(_roughing(job, found, taken, rz))
        taken += round(found.depth_mm / job.step_mm)
        rz = min(roughness_um(job.setup, found.feed_mm_rev or 0.0), 100.0)
    tail = _finish(job, last, taken, rz)
    if isinstance(tail, tuple):
        return [], tail
    return [*rough, *_between(job, taken, bool(rough)), *tail], None


def _finish(
    job: Job, last: tuple[int, ...], taken: int, rz_um: float
) -> list[PlanStep] | tuple[Reason, tuple[LimitCheck, ...]]:
    """Return the last cuts with measuring between them, or why they cannot be made."""
    out: list[PlanStep] = []
    for place, divisions in enumerate(last):
        final = place == len(last) - 1
        stock = job.stock(taken, rz_um, last_two=True)
        cut = finishing_cut(job, taken, divisions, stock)
        if isinstance(cut, tuple):
            return cut
        out.append(_step(job, "finish" if final else "semi", cut, taken, rz_um))
        taken += divisions
        rz_um = min(roughness_um(job.setup, cut.feed_mm_rev or 0.0), 100.0)
        diameter = job.diameter_mm(taken)
        note = Reason(id="plan-measure-last" if final else "plan-measure")
        out.append(_pause("measure", diameter, note))
    return out


def _roughing(job: Job, cut: Cut, taken: int, rz_um: float) -> PlanStep:
    """Return a roughing step; the first of a job is a trial, on the waste end or counted."""
    if taken or job.case.passes:
        return _step(job, "rough", cut, taken, rz_um)
    waste = job.case.work.waste_end_mm > 0.0
    step = _step(job, "rough" if waste else "trial", cut, taken, rz_um)
    named = {"waste": Quantity(job.case.work.waste_end_mm, "mm")}
    return replace(step, note=Reason(id="plan-waste" if waste else "plan-trial", values=named))


def _between(job: Job, taken: int, roughed: bool) -> list[PlanStep]:  # noqa: FBT001 - private
    """Return cooling and measuring between roughing and the last cuts."""
    if not roughed:
        return []
    diameter = job.diameter_mm(taken)
    rise, alpha = rule_value("finish", "warm_rise_k"), job.setup.metal.expansion_1e6_k
    growth = thermal_growth_mm(diameter, rise, alpha.value)
    longer = thermal_growth_mm(job.setup.stickout_mm, rise, alpha.value)
    centre = "centre" in job.setup.holding
    out = []
    if centre or growth > job.case.work.tolerance_mm / 10.0:
        named: dict[str, Quantity | str] = {
            "rise": f"{rise:.0f}",
            "growth": Quantity(1000.0 * growth, "um"),
            "longer": Quantity(1000.0 * longer, "um"),
            "stickout": Quantity(job.setup.stickout_mm, "mm"),
        }
        reason = "plan-cool-centre" if centre else "plan-cool"
        note = Reason(id=reason, values=named, sources=(alpha.source, "navedtra"))
        out.append(_pause("cool", diameter, note))
    return [*out, _pause("measure", diameter, Reason(id="plan-measure"))]


def _pause(kind: str, diameter_mm: float, note: Reason) -> PlanStep:
    return PlanStep(
        kind=kind,  # type: ignore[arg-type]
        diameter_from_mm=diameter_mm,
        diameter_to_mm=diameter_mm,
        note=note,
    )


def _last_note(job: Job, cut: Cut) -> Reason:
    """Return how to end the last cut, and that it will be rougher than asked where it is."""
    wanted, feed = job.case.work.roughness_rz_um, cut.feed_mm_rev or 0.0
    height = roughness_um(job.setup, feed)
    if wanted is None or height <= wanted:
        return Reason(id="plan-shoulder")
    named = named_of(job.setup, job.case) | {
        "feed": Quantity(feed, "mm/rev"),
        "height": Quantity(height, "um"),
        "wanted": Quantity(wanted, "um"),
    }
    return Reason(id="plan-rougher", values=named, sources=("ghosh1985", "brammertz1961"))


def _step(job: Job, kind: str, cut: Cut, taken: int, rz_um: float) -> PlanStep:
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
        checks=check_limits(
            job.setup, cut, job.stock(taken, rz_um, last_two=kind in {"semi", "finish"})
        ),
        deflection_mm=(state.deflection_mm, u),
        diameter_error_mm=(2.0 * state.deflection_mm, 2.0 * u),
        seconds=turning_time_s(cut.length_mm, cut.spindle_rev_min, state.feed_mm_rev),
        note=_last_note(job, cut) if kind == "finish" else None,
    )
