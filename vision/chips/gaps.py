"""Which parts of a thing that do not touch are one chip after all.

Cells that point to one middle are of one chip (``part``), whether they touch or not: that
keeps the turns of a coil together. So a crumb near a coil, or an arc that a ribbon curls round,
may be taken for a part of it. Whether two parts with a gap between them are of one chip was
learned from parts of known chips (``python -m vision.training.fit_pieces``): a logistic
regression over four measures that can be read one by one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import minimum_spanning_tree

from vision.chips.eye import CELL_PX
from vision.chips.ground import FIND_PX_PER_MM
from vision.chips.one_chip import OneChip

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from vision.arrays import BoolMask
    from vision.chips.boxes import Box
    from vision.chips.ground import Answer

    Floats = npt.NDArray[np.float64]
    Ints = npt.NDArray[np.int32]
    Places = npt.NDArray[np.intp]

__all__ = ["MEASURES", "PIECES_OF_A_CHIP", "part_by_gaps", "parts_with_gaps"]

#: Of what is called a chip in calibration scenes two in a thousand fall into more pieces
#: than this, and no nest; heaps of short chips fall into more, and stay one thing.
PIECES_OF_A_CHIP = 75

#: What speaks for two parts being of one chip. ``apart``: how far apart the middles are that
#: both point to, in their smaller reach and in mm; ``uneven``: the logarithm of how uneven
#: their reaches are; ``gap_mm``: the way from one to the other. The probability was set on
#: calibration scenes.
_ONE = OneChip(
    speaks={
        "apart": -4.957,
        "apart_mm": 1.189,
        "uneven": -6.613,
        "gap_mm": -1.563,
    },
    start=5.712,
    one_from=0.3,
)
MEASURES = _ONE.measures
#: A part of fewer pixels is a speck, of the chip that is nearest.
_LEAST_PX = 6


def part_by_gaps(number: Ints, boxes: Sequence[Box | None], answer: Answer) -> None:
    """Give parts of a thing that are likely other chips numbers of their own, in place.

    Parameters
    ----------
    number
        The thing that each pixel is of, (H, W), at most as many as there are boxes; 0 is none
        and stays so. New numbers go on from there.
    boxes
        For each number from 1 the rows and columns that hold it, ``None`` for none; they start
        with whole cells and may reach past the view.
    answer
        What the network says of the view.

    Notes
    -----
    Not to be trusted where chips lie over each other: what another chip covers is a gap.
    """
    last = len(boxes)
    for k, box in enumerate(boxes, 1):
        if box is None:
            continue
        own = number[box] == k
        parts, pairs, measures = parts_with_gaps(own, box, answer)
        if not len(measures):
            continue
        chips, chip = _ONE.joined(pairs, measures, int(parts.max()) + 1)
        if chips <= 2:  # number 0, which is no part, and one chip
            continue
        # The first chip keeps the thing's number.
        chip = np.where(chip == 1, k, chip + last - 1)
        number[box][own] = chip[parts[own]]
        last += chips - 2


def parts_with_gaps(own: BoolMask, box: Box, answer: Answer) -> tuple[Ints, Ints, Floats]:
    """Return the parts that a thing falls into, and what is seen where they lie nearest.

    Parameters
    ----------
    own
        The thing's pixels, (h, w).
    box
        Where they lie in the view; it starts with whole cells.
    answer
        What the network says of the view.

    Returns
    -------
    parts
        (h, w): the part of each pixel of the thing, from 1; specks are of the nearest part.
        Outside of the thing it holds any.
    pairs
        (2, n - 1): which of n parts hang together by the shortest ways.
    measures
        (n - 1, 4): :data:`MEASURES` of these, mm or none, not yet as logarithms.

    Notes
    -----
    A thing in more than :data:`PIECES_OF_A_CHIP` pieces, or of specks only, is one part.
    """
    found, label, stats, _ = cv2.connectedComponentsWithStats(
        own.astype(np.uint8), connectivity=8
    )
    large = stats[:, cv2.CC_STAT_AREA] >= _LEAST_PX
    large[0] = False
    count = int(np.count_nonzero(large))
    if count <= 1 or found - 1 > PIECES_OF_A_CHIP:
        return own.astype(np.int32), np.zeros((2, 0), np.int32), np.zeros((0, len(MEASURES)))
    if count < found - 1:
        label = (np.cumsum(large) * large)[label].astype(np.int32)
    # Two by two pixels never show two parts, for they would touch.
    h, w = label.shape
    even = np.pad(label, ((0, h % 2), (0, w % 2)))
    half = np.maximum(even[::2], even[1::2])
    half = np.maximum(half[:, ::2], half[:, 1::2])
    # The nearest part, for every place; so parts are neighbours or not.
    far, whose = cv2.distanceTransformWithLabels(
        (half == 0).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    of = np.zeros(int(whose.max()) + 1, np.int32)
    of[whose[half > 0]] = half[half > 0]
    near = of[whose]
    pairs, gap = _shortest_ways(near, far)
    rows, cols = np.nonzero(half)
    cells = (box[0].start + 2 * rows) // CELL_PX, (box[1].start + 2 * cols) // CELL_PX
    measures = _measures(half[rows, cols], cells, pairs, 2 * gap / FIND_PX_PER_MM, answer)
    if count < found - 1:
        label = np.where(label > 0, label, near.repeat(2, 0).repeat(2, 1)[:h, :w])
    return np.asarray(label, np.int32), pairs, measures


def _shortest_ways(near: Ints, far: npt.NDArray[np.float32]) -> tuple[Ints, Floats]:
    """Return which parts hang together by the shortest ways, (2, n - 1), and their lengths."""
    both, way = [], []
    for a, b in ((np.s_[:, :-1], np.s_[:, 1:]), (np.s_[:-1], np.s_[1:])):
        rows, cols = np.nonzero(near[a] != near[b])
        both.append(np.sort(np.stack([near[a][rows, cols], near[b][rows, cols]]), axis=0))
        way.append(far[a][rows, cols] + far[b][rows, cols] + 1)
    met, length = np.concatenate(both, axis=1), np.concatenate(way)
    order = np.lexsort((length, met[1], met[0]))
    met, length = met[:, order], length[order]
    first = np.flatnonzero(np.r_[True, (met[:, 1:] != met[:, :-1]).any(axis=0)])
    size = int(near.max()) + 1
    graph = coo_array((length[first], tuple(met[:, first])), shape=(size, size))
    tree = minimum_spanning_tree(graph.tocsr()).tocoo()
    return np.stack([tree.row, tree.col]).astype(np.int32), np.asarray(tree.data, float)


def _measures(
    part: Ints, cells: tuple[Places, Places], pairs: Ints, gap_mm: Floats, answer: Answer
) -> Floats:
    """Return what is seen of pairs (2, N) of parts that show in so many cells, (N, 4)."""
    count = np.maximum(np.bincount(part), 1)

    def mean(value: npt.NDArray[np.float32]) -> Floats:
        return np.asarray(np.bincount(part, value) / count)

    x, y = (mean(of[cells]) for of in answer.middle_mm)
    log_reach = mean(np.log(answer.reach[cells]))
    i, k = pairs
    apart_mm = np.hypot(x[i] - x[k], y[i] - y[k])
    smaller = np.exp(np.minimum(log_reach[i], log_reach[k]))
    uneven = np.abs(log_reach[i] - log_reach[k])
    return np.stack([apart_mm / smaller, apart_mm, uneven, gap_mm], axis=1)
