"""Shares, and 95 % intervals by resampling scenes.

Chips of one photo share its light, its metal and its faults, so scenes are drawn again,
never chips.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

__all__ = ["over_scenes", "ratio", "share_over_scenes", "share_text"]

Scene = TypeVar("Scene")

_DRAWS = 300


def ratio(hits: float, of: float) -> float:
    """Return a share, NaN of nothing."""
    return hits / of if of else float("nan")


def over_scenes(
    scenes: Sequence[Scene], value: Callable[[Sequence[Scene]], float]
) -> tuple[float, float, float]:
    """Return a figure with its 95 % interval from resampling scenes.

    One scene alone has no interval: both ends are NaN.
    """
    if len(scenes) <= 1:
        return value(scenes), float("nan"), float("nan")
    rng = np.random.default_rng(0)
    draws = [
        value([scenes[i] for i in rng.integers(0, len(scenes), len(scenes))])
        for _ in range(_DRAWS)
    ]
    known = [d for d in draws if np.isfinite(d)]
    if not known:
        return value(scenes), float("nan"), float("nan")
    low, high = np.percentile(known, [2.5, 97.5])
    return value(scenes), float(low), float(high)


def share_over_scenes(counts: Sequence[tuple[int, int]]) -> tuple[float, float, float]:
    """Return a share with its interval from (hits, of) of each scene."""
    return over_scenes(counts, lambda x: ratio(sum(h for h, _ in x), sum(n for _, n in x)))


def share_text(share: tuple[float, float, float]) -> str:
    """Return a share and its interval as words."""
    value, low, high = share
    if not np.isfinite(value):
        return "nothing to count"
    if not np.isfinite(low):
        return f"{value:.3f} (one scene, no interval)"
    return f"{value:.3f} (95 % {low:.3f}-{high:.3f})"
