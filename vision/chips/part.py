"""Which pixel belongs to which chip: cells that point to one middle are one chip.

The network says of each cell of metal where the middle of its chip lies and how far round
it the chip's cells point. Chips that touch point to different middles, turns of a coil that
are apart point to the same one. Not always: which pieces are taken apart, and which parts are
put together again, is told by ``kin``. Not in here: what is metal (``ground``), what is too
small to look at (``find``).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np

from vision.chips.eye import CELL_PX
from vision.chips.kin import put_together

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import BoolMask
    from vision.chips.ground import Answer

    Floats = npt.NDArray[np.float32]
    Ints = npt.NDArray[np.int32]

__all__ = ["METAL_AT", "owners", "pieces"]

#: From this on a pixel is metal; set on calibration scenes.
METAL_AT = 0.46
#: A cell that knows its middle as little as this gathers no others.
_LEAST_TYPICAL = 0.25
#: Squared distance over squared reach within which a cell belongs to a middle (a half of a
#: bell curve), and within which a cell left over joins its nearest one (a twentieth).
_OWN, _NEAR = 2 * np.log(2), 2 * np.log(20)
#: No sheet with chips laid out holds more; a texture does.
_MOST = 600
#: A pixel of metal while cells are counted: a cell full of it stays within a byte.
_FULL = 240


def owners(answer: Answer) -> Ints:
    """Return the number of the chip that the metal of each cell shows, (h, w); 0 is no metal.

    Numbers run from 1, in no order. Not to be trusted for heaps: what lies under others
    is taken for the one above it, or falls apart.
    """
    return put_together(pieces(answer), answer)


def pieces(answer: Answer) -> Ints:
    """Return the piece that each cell is of, (h, w), numbered from 1; 0 shows no metal.

    Cells of a piece point to one middle; a chip may be several.
    """
    metal = (answer.metal > METAL_AT).view(np.uint8)
    h, w = metal.shape
    rows, cols = answer.reach.shape
    grid = np.zeros((rows, cols), np.int32)
    framed = cv2.copyMakeBorder(
        metal * np.uint8(_FULL),
        0,
        rows * CELL_PX - h,
        0,
        cols * CELL_PX - w,
        cv2.BORDER_CONSTANT,
    )
    # The mean of a cell's pixels grows by 15 with each one of metal.
    pixels = cv2.resize(framed, (cols, rows), interpolation=cv2.INTER_AREA) // (
        _FULL // CELL_PX**2
    )
    at = np.flatnonzero(pixels > 0)
    if len(at) == 0:
        return grid
    number = _gather(
        answer.middle_mm.reshape(2, -1)[:, at],
        answer.reach.ravel()[at],
        answer.typical.ravel()[at],
        pixels.ravel()[at].astype(np.float32),
    )
    grid.ravel()[at] = number
    _own_numbers(grid, pixels > 0, int(number.max()))
    return grid


def _gather(points: Floats, reach: Floats, typical: Floats, weight: Floats) -> Ints:
    """Give numbers to N cells that point to (2, N) mm; 0 where a cell joins no other.

    The cell surest of its middle gathers those that point there, and so on.
    """
    number = np.zeros(len(reach), np.int32)
    sure = typical.copy()
    spread = reach**2
    log_spread = np.log(spread)
    middles: list[Floats] = []
    spreads: list[float] = []
    while len(middles) < _MOST:
        first = int(np.argmax(sure))
        if sure[first] < _LEAST_TYPICAL:
            break
        free = np.flatnonzero(number == 0)
        place = points[:, free]
        own = free[_apart(place, points[:, first]) < _OWN * spread[first]]
        # Once more round what they have in common.
        much = weight[own]
        whole = much.sum()
        middle = (points[:, own] * much).sum(axis=1) / whole
        size = float(np.exp((log_spread[own] * much).sum() / whole))
        own = free[_apart(place, middle) < _OWN * size]
        middles.append(middle)
        spreads.append(size)
        number[own] = number[first] = len(middles)
        sure[own] = sure[first] = -1.0
    left = np.flatnonzero(number == 0)
    if middles and len(left):
        apart = _apart(points[:, left, None], np.stack(middles, axis=1)) / np.array(spreads)
        nearest = apart.argmin(axis=1)
        joins = apart[np.arange(len(left)), nearest] < _NEAR
        number[left[joins]] = nearest[joins] + 1
    return number


def _apart(a: Floats, b: Floats) -> Floats:
    """Return squared distances of points, (2, ...) mm, from others."""
    right, down = a[0] - b[0], a[1] - b[1]
    return np.asarray(right * right + down * down, np.float32)


def _own_numbers(grid: Ints, metal: BoolMask, last: int) -> None:
    """Give metal without a number one from ``last`` on, by what hangs together."""
    alone = (metal & (grid == 0)).astype(np.uint8)
    _, found = cv2.connectedComponents(alone, connectivity=8)
    grid[alone > 0] = np.asarray(found)[alone > 0] + last
