"""What this lathe can be set to, and the legal setting nearest to a wish.

Cuts are compared on the scale a machinist thinks in: by ratio, not by difference.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from advisor.lathes import feeds_for, settable_speeds, snap_speed
from advisor.limits import is_legal, nearest_feed, setup_allows

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from advisor.limits import Stock
    from advisor.records import Cut
    from advisor.state import Setup

__all__ = [
    "depths_for",
    "nearest_legal",
    "settings_for",
    "snap",
    "with_setting",
]

FIELDS: Final = {"speed": "spindle_rev_min", "feed": "feed_mm_rev", "depth": "depth_mm"}
_MOST_DEPTHS = 60
#: How many settings of each lever are tried together, first nearby, then far and wide.
_BREADTHS: Final = (
    {"speed": 6, "feed": 6, "depth": 14},
    {"speed": 12, "feed": 12, "depth": 40},
)


def with_setting(cut: Cut, lever: str, value: float) -> Cut:
    """Return the cut with one lever set; setting a feed means power feed."""
    if lever == "feed":
        return replace(cut, feed_mm_rev=value, power_feed=True)
    if lever == "speed":
        return replace(cut, spindle_rev_min=value)
    return replace(cut, depth_mm=value)


def snap(setup: Setup, cut: Cut) -> Cut:
    """Return a stated cut as this lathe is really set: nearest step, whole divisions."""
    depth = cut.depth_mm
    if cut.direction not in {"plunge", "part off"}:
        step = setup.lathe.dial.step_mm
        depth = round(max(1, round(depth / step)) * step, 6)
    return replace(
        cut,
        spindle_rev_min=snap_speed(setup.lathe, cut.spindle_rev_min),
        feed_mm_rev=nearest_feed(setup, cut),
        depth_mm=depth,
    )


def depths_for(setup: Setup, cut: Cut, stock: Stock) -> tuple[float, ...]:
    """Return the depths on the dial that may come into question, rising."""
    if cut.direction in {"plunge", "part off"}:
        return (cut.depth_mm,)
    step = setup.lathe.dial.step_mm
    most = max(setup.metal.depth_mm.high, 1.5 * cut.depth_mm)
    most = min(most, 0.45 * cut.diameter_mm)
    if stock.left_mm is not None:
        most = min(most, max(stock.left_mm, 0.0) + stock.tolerance_mm / 2.0)
    last = int(most / step + 1e-6)
    if last < 1:
        return ()
    numbers: Iterable[int] = range(1, last + 1)
    if last > _MOST_DEPTHS:
        ratio = last ** (1.0 / (_MOST_DEPTHS - 1))
        numbers = {min(last, math.ceil(ratio**k)) for k in range(_MOST_DEPTHS)}
        present = round(cut.depth_mm / step)
        numbers |= {present, round(1.5 * present)} & set(range(1, last + 1))
        if stock.left_mm is not None:
            size = round(stock.left_mm / step)
            least = math.ceil(setup.metal.finishing_floor_mm.value / step)
            extra = {size, size // 2, size - least, least}
            numbers |= extra & set(range(1, last + 1))
    return tuple(round(k * step, 6) for k in sorted(numbers))


def settings_for(setup: Setup, cut: Cut, stock: Stock, lever: str) -> tuple[float, ...]:
    """Return everything that a lever can be set to, rising."""
    if lever == "speed":
        return settable_speeds(setup.lathe)
    if lever == "feed":
        return feeds_for(setup.lathe, cut.direction)
    return depths_for(setup, cut, stock)


def _present(cut: Cut, lever: str) -> float | None:
    value = getattr(cut, FIELDS[lever])
    return None if value is None else float(value)


def _distance(value: float, wish: float | None) -> float:
    return 0.0 if wish is None else math.log(value / wish) ** 2


def _some(values: Sequence[float], wish: float | None, count: int) -> list[float]:
    """Return so many of the values: half of them the nearest, half spread over all."""
    near = sorted(values, key=lambda v: _distance(v, wish))
    if len(near) <= count:
        return near
    half = count // 2
    stride = (len(values) - 1) / max(1, count - half - 1)
    spread = [values[round(k * stride)] for k in range(count - half)]
    return sorted({*near[:half], *spread}, key=lambda v: _distance(v, wish))


def nearest_legal(
    setup: Setup, wish: Cut, stock: Stock, *, levers: Sequence[str] = ("speed", "feed", "depth")
) -> Cut | None:
    """Return the legal cut nearest to a wish when only some levers may move.

    Parameters
    ----------
    setup : Setup
    wish : Cut
        What one would set if nothing stood in the way.
    stock : Stock
    levers : sequence of str
        Levers that may move; the others stay as they are.

    Returns
    -------
    Cut or None
        None when none of the settings tried is inside every hard limit.
    """
    if is_legal(setup, wish, stock):
        return wish
    if not setup_allows(setup, wish):
        return None
    full = {lever: settings_for(setup, wish, stock, lever) for lever in levers}
    for breadth in _BREADTHS:
        count = {k: 400 if len(levers) == 1 else v for k, v in breadth.items()}
        options = {
            lever: _some(values, _present(wish, lever), count[lever])
            for lever, values in full.items()
        }
        for cut in _by_distance(wish, options):
            if is_legal(setup, cut, stock):
                return cut
        if all(len(options[lever]) == len(full[lever]) for lever in levers):
            return None
    return None


def _by_distance(wish: Cut, options: dict[str, list[float]]) -> list[Cut]:
    cuts = [(0.0, wish)]
    for lever, values in options.items():
        present = _present(wish, lever)
        cuts = [
            (cost + _distance(value, present), with_setting(cut, lever, value))
            for cost, cut in cuts
            for value in values
        ]
    cuts.sort(key=lambda pair: pair[0])
    return [cut for _, cut in cuts]
