"""What the passes of a job have taught: what was tried, what it did, how springy it all is.

Only moves large enough to show count as tried. The spring of this holding is learned from
what the dial asked for and what the calliper found.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Final

from advisor.parse import left_diameter_mm
from advisor.state import cut_state, setup_of
from advisor.tables import rule_value

if TYPE_CHECKING:
    from collections.abc import Sequence

    from advisor.assess import Mark
    from advisor.records import Case, Cut, PassRecord

__all__ = ["failed_moves", "moved_between", "spring_factor", "was_no_better"]

FIELDS: Final = {"speed": "spindle_rev_min", "feed": "feed_mm_rev", "depth": "depth_mm"}
#: Shares within which a setting counts as one tried before.
_SAME: Final = 0.05
#: A calliper on a bench lathe is good to about a hundredth; less than this is no spring.
_SEEN_MM: Final = 0.01
_MOST_SPRING: Final = 4.0
#: A move helped when the mark fell by this much: a sixth of the chips one step better.
_HELPED: Final = 0.3


def moved_between(before: PassRecord, after: PassRecord) -> list[tuple[str, int]]:
    """Return the levers that moved far enough to show between two passes, and which way."""
    out: list[tuple[str, int]] = []
    for lever, name in FIELDS.items():
        one, other = getattr(before.cut, name), getattr(after.cut, name)
        if one is None or other is None:
            continue
        ratio = other / one
        if lever == "speed":
            ratio *= after.cut.diameter_mm / before.cut.diameter_mm
        shows = rule_value("move", f"shows_{lever}")
        if ratio >= shows:
            out.append((lever, 1))
        elif ratio <= 1.0 / shows:
            out.append((lever, -1))
    if before.cut.coolant != after.cut.coolant:
        out.append(("coolant", 0))
    if before.edge.id != after.edge.id:
        out.append(("edge", 0))
    if (before.holding, before.stickout_mm) != (after.holding, after.stickout_mm):
        out.append(("support", 0))
    return out


def failed_moves(passes: Sequence[PassRecord], marks: Sequence[Mark]) -> list[tuple[str, int]]:
    """Return the single moves of a job that did not help, oldest first."""
    out = []
    pairs = itertools.pairwise(zip(passes, marks, strict=True))
    for (before, mark), (after, new) in pairs:
        moved = moved_between(before, after)
        if len(moved) == 1 and mark.total > 0 and new.total > mark.total - _HELPED:
            out.append(moved[0])
    return out


def was_no_better(
    cut: Cut, present: Cut, passes: Sequence[PassRecord], marks: Sequence[Mark]
) -> bool:
    """Return whether this very cut was made before and had its own fault.

    One step back to a better setting is allowed once; back and forth is not.
    """
    last = passes[-1]
    been_here = any(_like(record, present, last) for record in passes[:-1])
    return any(
        _like(record, cut, last) and _faulty(mark, marks[-1], been_here=been_here)
        for record, mark in zip(passes, marks, strict=True)
    )


def _faulty(mark: Mark, present: Mark, *, been_here: bool) -> bool:
    if mark.form is None or not mark.total:
        return False
    return been_here or mark.total >= present.total


def _like(record: PassRecord, cut: Cut, last: PassRecord) -> bool:
    made = record.cut
    speed = made.spindle_rev_min * made.diameter_mm
    return (
        made.direction == cut.direction
        and abs(speed / (cut.spindle_rev_min * cut.diameter_mm) - 1.0) <= 2 * _SAME
        and abs((made.feed_mm_rev or 0.0) / (cut.feed_mm_rev or 1.0) - 1.0) <= _SAME
        and abs(made.depth_mm / cut.depth_mm - 1.0) <= _SAME
        and (record.edge.id, record.holding) == (last.edge.id, last.holding)
    )


def spring_factor(case: Case) -> float | None:
    """Return how much more (or less) work and lathe give way than reckoned; None if unknown.

    Over all passes along the bar in the present holding whose diameters before and after
    were measured: what the dial asked for less what came off, over the deflection that was
    reckoned. 1 is as reckoned, 0 is stiffer than a calliper can see, 4 is the most.

    Notes
    -----
    Not to be trusted for: one pass, a dull edge, a bar that was warm when measured, a
    dial with backlash. It takes the bar of the first pass to be as large as the case says.
    """
    if not case.passes:
        return None
    last = case.passes[-1]
    asked = reckoned = 0.0
    for number, record in enumerate(case.passes):
        known = number == 0 or bool(case.passes[number - 1].measured_mm)
        held = (record.holding, record.stickout_mm) == (last.holding, last.stickout_mm)
        if record.cut.direction != "along" or not record.measured_mm or not known or not held:
            continue
        came_off = (record.cut.diameter_mm - left_diameter_mm(record)) / 2.0
        asked += record.cut.depth_mm - came_off
        reckoned += cut_state(setup_of(case, record), record.cut).deflection_mm
    if reckoned <= 0.0:
        return None
    if asked < _SEEN_MM:
        return 0.0
    return min(asked / reckoned, _MOST_SPRING)
