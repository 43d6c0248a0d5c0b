"""Tell a lasting rise from scatter, pass by pass: a self-starting one-sided CUSUM.

Sums of what lies above the forecast, less a reference value (E. S. Page, Biometrika 41
(1954) 100); the forecast is the mean of what came before, so no history is needed (D. M.
Hawkins, The Statistician 36 (1987) 299). Run lengths by D. Siegmund's approximation
(Sequential Analysis, 1985). All three named from memory, not read here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import exp, log1p, sqrt
from typing import Final

__all__ = ["REFERENCE", "Watch", "decision_limit", "mean_run_length", "next_watch"]

#: Reference value in standard deviations: half the rise that is to be found soonest.
REFERENCE: Final = 1.0
#: Siegmund's allowance for the overshoot at the limit, standard deviations.
_OVERSHOOT: Final = 1.166


@dataclass(frozen=True, slots=True)
class Watch:
    """What is known before a pass: the level, how well, and the sum so far.

    ``level`` is ``None`` before the first value. ``variance`` is that of the level, in the
    square of the value's unit; ``total`` is in standard deviations, 0 or more.
    """

    level: float | None = None
    variance: float = 0.0
    total: float = 0.0

    def moved(self, shift: float, u: float) -> Watch:
        """Return the watch after a setting moved the level by ``shift`` give or take ``u``."""
        if self.level is None:
            return self
        return replace(self, level=self.level + shift, variance=self.variance + u**2)


def next_watch(watch: Watch, value: float, sigma: float) -> Watch:
    """Return the watch after a value.

    Parameters
    ----------
    watch : Watch
    value : float
    sigma : float, > 0
        Standard deviation of single values about a level that stays, same unit.

    Returns
    -------
    Watch
        Its ``total`` counts surprises: value less forecast, over the standard deviation of
        that difference. While nothing changes they are independent and of unit variance,
        also when the level is known from few values.

    Raises
    ------
    ValueError
        If ``sigma`` is not positive.

    Examples
    --------
    >>> first = next_watch(Watch(), 2.0, 3.0)
    >>> round(next_watch(first, 17.0, 3.0).total, 2)
    2.54
    """
    if sigma <= 0.0:
        raise ValueError("the standard deviation must be positive")
    if watch.level is None:
        return Watch(level=value, variance=sigma**2)
    spread2 = watch.variance + sigma**2
    surprise = (value - watch.level) / sqrt(spread2)
    gain = watch.variance / spread2
    return Watch(
        level=watch.level + gain * (value - watch.level),
        variance=watch.variance * (1.0 - gain),
        total=max(0.0, watch.total + surprise - REFERENCE),
    )


def mean_run_length(limit: float, *, reference: float = REFERENCE, rise: float = 0.0) -> float:
    """Return after how many values the sum passes a limit, on average.

    Parameters
    ----------
    limit, reference : float, standard deviations
    rise : float, standard deviations
        Lasting rise of the values; 0 for false alarms.

    Notes
    -----
    (exp(-2 D b) + 2 D b - 1) / (2 D²) with D = rise - reference, b = limit + 1.166.
    Not to be trusted for: limits below about 1.

    Examples
    --------
    >>> round(mean_run_length(5.0, reference=0.5), 1)
    938.2
    """
    drift, reach = rise - reference, limit + _OVERSHOOT
    if abs(drift) < 1e-6:  # noqa: PLR2004 - the formula's own limit
        return reach**2
    return (exp(-2.0 * drift * reach) + 2.0 * drift * reach - 1.0) / (2.0 * drift**2)


def decision_limit(run_length: float, *, reference: float = REFERENCE) -> float:
    """Return the limit at which false alarms are ``run_length`` values apart on average.

    Examples
    --------
    >>> round(decision_limit(938.2, reference=0.5), 2)
    5.0
    """
    reach = 1.0
    for _ in range(60):  # b = ln(1 + 2 k b + 2 k² L) / 2 k settles fast
        reach = log1p(2.0 * reference * reach + 2.0 * reference**2 * run_length) / (
            2.0 * reference
        )
    return reach - _OVERSHOOT
