"""Chips one by one: from what the network says to numbered masks.

In here: what is too small to look at, what touches the rim, the order. Which pixel belongs
to which chip is told by ``part``. Not in here: any measuring.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
from scipy import ndimage

from vision.chips.eye import CELL_PX
from vision.chips.glance import glance_of
from vision.chips.part import METAL_AT, owners

if TYPE_CHECKING:
    from vision.arrays import BoolMask
    from vision.chips.glance import Glance
    from vision.chips.ground import Answer

__all__ = ["PIECES_OF_A_CHIP", "Find", "find_chips"]

#: Smallest thing looked at, mm2; a crumb of about 0.35 mm.
_LEAST_MM2 = 0.12
#: Metal as unlikely as this, on the mean over a thing, is none: hardly a chip of the
#: calibration scenes, and one in seven of what is no chip there.
_DOUBTFUL = 0.55
#: Of what is called a chip in calibration scenes two in a thousand fall into more pieces
#: than this, and no nest; heaps of short chips fall into more.
PIECES_OF_A_CHIP = 75
#: No sheet with chips laid out holds more pieces; a texture does. The largest are kept.
_MOST_PIECES = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Find:
    """One thing on the sheet: its mask in a box of the find view.

    ``row`` and ``col`` place the (h, w) ``mask`` in the view; ``pieces`` is how many
    separate pieces it shows; ``confidence`` the mean probability of metal; ``at_border``
    whether it touches the edge of what can be seen; ``glance`` its guessed sizes;
    ``others``, (h + 2 pad, w + 2 pad) for the ``pad`` asked for, marks what belongs to other
    things round it.
    """

    row: int
    col: int
    mask: BoolMask
    pieces: int
    confidence: float
    at_border: bool
    glance: Glance | None
    others: BoolMask


def find_chips(
    answer: Answer, *, px_per_mm: float, seen: BoolMask | None = None, pad: int = 0
) -> list[Find]:
    """Return the things that lie on the sheet, largest first.

    Parameters
    ----------
    answer : Answer
        What the network says of the view.
    px_per_mm : float
        Density of the view.
    seen : (H, W) bool, optional
        Where the photo shows the sheet; things touching its rim are marked.
    pad : int
        Pixels round each find in which its neighbours are marked.

    Notes
    -----
    What is hardly metal on the whole (shadows, stains, scratches) is left out.
    """
    grid = owners(answer)
    height, width = answer.metal.shape
    rows, cols = np.divmod(np.flatnonzero(answer.metal > METAL_AT), width)
    owner = grid[rows // CELL_PX, cols // CELL_PX]
    areas = np.bincount(owner)
    large = np.flatnonzero(areas >= _LEAST_MM2 * px_per_mm**2)
    large = large[np.argsort(-areas[large], kind="stable")][:_MOST_PIECES]
    framed = np.zeros((height + 2 * pad, width + 2 * pad), np.int32)
    framed[rows + pad, cols + pad] = owner
    border = _border((height, width), seen)
    boxes = ndimage.find_objects(grid)
    finds = []
    for k in large.tolist():
        # Cells at the rim of a thing need not be full of it.
        top, left = (side.start * CELL_PX for side in boxes[k - 1])
        below, right = (side.stop * CELL_PX for side in boxes[k - 1])
        within = framed[top + pad : below + pad, left + pad : right + pad] == k
        x, y, w, h = cv2.boundingRect(within.view(np.uint8))
        r0, r1, c0, c1 = top + y, top + y + h, left + x, left + x + w
        around = framed[r0 : r1 + 2 * pad, c0 : c1 + 2 * pad]
        mask = around[pad : pad + h, pad : pad + w] == k
        confidence = float(answer.metal[r0:r1, c0:c1][mask].mean())
        if confidence < _DOUBTFUL:
            continue
        pieces, _ = cv2.connectedComponents(mask.astype(np.uint8), connectivity=8)
        find = Find(
            row=r0,
            col=c0,
            mask=mask,
            pieces=pieces - 1,
            confidence=confidence,
            at_border=bool((border[r0:r1, c0:c1] & mask).any()),
            glance=glance_of(answer.guess, mask, r0, c0),
            others=(around > 0) & (around != k),
        )
        finds.append(find)
    return finds


def _border(shape: tuple[int, ...], seen: BoolMask | None) -> BoolMask:
    inside = np.ones(shape, np.uint8) if seen is None else seen.view(np.uint8)
    around, kernel = cv2.BORDER_CONSTANT, np.ones((5, 5), np.uint8)
    return np.asarray(cv2.erode(inside, kernel, borderType=around, borderValue=0) == 0)
