"""Boxes round the marked places of a picture, parted where that saves looking at the rest.

A long chip that lies aslant fills little of its own box; halves of it, drawn tight,
hold the same marks with fewer pixels. Not in here: what is looked for in them (``ground``).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import BoolMask

__all__ = ["Box", "boxes_of"]

#: Rows and columns.
Box = tuple[slice, slice]

#: Boxes are made of tiles of so many pixels.
_TILE = 16
#: What a box costs beyond its pixels, in pixels; decides whether parting it pays.
_BOX_COST = 15000
#: Boxes are parted no further below this many tiles, or where this share is marked.
_LEAST_TILES, _FULL = 4, 0.7


def boxes_of(near: BoolMask, *, margin: int) -> list[Box]:
    """Return boxes that together hold all marked pixels, and few others.

    ``margin`` is how many pixels round each box are looked at besides; it decides
    whether parting a box saves time.
    """
    h, w = near.shape
    step = _TILE
    framed = cv2.copyMakeBorder(
        near.astype(np.uint8) * np.uint8(255), 0, -h % step, 0, -w % step, cv2.BORDER_CONSTANT
    )
    size = (framed.shape[1] // step, framed.shape[0] // step)
    tiles = (cv2.resize(framed, size, interpolation=cv2.INTER_AREA) > 0).astype(np.uint8)
    joined = cv2.dilate(tiles, np.ones((3, 3), np.uint8))
    _, _, stats, _ = cv2.connectedComponentsWithStats(joined, connectivity=8)
    boxes = []
    for c, r, x, y, _ in stats[1:].tolist():
        for rows, cols in _parted(tiles, (slice(r, r + y), slice(c, c + x)), margin):
            box = (
                slice(rows.start * step, min(rows.stop * step, h)),
                slice(cols.start * step, min(cols.stop * step, w)),
            )
            boxes.append(_tight(near, box))
    return boxes


def _tight(marked: npt.NDArray[np.generic], box: Box) -> Box:
    """Return the box drawn tight round what is marked in it; something must be."""
    rows, cols = box
    part = marked[box]
    r, c = np.flatnonzero(part.any(axis=1)), np.flatnonzero(part.any(axis=0))
    return (
        slice(rows.start + int(r[0]), rows.start + int(r[-1]) + 1),
        slice(cols.start + int(c[0]), cols.start + int(c[-1]) + 1),
    )


def _cost(box: Box, margin: int) -> int:
    """Return what judging a box of tiles costs, in pixels."""
    rows, cols = box
    reach = 2 * margin
    tall, wide = (rows.stop - rows.start) * _TILE, (cols.stop - cols.start) * _TILE
    return int((tall + reach) * (wide + reach)) + _BOX_COST


def _parted(tiles: npt.NDArray[np.uint8], box: Box, margin: int) -> list[Box]:
    """Draw a box of tiles tight round the marked ones; halve it where that saves time."""
    part = tiles[box]
    if not part.any():
        return []
    rows, cols = box = _tight(tiles, box)
    tall, wide = rows.stop - rows.start, cols.stop - cols.start
    full = np.count_nonzero(tiles[box])
    if max(tall, wide) < _LEAST_TILES or full > _FULL * tall * wide:
        return [box]
    if tall > wide:
        middle = (rows.start + rows.stop) // 2
        halves = ((slice(rows.start, middle), cols), (slice(middle, rows.stop), cols))
    else:
        middle = (cols.start + cols.stop) // 2
        halves = ((rows, slice(cols.start, middle)), (rows, slice(middle, cols.stop)))
    parts = [b for half in halves for b in _parted(tiles, half, margin)]
    apart = sum(_cost(b, margin) for b in parts)
    return parts if apart < _cost(box, margin) else [box]
