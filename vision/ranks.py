"""Median and percentile of short rows of numbers, without the library's overhead.

A chip asks some thirty of them, and for a few hundred numbers the general functions
take ten times as long as the sorting.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["median", "percentile"]

#: Of fewer values all are sorted.
_FEW = 1000


def percentile(values: npt.NDArray[np.generic], *percent: float) -> tuple[float, ...]:
    """Return percentiles, 0..100, between neighbours by straight line; of at least one value.

    Examples
    --------
    >>> percentile(np.array([3.0, 1.0, 2.0, 4.0]), 50.0, 100.0)
    (2.5, 4.0)
    """
    last = values.size - 1
    places = [last * share / 100 for share in percent]
    if last < _FEW:
        ordered = np.sort(values, axis=None)
    else:
        wanted = {k for at in places for k in (int(at), min(int(at) + 1, last))}
        ordered = np.partition(values, sorted(wanted), axis=None)
    out = []
    for at in places:
        low = int(at)
        a, b = float(ordered[low]), float(ordered[min(low + 1, last)])
        out.append(a + (at - low) * (b - a))
    return tuple(out)


def median(values: npt.NDArray[np.generic]) -> float:
    """Return the median of at least one value."""
    return percentile(values, 50.0)[0]
