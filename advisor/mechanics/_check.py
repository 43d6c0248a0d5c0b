"""Range checks shared by the formulas; a wrong number stops at the door, named."""

from __future__ import annotations

import math

__all__ = ["at_least_zero", "finite", "positive", "within"]


def finite(**values: float) -> None:
    """Raise ValueError unless every value is a finite number."""
    for name, value in values.items():
        if not math.isfinite(value):
            raise ValueError(f"{name} must be a finite number, not {value!r}")


def positive(**values: float) -> None:
    """Raise ValueError unless every value is finite and above zero."""
    finite(**values)
    for name, value in values.items():
        if value <= 0.0:
            raise ValueError(f"{name} must be above zero, not {value!r}")


def at_least_zero(**values: float) -> None:
    """Raise ValueError unless every value is finite and not negative."""
    finite(**values)
    for name, value in values.items():
        if value < 0.0:
            raise ValueError(f"{name} must not be negative, not {value!r}")


def within(low: float, high: float, **values: float) -> None:
    """Raise ValueError unless every value is finite and in the closed range."""
    finite(**values)
    for name, value in values.items():
        if not low <= value <= high:
            raise ValueError(f"{name} must be from {low:g} to {high:g}, not {value!r}")
