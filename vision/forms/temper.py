"""From what a pipeline gives to calibrated probabilities: classes in order, a temperature.

One number, fitted where nothing was learned from, makes outspoken answers as sure as they are
right (C. Guo and others, "On calibration of modern neural networks", 2017; from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import minimize_scalar
from scipy.special import log_softmax

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    Float2 = npt.NDArray[np.float64]

__all__ = ["best_temperature", "in_order", "log_tempered"]

#: No class is ruled out for good.
_LEAST = 1e-6


def in_order(given: Float2, classes: Sequence[object], answers: Sequence[str]) -> Float2:
    """Return (N, A) probabilities in the order of ``answers`` from those of ``classes``."""
    p = np.full((len(given), len(answers)), _LEAST)
    p[:, [list(answers).index(str(c)) for c in classes]] = np.clip(given, _LEAST, 1)
    return np.asarray(p / p.sum(axis=1, keepdims=True))


def log_tempered(p: Float2, temperature: float) -> Float2:
    """Return log-probabilities of ``p`` to the power of 1 / temperature, normalised."""
    return np.asarray(log_softmax(np.log(p) / temperature, axis=1))


def best_temperature(p: Float2, truth: npt.NDArray[np.intp]) -> float:
    """Return the temperature at which the true columns of ``p``, (N,), are likeliest."""

    def loss(log_t: float) -> float:
        return float(
            -log_tempered(p, float(np.exp(log_t)))[np.arange(len(truth)), truth].mean()
        )

    return float(np.exp(minimize_scalar(loss, bounds=(-2.0, 1.5), method="bounded").x))
