"""Whether two pieces of metal are of one chip: a logistic regression, and what follows from it.

What is measured of two pieces, and the constants, stand where pieces are found (``pieces``
for those that touch, ``gaps`` for those that do not).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.special import expit

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Ints = npt.NDArray[np.int32]

__all__ = ["OneChip"]


@dataclass(frozen=True, slots=True, kw_only=True)
class OneChip:
    """How measures of two pieces speak for one chip.

    ``speaks`` is, measure by measure, the change of the log-odds for log(1 + measure), as
    ``python -m vision.training.fit_pieces`` prints it, and ``start`` where they start; pieces
    are of one chip from the probability ``one_from`` on.
    """

    speaks: Mapping[str, float]
    start: float
    one_from: float

    @property
    def measures(self) -> tuple[str, ...]:
        """Names of the measures, in the order of their columns."""
        return tuple(self.speaks)

    def chance(self, measures: Floats) -> Floats:
        """Return for pairs of pieces, (N, K) measures, how likely they are one chip, 0..1."""
        log_odds = self.start + np.log1p(measures) @ list(self.speaks.values())
        return np.asarray(expit(log_odds))

    def joined(self, pairs: Ints, measures: Floats, count: int) -> tuple[int, Ints]:
        """Return how many chips ``count`` pieces make, and the chip of each, from 0.

        Pieces of one chip with a third are of one chip with each other. A number that is in
        none of the ``pairs`` (2, N) stays alone, and comes in its place: 0 stays 0.
        """
        one = pairs[:, self.chance(measures) >= self.one_from]
        held = coo_array((np.ones(one.shape[1], bool), tuple(one)), shape=(count, count))
        chips, chip = connected_components(held, directed=False)
        return int(chips), np.asarray(chip, np.int32)
