"""What this lathe can be set to, and the legal setting nearest to a wish.

Cuts are compared on the scale a machinist thinks in: by ratio, not by difference.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from advisor.history import FIELDS
from advisor.lathes import can_run, feeds_for, nearest, settable_speeds, snap_speed
from advisor.limits import first_broken, is_legal, nearest_feed, setup_allows
from advisor.state import thickness_mm

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

#: Limits that more feed or depth at the same speed can only break further.
_FORCED: Final = ("cutting power", "spindle torque", "tool bending")
#: Limits that one lever breaks whatever the others are set to.
_ALONE: Final = {
    "stock left": "depth",
    "remainder": "depth",
    "bar left": "depth",
    "lathe and chuck speed": "speed",
    "speed steps": "speed",
    "feed steps": "feed",
    "feed over the nose": "feed",
}
_MOST_DEPTHS = 60
#: How many settings of each lever are tried together: half nearby, half far and wide.
_BREADTH: Final = {"speed": 8, "feed": 6, "depth": 16}


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
    if "speed" in full and can_run(setup.lathe, wish.spindle_rev_min):
        full["speed"] = tuple(sorted({*full["speed"], wish.spindle_rev_min}))
    if len(levers) == 1:
        return _nearest_of(setup, wish, stock, {k: list(v) for k, v in full.items()})
    gentle = _gentlest(setup, wish, stock, full)
    if gentle is None:
        return None
    options = {k: _some(v, _present(wish, k), _BREADTH[k]) for k, v in full.items()}
    return _nearest_of(setup, wish, stock, options) or gentle


def _gentlest(
    setup: Setup, wish: Cut, stock: Stock, full: dict[str, tuple[float, ...]]
) -> Cut | None:
    """Return a legal cut with the least feed that still cuts at its depth, or None.

    Every force grows with the feed, so where the thinnest chip that still cuts is too much
    at a depth, no other feed is legal there; that spares a search through all levers where
    nothing is legal. Of the speeds only the slowest, the fastest and those where torque
    turns to power matter.
    """
    speeds = full.get("speed") or (wish.spindle_rev_min,)
    feeds = full.get("feed", ()) if wish.power_feed else ()
    turns = {nearest(speeds, span.rated_rev_min, share=math.inf) for span in setup.lathe.ranges}
    best: tuple[float, Cut] | None = None
    for depth in full.get("depth") or (wish.depth_mm,):
        deep = replace(wish, depth_mm=depth)
        feed = next(
            (f for f in feeds if thickness_mm(setup, deep, f) >= setup.thinnest_mm), None
        )
        if feeds and feed is None:
            continue
        cost = _distance(depth, wish.depth_mm)
        if best is not None and cost >= best[0]:
            continue
        for speed in {speeds[0], speeds[-1], *turns}:
            cut = replace(deep, spindle_rev_min=speed)
            cut = cut if feed is None else with_setting(cut, "feed", feed)
            if is_legal(setup, cut, stock):
                best = (cost, cut)
                break
    return None if best is None else best[1]


def _nearest_of(
    setup: Setup, wish: Cut, stock: Stock, options: dict[str, list[float]]
) -> Cut | None:
    """Return the legal combination nearest to a wish.

    What a broken limit says of other combinations is used: a depth that leaves a remnant
    is dead at any feed, and what stalls at a feed and depth stalls at more of either.
    """
    levers = list(options)
    rated = [
        [(_distance(value, _present(wish, lever)), value) for value in options[lever]]
        for lever in levers
    ]
    combined = sorted(
        (sum(cost for cost, _ in chosen), tuple(value for _, value in chosen))
        for chosen in itertools.product(*rated)
    )
    dead: set[tuple[str, float]] = set()
    heavy: dict[float, list[tuple[float, float]]] = {}
    for _, values in combined:
        named = list(zip(levers, values, strict=True))
        if any(pair in dead for pair in named):
            continue
        to = dict(named)
        size = (to.get("feed", wish.feed_mm_rev or 0.0), to.get("depth", wish.depth_mm))
        stalled = heavy.setdefault(to.get("speed", wish.spindle_rev_min), [])
        if any(size[0] >= feed and size[1] >= depth for feed, depth in stalled):
            continue
        cut = wish
        for lever, value in named:
            cut = with_setting(cut, lever, value)
        broken = first_broken(setup, cut, stock)
        if broken is None:
            return cut
        if broken in _FORCED:
            stalled.append(size)
        elif broken in _ALONE:
            lever = _ALONE[broken]
            dead |= {pair for pair in named if pair[0] == lever}
    return None
