"""Which parts of the metal are one chip: by what the eye says of pairs of cells.

Cells that point to one middle are one piece (``part``), but chips that touch may point to
one middle, and a long ribbon or a coil to several. So pieces are taken apart where the eye does
not hold neighbours for one chip, and parts are put together again, the likeliest first, while
what is seen between them speaks for one chip. How much each sign speaks was learned from
parts of known chips (``python -m vision.training.fit_kin``): it is a logistic regression over
four measures that can be read one by one. After each joining the measures of what was joined
are taken anew (agglomerative clustering with average linkage; Bailoni and others 2022, from
memory).
"""

from __future__ import annotations

import heapq
from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from vision.chips.eye import KIN

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    from vision.chips.ground import Answer

    Floats = npt.NDArray[np.float64]
    Ints = npt.NDArray[np.int32]
    _Seen = tuple[npt.NDArray[np.intp], npt.NDArray[np.intp], npt.NDArray[np.float32]]
    #: What speaks for a part being of one chip with others, from their measures, (N, 4):
    #: those above 0 are joined, the greatest first.
    Worth = Callable[[int, list[int], Floats], Floats]

__all__ = ["MEASURES", "SUREST", "Parts", "log_odds", "put_together"]

#: What speaks for two parts being of one chip, as the change of the log-odds. ``kin``: the mean
#: log-odds that the eye tells of pairs of cells, one in each; logarithms of 1 and: ``apart``,
#: how far apart the mean middles are that both point to, in their smaller reach, ``apart_mm``,
#: the same in mm, and ``fewer``, cells of the smaller part.
_SPEAKS = {"kin": 0.860, "apart": -3.212, "apart_mm": 1.162, "fewer": -0.155}
_START = 2.522
MEASURES = tuple(_SPEAKS)
#: No pair of cells is surer than this.
SUREST = 6.0
#: The first of :data:`KIN` are neighbours.
_NEIGHBOURS = 4


def log_odds(measures: Floats) -> Floats:
    """Return the log-odds that pairs of parts, (N, 4) :data:`MEASURES`, are one chip."""
    return np.asarray(_START + measures @ list(_SPEAKS.values()))


def put_together(grid: Ints, answer: Answer) -> Ints:
    """Return the chip of each cell, (h, w), numbered from 1; 0 shows no metal.

    Parameters
    ----------
    grid
        The piece of each cell, (h, w); 0 is none and stays so.
    answer
        What the network says of the view.

    Notes
    -----
    Not to be trusted for heaps, nor where a chip shows in parts more than eight cells apart.
    """
    parts = Parts(grid, answer)
    parts.join(lambda _one, _others, measures: log_odds(measures))
    return parts.chips()


class Parts:
    """Parts of the metal, from 1, and what is seen between them.

    ``grid`` (h, w) is the part of each cell, 0 none; ``beside`` holds for each part the others
    that are near, with the sum of the log-odds between them and the number of pairs of cells.
    """

    def __init__(self, pieces: Ints, answer: Answer) -> None:
        self.grid = _taken_apart(pieces, answer.kin)
        at = np.flatnonzero(self.grid > 0)
        part = self.grid.ravel()[at]
        count = int(part.max(initial=0)) + 1
        # Cells, and sums over them: where they point to, and logarithms of their reach.
        right, down = answer.middle_mm.reshape(2, -1)[:, at]
        values = (None, right, down, np.log(answer.reach.ravel()[at]))
        sums = [np.bincount(part, value, minlength=count) for value in values]
        self._sums = np.stack(sums, axis=1).astype(float)
        self._now = np.arange(count)
        self.beside: list[dict[int, Floats]] = [{} for _ in range(count)]
        for (a, b), seen in zip(*_between(self.grid, answer.kin), strict=True):
            self.beside[a][b] = self.beside[b][a] = seen

    def measures(self, one: int, others: list[int]) -> Floats:
        """Return :data:`MEASURES` of a part with parts beside it, (N, 4)."""
        seen = np.stack([self.beside[one][other] for other in others])
        a, b = self._sums[one], self._sums[others]
        mean_a, mean_b = a[1:] / a[0], b[:, 1:] / b[:, :1]
        apart_mm = np.hypot(*(mean_b - mean_a)[:, :2].T)
        reach = np.exp(np.minimum(mean_a[2], mean_b[:, 2]))
        fewer = np.minimum(a[0], b[:, 0])
        logs = np.log1p(np.stack([apart_mm / reach, apart_mm, fewer], axis=1))
        return np.column_stack([seen[:, 0] / seen[:, 1], logs])

    def join(self, worth: Worth) -> None:
        """Make parts one while something speaks for it, the likeliest first."""
        heap: list[tuple[float, int, int, int]] = []
        # What was said of a pair holds until one of both becomes larger.
        turn: dict[tuple[int, int], int] = {}
        said = 0

        def ask(one: int, others: list[int]) -> None:
            nonlocal said
            for other, value in zip(
                others, worth(one, others, self.measures(one, others)).tolist(), strict=True
            ):
                said += 1
                pair = (min(one, other), max(one, other))
                turn[pair] = said
                if value > 0:
                    heapq.heappush(heap, (-value, said, *pair))

        for one, beside in enumerate(self.beside):
            later = [other for other in beside if other > one]
            if later:
                ask(one, later)
        while heap:
            _, when, one, other = heapq.heappop(heap)
            if turn.get((one, other)) != when:
                continue
            kept = self._make_one(one, other, turn)
            if self.beside[kept]:
                ask(kept, list(self.beside[kept]))

    def _make_one(self, one: int, other: int, turn: dict[tuple[int, int], int]) -> int:
        """Join two parts; return the number that is kept."""
        kept, gone = sorted((one, other), key=lambda k: -len(self.beside[k]))
        self._now[gone] = kept
        self._sums[kept] += self._sums[gone]
        for near, sums in self.beside[gone].items():
            turn.pop((min(gone, near), max(gone, near)), None)
            del self.beside[near][gone]
            if near != kept:
                both = self.beside[kept].get(near, 0.0) + sums
                self.beside[kept][near] = self.beside[near][kept] = both
        self.beside[gone] = {}
        return kept

    def chips(self) -> Ints:
        """Return the chip of each cell, (h, w), numbered from 1; 0 shows no metal."""
        now = self._now
        while (now[now] != now).any():
            now = now[now]
        _, chip = np.unique(now, return_inverse=True)
        return np.asarray(chip[self.grid], np.int32)


def _pairs(grid: Ints, kin: npt.NDArray[np.float32], *, one: bool) -> _Seen:
    """Return pairs of cells of metal, first and second of all such cells row by row.

    With the log-odds that both show one chip. They are neighbours of ``one`` number, or cells
    of two numbers as far apart as any of :data:`KIN`.
    """
    steps = KIN[:_NEIGHBOURS] if one else KIN
    far = max(abs(right) for _, right in KIN)
    wide = np.pad(grid, ((0, far), (far, far)))
    at = np.flatnonzero(grid > 0)
    rows, cols = np.divmod(at, grid.shape[1])
    place = rows * wide.shape[1] + cols + far
    there = np.array([[down * wide.shape[1] + right] for down, right in steps]) + place
    here, beside = grid.ravel()[at], wide.ravel()[there]
    met = np.flatnonzero(beside == here if one else (beside != here) & (beside > 0))
    step, first = np.divmod(met, max(len(at), 1))
    number = np.zeros(wide.size, np.intp)
    number[place] = np.arange(len(place))
    odds = kin.reshape(len(kin), -1)[step, at[first]]
    return first, number[there.ravel()[met]], odds


def _taken_apart(pieces: Ints, kin: npt.NDArray[np.float32]) -> Ints:
    """Return the part of each cell: what hangs together in a piece by kin neighbours."""
    first, second, odds = _pairs(pieces, kin, one=True)
    metal = pieces > 0
    count = int(np.count_nonzero(metal))
    held = odds > 0
    pairs = first[held], second[held]
    graph = coo_array((np.ones(len(pairs[0]), bool), pairs), shape=(count, count))
    number = np.zeros(pieces.shape, np.int32)
    number[metal] = connected_components(graph, directed=False)[1] + 1
    return number


def _between(grid: Ints, kin: npt.NDArray[np.float32]) -> tuple[list[tuple[int, int]], Floats]:
    """Return pairs of parts that are near, and what is seen between them, (N, 2).

    That is the sum of the log-odds and the number of pairs of cells.
    """
    count = int(grid.max()) + 1
    first, second, odds = _pairs(grid, kin, one=False)
    part = grid[grid > 0].astype(np.int64)
    one, two = part[first], part[second]
    key, which = np.unique(
        np.minimum(one, two) * count + np.maximum(one, two), return_inverse=True
    )
    odds = np.clip(odds, -SUREST, SUREST)
    sums = [np.bincount(which, weights, minlength=len(key)) for weights in (odds, None)]
    pairs = zip((key // count).tolist(), (key % count).tolist(), strict=True)
    return list(pairs), np.stack(sums, axis=1)
