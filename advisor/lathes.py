"""The lathe of a case: what is given, what is assumed, and what it can be set to."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from advisor import terms
from advisor.errors import CaseInvalid
from advisor.fields import Fields, as_list
from advisor.force import torque_at_power_n_m
from advisor.records import Dial, Lathe, SpeedRange
from advisor.tables import assumed_value

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = [
    "available_torque_n_m",
    "can_run",
    "feeds_for",
    "nearest",
    "parse_lathe",
    "range_in_use",
    "settable_speeds",
    "snap_speed",
]

_LATHE = (
    "power_w",
    "efficiency",
    "spindle_rev_min",
    "ranges",
    "chuck_max_rev_min",
    "feeds_mm_rev",
    "cross_feeds_mm_rev",
    "feed_change",
    "dial",
    "stiffness_n_um",
)
#: A variable drive is set to whole tens; finer steps drift with the load anyway.
DRIVE_STEP_REV_MIN = 10.0
#: Ratio of neighbouring speeds that are tried on a variable drive.
DRIVE_RATIO = 1.06
#: A speed or feed this near to a step is that step: plates are rounded.
SAME_STEP = 0.03


def parse_lathe(value: object, assumed: list[str]) -> Lathe:
    """Return the lathe of a case; ``assumed.toml`` fills in what may be missing."""
    fields = Fields(value, "lathe", allowed=_LATHE, assumed=assumed)
    steps, drive = _speeds(fields)
    top = drive[1] if drive else steps[-1]
    feeds = fields.numbers(
        "feeds_mm_rev", low=0.001, high=5, do="Read the feeds off the plate."
    )
    cross = fields.raw("cross_feeds_mm_rev")
    if cross is None:
        fields.note("cross_feeds_mm_rev")
        cross_feeds = tuple(
            round(assumed_value("lathe", "cross_feed_share") * f, 4) for f in feeds
        )
    else:
        cross_feeds = fields.numbers("cross_feeds_mm_rev", low=0.0005, high=5, do="Or null.")
    return Lathe(
        steps_rev_min=steps,
        drive_rev_min=drive,
        ranges=_ranges(fields, steps, drive),
        power_w=fields.assume(
            "power_w", low=10, high=100_000, default=assumed_value("lathe", "power_w")
        ),
        efficiency=fields.assume(
            "efficiency", low=0.1, high=1.0, default=assumed_value("lathe", "efficiency")
        ),
        chuck_max_rev_min=fields.assume("chuck_max_rev_min", low=10, high=50_000, default=top),
        feeds_mm_rev=feeds,
        cross_feeds_mm_rev=cross_feeds,
        feed_change=fields.word("feed_change", terms.FEED_CHANGES, default="lever"),
        dial=_dial(fields),
        stiffness_n_um=fields.assume(
            "stiffness_n_um",
            low=0.2,
            high=500,
            default=assumed_value("lathe", "stiffness_n_um"),
        ),
    )


def _speeds(fields: Fields) -> tuple[tuple[float, ...], tuple[float, float] | None]:
    do = "Give the list of speeds, or {“from”, “to”} for a variable drive."
    value = fields.raw("spindle_rev_min")
    if isinstance(value, dict):
        path = fields.at("spindle_rev_min")
        span = Fields(value, path, allowed=("from", "to"), assumed=[])
        low = span.number("from", low=1, high=50_000, do=do)
        high = span.number("to", low=1, high=50_000, do=do)
        if low >= high:
            raise CaseInvalid(path, "has its low end at or above its high end.", do)
        return (), (low, high)
    return fields.numbers("spindle_rev_min", low=1, high=50_000, do=do), None


def _ranges(
    fields: Fields, steps: tuple[float, ...], drive: tuple[float, float] | None
) -> tuple[SpeedRange, ...]:
    if fields.raw("ranges") is None:
        if drive is None:
            return ()
        fields.note("ranges")
        return (SpeedRange(low=drive[0], high=drive[1], rated_rev_min=sum(drive) / 2.0),)
    out = []
    for place, item in enumerate(
        as_list(fields.raw("ranges"), fields.at("ranges"), longest=20)
    ):
        path = f"{fields.at('ranges')}[{place}]"
        span = Fields(item, path, allowed=("from", "to", "rated_rev_min"), assumed=[])
        low = span.number("from", low=1, high=50_000, do="Give both ends of the range.")
        high = span.number("to", low=1, high=50_000, do="Give both ends of the range.")
        if low >= high:
            raise CaseInvalid(path, "has its low end at or above its high end.", "Swap them.")
        rated = span.maybe("rated_rev_min", low=1, high=50_000)
        out.append(SpeedRange(low=low, high=high, rated_rev_min=rated or (low + high) / 2.0))
    speeds = steps or (drive or ())
    if out and not any(r.low <= s <= r.high for s in speeds for r in out):
        raise CaseInvalid(
            fields.at("ranges"), "hold none of the lathe's speeds.", "Check both fields."
        )
    return tuple(sorted(out, key=lambda r: (r.rated_rev_min, r.low)))


def _dial(fields: Fields) -> Dial:
    value = fields.raw("dial")
    if value is None:
        fields.note("dial")
        return Dial(mm_per_division=assumed_value("lathe", "dial_mm"), reads="radius")
    dial = Fields(value, fields.at("dial"), allowed=("mm_per_division", "reads"), assumed=[])
    reads = dial.word("reads", ("radius", "diameter"), default="radius")
    return Dial(
        mm_per_division=dial.number(
            "mm_per_division", low=0.001, high=1, do="Read it off the dial."
        ),
        reads="diameter" if reads == "diameter" else "radius",
    )


def range_in_use(lathe: Lathe, spindle_rev_min: float) -> SpeedRange | None:
    """Return the range that gives most torque at a speed; None where there are no ranges."""
    for span in lathe.ranges:  # sorted by rated speed: the first has most torque
        if span.low <= spindle_rev_min <= span.high:
            return span
    return None


def available_torque_n_m(lathe: Lathe, spindle_rev_min: float) -> float:
    """Return the torque at the spindle at a speed, N m.

    Constant below the rated speed of the range in use, since a motor on a drive gives
    no more; power over speed above it, and at every fixed step of gears or belts.
    """
    span = range_in_use(lathe, spindle_rev_min)
    speed = spindle_rev_min if span is None else max(spindle_rev_min, span.rated_rev_min)
    return torque_at_power_n_m(lathe.power_w * lathe.efficiency, speed)


def settable_speeds(lathe: Lathe) -> tuple[float, ...]:
    """Return the spindle speeds to choose from, inside lathe, ranges and chuck, rev/min."""
    if lathe.drive_rev_min is None:
        return tuple(s for s in lathe.steps_rev_min if s <= lathe.chuck_max_rev_min)
    return tuple(s for s in _drive_speeds(*lathe.drive_rev_min) if can_run(lathe, s))


def _drive_speeds(low: float, high: float) -> Iterable[float]:
    count = max(2, 1 + math.ceil(math.log(high / low) / math.log(DRIVE_RATIO)))
    ideal = (low * (high / low) ** (k / (count - 1)) for k in range(count))
    tens = (DRIVE_STEP_REV_MIN * round(s / DRIVE_STEP_REV_MIN) for s in ideal)
    return sorted({min(max(s, low), high) for s in tens})


def can_run(lathe: Lathe, spindle_rev_min: float) -> bool:
    """Return whether the lathe can be set to exactly this speed and the chuck may run it."""
    if spindle_rev_min > lathe.chuck_max_rev_min:
        return False
    if lathe.drive_rev_min is None:
        return spindle_rev_min in lathe.steps_rev_min
    low, high = lathe.drive_rev_min
    inside = low <= spindle_rev_min <= high
    return inside and range_in_use(lathe, spindle_rev_min) is not None


def snap_speed(lathe: Lathe, spindle_rev_min: float) -> float:
    """Return the step that a stated speed means, or the speed itself if there is none."""
    if lathe.drive_rev_min is not None:
        return spindle_rev_min
    return nearest(lathe.steps_rev_min, spindle_rev_min)


def nearest(steps: tuple[float, ...], value: float, *, share: float = SAME_STEP) -> float:
    """Return the step nearest to a value if it is within a share of it, else the value."""
    best = min(steps, key=lambda s: abs(math.log(s / value)))
    return best if abs(best / value - 1.0) <= share else value


def feeds_for(lathe: Lathe, direction: str) -> tuple[float, ...]:
    """Return the power feeds in a direction, mm/rev: long feeds, or cross feeds."""
    return lathe.feeds_mm_rev if direction in {"along", "bore"} else lathe.cross_feeds_mm_rev
