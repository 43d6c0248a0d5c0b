"""Thickness of the chip over the passes of a job, and whether it grows at unchanged settings.

A worn edge thickens its chip, dry or under oil. Only passes at the same settings, with the
same edge and the same way of measuring are set beside each other; a look at the edge
begins a new row.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot
from statistics import median_low
from typing import TYPE_CHECKING, Final, Literal, TypeAlias

from advisor.gauges import thickness_gauge
from advisor.tables import rule_value
from advisor.thickness import is_thicker, same_before, thickness_in

if TYPE_CHECKING:
    from advisor.records import Case
    from advisor.thickness import ChipThickness, Pair

__all__ = ["ThicknessPoint", "ThicknessTrend", "thickness_trend"]

State: TypeAlias = Literal["none", "first", "steady", "watch", "thicker", "looked"]
_TWO_U: Final = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ThicknessPoint:
    """One pass with a measured chip; ``before_mm`` is what it is compared with.

    From ``call_mm`` on the edge is called, where the doubt of the measuring allows it.
    ``state``: "first" of a row, "steady", "watch" (thicker by more than the measuring
    explains, not yet by enough to call the edge), "thicker" (the edge is called).
    """

    number: int
    thick: ChipThickness
    ratio: Pair | None
    before_mm: float | None
    call_mm: float | None
    state: State


@dataclass(frozen=True, slots=True, kw_only=True)
class ThicknessTrend:
    """The measured passes of a job; ``state`` is that of the last pass of all."""

    state: State
    points: tuple[ThicknessPoint, ...]


def thickness_trend(case: Case) -> ThicknessTrend:
    """Return how the chip thickness of a job went.

    Returns
    -------
    ThicknessTrend
        ``state`` is "none" where the last pass has no thickness, "looked" where it was
        thicker and the edge was looked at since.

    Notes
    -----
    The sign is that of the advice (``edge-suspect-thick``), so that page and advice agree.
    Not to be trusted for: a built-up edge, which comes and goes and thickens the chip too.
    """
    points = []
    for number in range(len(case.passes)):
        here = thickness_in(case, number)
        if here is None:
            continue
        earlier = [thickness_in(case, n) for n in same_before(case, number)]
        known = [t for t in earlier if t is not None and t.way == here.way]
        before = median_low(t.mm for t in known) if known else None
        sign = rule_value("chip", "thicker_is_a_sign")
        gauge = thickness_gauge(case, number)
        points.append(
            ThicknessPoint(
                number=number + 1,
                thick=here,
                ratio=None if gauge is None else gauge.ratio,
                before_mm=before,
                call_mm=None if before is None else sign * before,
                state=_state(here, known),
            )
        )
    return ThicknessTrend(state=_last(case, points), points=tuple(points))


def _state(here: ChipThickness, known: list[ChipThickness]) -> State:
    if not known:
        return "first"
    if is_thicker(here, known):
        return "thicker"
    doubt = hypot(here.u_mm, max(t.u_mm for t in known))
    clear = here.mm - median_low(t.mm for t in known) > _TWO_U * doubt
    return "watch" if clear else "steady"


def _last(case: Case, points: list[ThicknessPoint]) -> State:
    if not points or points[-1].number != len(case.passes):
        return "none"
    state = points[-1].state
    looked = case.passes[-1].edge_looked_at != "not yet"
    return "looked" if state == "thicker" and looked else state
