"""Hard limits and recommended ranges of one cut, with the worst case of the force band.

A hard limit is never passed by a next cut or a plan. A recommended range only shows.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal, NamedTuple

from advisor.lathes import available_torque_n_m, can_run, feeds_for, nearest, settable_speeds
from advisor.records import LimitCheck
from advisor.state import (
    CutState,
    Setup,
    cut_state,
    diameter_after_mm,
    roughness_um,
    speed_span,
)
from advisor.tables import rule, source_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from advisor.records import Cut, Severity

__all__ = [
    "Stock",
    "broken_limits",
    "check_limits",
    "check_recommended",
    "first_broken",
    "floor_mm",
    "is_finishing",
    "is_legal",
    "nearest_feed",
    "setup_allows",
    "worst_share",
]

_RADIAL = ("plunge", "part off")
_NEAR = 0.8  # within a fifth of the bound, as the advice promises
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    """What is left to cut, on the side; ``left_mm`` is None where there is no target."""

    left_mm: float | None
    tolerance_mm: float
    bar_mm: float
    previous_rz_um: float = 0.0
    last_two: bool = False
    """Whether the cut is planned as one of the last two."""


class _Measure(NamedTuple):
    limit: str
    value: float
    bound: float
    kind: Literal["max", "min"]
    unit: str
    source: str


def floor_mm(
    setup: Setup, stock: Stock, *, finishing: bool, deflection_mm: float = 0.0
) -> float:
    """Return the least depth on the side that cuts rather than rubs, mm.

    The metal's own floor; on finishing cuts also twice the expected deflection and what
    the cut before left (roughness and run-out).
    """
    floor = setup.metal.finishing_floor_mm.value
    if not finishing:
        return floor
    springs = rule("deflection", "finish_times_expected").value * deflection_mm
    rough = stock.previous_rz_um / 1000.0 + rule("finish", "run_out_mm").value
    return max(floor, springs, rough)


def is_finishing(setup: Setup, cut: Cut, stock: Stock) -> bool:
    """Return whether a cut is one of the last two: it leaves no two more that would cut.

    Before that the error a cut leaves is taken out by the ones after it.
    """
    if stock.left_mm is None:
        return False
    left = stock.left_mm - cut.depth_mm
    return stock.last_two or left < 2.0 * setup.metal.finishing_floor_mm.value - _ROUNDING


def _measures(setup: Setup, cut: Cut, stock: Stock) -> Iterator[_Measure]:
    state = cut_state(setup, cut)
    band = 1.0 + rule("force_band", "share").value
    if cut.direction in {"along", "bore"} and stock.left_mm is not None:
        yield from _left(setup, cut, stock.left_mm, stock.tolerance_mm / 2.0)
    yield from _machine(setup, cut, state, band)
    yield from _holding(setup, cut, state, band)
    if cut.direction in {"along", "bore"}:
        yield from _depth(setup, cut, stock, state, band)
    else:
        bend = rule("deflection", "rough_mm")
        yield _Measure(
            "deflection", band * state.deflection_mm, bend.value, "max", "mm", bend.source
        )
    least = setup.thinnest_mm
    chip = state.section.thickness_mm
    yield _Measure("chip thickness", chip, least, "min", "mm", "hmin-reports")


def _machine(setup: Setup, cut: Cut, state: CutState, band: float) -> Iterator[_Measure]:
    lathe = setup.lathe
    power = lathe.power_w * lathe.efficiency
    yield _Measure("cutting power", band * state.power_w, power, "max", "W", "kienzle1957")
    torque = available_torque_n_m(lathe, cut.spindle_rev_min)
    yield _Measure(
        "spindle torque", band * state.torque_n_m, torque, "max", "N m", "kienzle1957"
    )
    speed, chuck = cut.spindle_rev_min, lathe.chuck_max_rev_min
    top = lathe.drive_rev_min[1] if lathe.drive_rev_min else lathe.steps_rev_min[-1]
    yield _Measure("lathe and chuck speed", speed, min(chuck, top), "max", "rev/min", "choice")
    if speed <= min(chuck, top) and not can_run(lathe, speed):
        steps = settable_speeds(lathe)
        bound = max((s for s in steps if s < speed), default=0.0)
        yield _Measure("speed steps", speed, bound, "max", "rev/min", "choice")
    nose = rule("tool", "feed_over_nose")
    if setup.edge.re_mm > 0.0 and cut.direction not in _RADIAL:
        bound = nose.value * setup.edge.re_mm
        yield _Measure(
            "feed over the nose", state.feed_mm_rev, bound, "max", "mm/rev", nose.source
        )
    feeds = feeds_for(lathe, cut.direction)
    if cut.power_feed and cut.feed_mm_rev not in feeds:
        bound = max((f for f in feeds if f < (cut.feed_mm_rev or 0.0)), default=0.0)
        yield _Measure("feed steps", cut.feed_mm_rev or 0.0, bound, "max", "mm/rev", "choice")


def _holding(setup: Setup, cut: Cut, state: CutState, band: float) -> Iterator[_Measure]:
    yield from _reach(setup, cut)
    bend = rule("tool", "bending_mm")
    yield _Measure(
        "tool bending", band * state.tool_bending_mm, bend.value, "max", "mm", bend.source
    )


def _reach(setup: Setup, cut: Cut) -> Iterator[_Measure]:
    ratio = rule("overhang_over_diameter", setup.holding)
    slender = setup.stickout_mm / diameter_after_mm(cut)
    if cut.direction == "bore":  # the bar is thicker than its hole
        slender = setup.stickout_mm / max(setup.work.diameter_mm, cut.diameter_mm)
    yield _Measure("stick-out over diameter", slender, ratio.value, "max", "", ratio.source)
    grip = setup.work.grip_mm
    if grip is not None:
        share = rule("grip_over_stickout", setup.holding)
        yield _Measure(
            "length gripped", grip, share.value * setup.stickout_mm, "min", "mm", share.source
        )
    edge = setup.edge
    if cut.direction in _RADIAL:
        blade = rule("tool", "blade_overhang_over_width")
        width = edge.blade_width_mm or cut.depth_mm
        if cut.direction == "part off" and edge.overhang_given:
            to_centre = cut.diameter_mm / 2.0
            yield _Measure("blade reach", edge.overhang_mm, to_centre, "min", "mm", "geometry")
        yield _Measure(
            "blade overhang over width",
            edge.overhang_mm / width,
            blade.value,
            "max",
            "",
            blade.source,
        )
    else:
        name = "bar_over_shank" if cut.direction == "bore" else "overhang_over_shank"
        out = rule("tool", name)
        shank = edge.overhang_mm / edge.shank_mm
        yield _Measure("tool overhang over shank", shank, out.value, "max", "", out.source)


def setup_allows(setup: Setup, cut: Cut) -> bool:
    """Return whether holding and tool reach are inside their limits for any cut at all.

    These do not depend on a dial, so nobody need search for a setting where they fail.
    """
    thinnest = replace(cut, depth_mm=setup.lathe.dial.step_mm)
    if cut.direction in _RADIAL:
        thinnest = cut
    return not any(_exceeded(m) for m in _reach(setup, thinnest))


def _depth(
    setup: Setup, cut: Cut, stock: Stock, state: CutState, band: float
) -> Iterator[_Measure]:
    finishing = is_finishing(setup, cut, stock)
    floor = floor_mm(setup, stock, finishing=finishing, deflection_mm=state.deflection_mm)
    metal = setup.metal.finishing_floor_mm
    yield _Measure("least depth", cut.depth_mm, floor, "min", "mm", metal.source)
    if finishing:
        error = 2.0 * band * state.deflection_mm
        yield _Measure("diameter error", error, stock.tolerance_mm, "max", "mm", "bansal")
    else:
        share = rule("deflection", "rough_share_of_depth")
        bound = min(share.value * cut.depth_mm, rule("deflection", "rough_mm").value)
        yield _Measure(
            "deflection", band * state.deflection_mm, bound, "max", "mm", share.source
        )
    if stock.left_mm is None and cut.direction == "along":
        thin = rule("finish", "thinnest_bar_share")
        left = diameter_after_mm(cut)
        yield _Measure("bar left", left, thin.value * stock.bar_mm, "min", "mm", "choice")


def _left(setup: Setup, cut: Cut, left_mm: float, slack_mm: float) -> Iterator[_Measure]:
    """Yield that no cut takes more than is left, nor leaves a rest too thin to cut."""
    most = left_mm + 0.5 * slack_mm  # aim at the size, not at the end of its tolerance
    yield _Measure("stock left", cut.depth_mm, most, "max", "mm", "geometry")
    rest = left_mm - cut.depth_mm
    if rest > slack_mm:
        floor = setup.metal.finishing_floor_mm
        yield _Measure("remainder", rest, floor.value, "min", "mm", floor.source)


def _recommended(setup: Setup, cut: Cut, stock: Stock) -> Iterator[_Measure]:
    state = cut_state(setup, cut)
    _, high, source = speed_span(setup, cut.direction)
    yield _Measure("table speed", state.speed_m_min, high, "max", "m/min", source)
    if cut.direction in {"along", "bore"} and not is_finishing(setup, cut, stock):
        nose = rule("finish", "nose_times")
        bound = nose.value * setup.edge.re_mm
        yield _Measure("depth over the nose", cut.depth_mm, bound, "min", "mm", nose.source)
    wanted = setup.work.roughness_rz_um
    if wanted is not None and is_finishing(setup, cut, stock):
        height = min(roughness_um(setup, state.feed_mm_rev), 1e4)
        yield _Measure("roughness", height, wanted, "max", "um", "ghosh1985")


def _exceeded(m: _Measure) -> bool:
    if m.kind == "max":
        return m.value > m.bound * (1.0 + _ROUNDING) + _ROUNDING
    return m.value < m.bound * (1.0 - _ROUNDING) - _ROUNDING


def _severity(m: _Measure) -> Severity:
    if _exceeded(m):
        return "exceeded"
    near = m.value >= _NEAR * m.bound if m.kind == "max" else _NEAR * m.value <= m.bound
    return "near" if near else "ok"


def check_limits(setup: Setup, cut: Cut, stock: Stock) -> tuple[LimitCheck, ...]:
    """Return every hard limit of a cut with how near it is."""
    return _as_checks(_measures(setup, cut, stock))


def check_recommended(setup: Setup, cut: Cut, stock: Stock) -> tuple[LimitCheck, ...]:
    """Return recommended ranges of a cut; passing one is advice, never a limit."""
    return _as_checks(_recommended(setup, cut, stock))


def _as_checks(measures: Iterable[_Measure]) -> tuple[LimitCheck, ...]:
    return tuple(
        LimitCheck(
            limit=m.limit,
            value=m.value,
            bound=m.bound,
            kind=m.kind,
            unit=m.unit,
            severity=_severity(m),
            source=source_text(m.source),
        )
        for m in measures
    )


def is_legal(setup: Setup, cut: Cut, stock: Stock) -> bool:
    """Return whether a cut is inside every hard limit."""
    return not any(_exceeded(m) for m in _measures(setup, cut, stock))


def first_broken(setup: Setup, cut: Cut, stock: Stock) -> str | None:
    """Return the first hard limit that a cut breaks, in the order they are checked."""
    return next((m.limit for m in _measures(setup, cut, stock) if _exceeded(m)), None)


def broken_limits(setup: Setup, cut: Cut, stock: Stock) -> list[LimitCheck]:
    """Return the hard limits that a cut breaks, worst first."""
    broken = [c for c in check_limits(setup, cut, stock) if c.severity == "exceeded"]
    return sorted(broken, key=worst_share, reverse=True)


def worst_share(check: LimitCheck) -> float:
    """Return how far a limit is passed: 1 is just at it, larger is worse."""
    small = 1e-6
    over, under = (
        (check.value, check.bound) if check.kind == "max" else (check.bound, check.value)
    )
    return max(over, small) / max(under, small)


def nearest_feed(setup: Setup, cut: Cut) -> float | None:
    """Return the power feed that a stated feed means, or the feed itself."""
    if cut.feed_mm_rev is None or not cut.power_feed:
        return cut.feed_mm_rev
    return nearest(feeds_for(setup.lathe, cut.direction), cut.feed_mm_rev)
