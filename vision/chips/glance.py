"""What the network takes a chip's sizes for at a glance, gathered over its pixels.

Each square of the view guesses the sizes of the chip it shows, and how far off the guess may
be. A chip's glance is the mean of its squares, surer ones counting more. It knows coils whose
turns no outline shows, but is coarser than a measure that can be taken; ``measure`` weighs
one against the other. Not to be trusted for what no rendered scene held, or for millimetres
without a card.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp
from typing import TYPE_CHECKING

import numpy as np

from vision.chips.eye import ASKED, GUESS_PX, GUESSED

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import BoolMask

__all__ = ["Glance", "glance_of"]

#: Places told of a square: sizes, logarithms of their spreads, answers.
_LAST_SIZE = len(GUESSED)
_LAST_SPREAD = 2 * _LAST_SIZE


@dataclass(frozen=True, slots=True, kw_only=True)
class Glance:
    """Guessed sizes of one chip.

    ``log_size`` holds logarithms of mm by name (of a number for ``turns`` and ``taper``; of
    ``lie`` the angle itself in units of :data:`~vision.chips.eye.LIE_DEG`), ``log_spread``
    the logarithm of each one's mean absolute error in the same unit, as the network expects
    it. ``curls`` and ``winds``, 0..1: whether the chip curls, and whether it goes on along
    an axis; a size that needs the one or the other means nothing where that is near 0.
    """

    log_size: dict[str, float]
    log_spread: dict[str, float]
    curls: float
    winds: float

    def mm(self, name: str) -> float:
        """Return a size in mm (a number for ``turns`` and ``taper``)."""
        return exp(self.log_size[name])


def glance_of(
    guess: npt.NDArray[np.float32], mask: BoolMask, row: int, col: int
) -> Glance | None:
    """Gather the glance at one chip.

    Parameters
    ----------
    guess : (18, h, w) float32
        What the network says of squares of :data:`~vision.chips.eye.GUESS_PX`.
    mask : (H, W) bool
        The chip, in a box of the view.
    row, col : int
        Place of the box's first pixel in the view.

    Returns
    -------
    Glance or None
        ``None`` where the mask is empty.
    """
    at = np.flatnonzero(mask)
    if len(at) == 0:
        return None
    rows, cols = np.divmod(at, mask.shape[1])
    down, right = (row + rows) // GUESS_PX, (col + cols) // GUESS_PX
    start = row // GUESS_PX * guess.shape[2]
    count = np.bincount(down * guess.shape[2] + right - start)
    own = np.flatnonzero(count)
    count = count[own]
    told = guess.reshape(len(guess), -1)[:, start + own].astype(np.float64)
    size, spread = told[:_LAST_SIZE], told[_LAST_SIZE:_LAST_SPREAD]
    weight = count * np.exp(-spread)
    weight = weight / weight.sum(axis=1, keepdims=True)
    mean_size = (weight * size).sum(axis=1)
    mean_spread = (weight * spread).sum(axis=1)
    asked = (told[_LAST_SPREAD:] * count).sum(axis=1) / count.sum()
    answers = dict(zip(ASKED, asked.tolist(), strict=True))
    return Glance(
        log_size=dict(zip(GUESSED, mean_size.tolist(), strict=True)),
        log_spread=dict(zip(GUESSED, mean_spread.tolist(), strict=True)),
        curls=answers["curls"],
        winds=answers["winds"],
    )
