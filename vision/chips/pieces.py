"""Which pieces are of one chip: long ribbons fall apart, chips that touch must not join.

Cells that point to one middle are one piece (``part``). A long ribbon or a coil may point to
several middles; where its pieces meet, their cells still point to nearly the same place. How
much each sign speaks for one chip was learned from pieces of known chips
(``python -m vision.training.fit_pieces``): it is a logistic regression over nine
measures that can be read one by one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vision.chips.one_chip import OneChip

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.chips.ground import Answer

    Floats = npt.NDArray[np.float64]
    Ints = npt.NDArray[np.int32]

__all__ = ["MEASURES", "meetings", "put_together"]

#: What speaks for two pieces that meet being of one chip. ``jump``: how far apart the middles
#: are that neighbours point to, in their smaller reach (the middle one and the mean of all
#: neighbours); cells of the smaller and of the larger piece; ``contact``: neighbours for each
#: cell along the smaller one's side; ``apart``: how far apart the mean middles of both are, in
#: their smaller reach and in mm; ``uneven``: the logarithm of how uneven their reaches are;
#: ``typical``: how well the surer piece knows its middle. The probability was set on
#: calibration scenes.
_ONE = OneChip(
    speaks={
        "jump": 0.901,
        "jump_mean": -4.204,
        "fewer_cells": -0.535,
        "more_cells": 0.262,
        "contact": 0.711,
        "apart": -0.546,
        "apart_mm": 1.169,
        "uneven": -2.884,
        "typical": -1.145,
    },
    start=0.8,
    one_from=0.7,
)
MEASURES = _ONE.measures
#: Neighbours of a cell, each pair once: rows, columns.
_BESIDE = ((0, 1), (1, 0), (1, 1), (1, -1))


def meetings(grid: Ints, answer: Answer) -> tuple[Ints, Floats]:
    """Return which pieces have cells side by side, and what is seen where they meet.

    Parameters
    ----------
    grid
        The piece of each cell, (h, w); 0 is none.

    Returns
    -------
    pairs
        (2, N) numbers of pieces, the smaller number first.
    measures
        (N, 9): :data:`MEASURES`, not yet as logarithms.
    """
    h, w = grid.shape
    pairs, jumps = [np.zeros((2, 0), np.int32)], [np.zeros(0)]
    for down, right in _BESIDE:
        a = (slice(0, h - down), slice(max(-right, 0), w - max(right, 0)))
        b = (slice(down, h), slice(max(right, 0), w - max(-right, 0)))
        meet = (grid[a] > 0) & (grid[b] > 0) & (grid[a] != grid[b])
        pairs.append(np.sort(np.stack([grid[a][meet], grid[b][meet]]), axis=0))
        step = answer.middle_mm[:, *a][:, meet] - answer.middle_mm[:, *b][:, meet]
        jumps.append(np.hypot(*step) / np.minimum(answer.reach[a][meet], answer.reach[b][meet]))
    met, jump = np.concatenate(pairs, axis=1), np.concatenate(jumps)
    if not len(jump):
        return met, np.zeros((0, len(MEASURES)))
    order = np.lexsort((jump, met[1], met[0]))
    met, jump = met[:, order], jump[order]
    one, first, count = np.unique(met, axis=1, return_index=True, return_counts=True)

    flat = grid.ravel()
    cells = np.bincount(flat)

    def mean(value: npt.NDArray[np.float32]) -> Floats:
        return np.bincount(flat, value.ravel()) / np.maximum(cells, 1)

    x, y = (mean(of) for of in answer.middle_mm)
    log_reach, typical = mean(np.log(answer.reach)), mean(answer.typical)
    (i, k) = one
    fewer = np.minimum(cells[i], cells[k])
    apart_mm = np.hypot(x[i] - x[k], y[i] - y[k])
    measures = [
        jump[first + count // 2],
        np.add.reduceat(jump, first) / count,
        fewer,
        np.maximum(cells[i], cells[k]),
        count / np.sqrt(fewer),
        apart_mm / np.exp(np.minimum(log_reach[i], log_reach[k])),
        apart_mm,
        np.abs(log_reach[i] - log_reach[k]),
        np.maximum(typical[i], typical[k]),
    ]
    return one, np.stack(measures, axis=1)


def put_together(grid: Ints, answer: Answer) -> Ints:
    """Return the grid with one number for pieces that are likely of one chip.

    Parameters
    ----------
    grid
        The piece of each cell, (h, w); 0 is none and stays so.
    """
    pairs, measures = meetings(grid, answer)
    # Number 0 meets nothing and stays 0.
    _, chip = _ONE.joined(pairs, measures, int(grid.max()) + 1)
    return np.asarray(chip[grid], np.int32)
