"""Boxes round the marked places of a picture: what hangs together stays in one box.

The network tells where the middle of a chip lies; half a chip has another middle than the
whole one, so no box may cut through one. Not in here: what is looked for (``ground``).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np

if TYPE_CHECKING:
    from vision.arrays import BoolMask

__all__ = ["TILE_PX", "Box", "boxes_of", "squares_with"]

#: Rows and columns.
Box = tuple[slice, slice]

#: Boxes are made of tiles of so many pixels.
TILE_PX = 16


def squares_with(where: BoolMask, side: int) -> BoolMask:
    """Mark the squares of ``side`` pixels, at most 16, that hold a marked pixel."""
    h, w = where.shape
    framed = cv2.copyMakeBorder(
        where.astype(np.uint8) * np.uint8(255), 0, -h % side, 0, -w % side, cv2.BORDER_CONSTANT
    )
    size = (framed.shape[1] // side, framed.shape[0] // side)
    return np.asarray(cv2.resize(framed, size, interpolation=cv2.INTER_AREA) > 0)


def boxes_of(near: BoolMask) -> list[tuple[Box, BoolMask]]:
    """Return boxes of whole tiles with what is marked in them and theirs.

    Marks whose tiles touch are in one box. A box that lies wholly in another one is looked at
    with that one, which costs nothing more. All marks are returned once.
    """
    h, w = near.shape
    tiles = squares_with(near, TILE_PX).astype(np.uint8)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(tiles, connectivity=8)
    order = (np.argsort(-(stats[1:, 2] * stats[1:, 3]), kind="stable") + 1).tolist()
    taken: list[tuple[tuple[int, int, int, int], list[int]]] = []
    for k in order:
        c, r, x, y, _ = stats[k].tolist()
        for (r0, r1, c0, c1), numbers in taken:
            if r >= r0 and r + y <= r1 and c >= c0 and c + x <= c1:
                numbers.append(k)
                break
        else:
            taken.append(((r, r + y, c, c + x), [k]))
    out = []
    of_box = np.zeros(len(stats), np.intp)
    for which, (_, numbers) in enumerate(taken, start=1):
        of_box[numbers] = which
    owner = of_box[labels]
    for which, ((r0, r1, c0, c1), _) in enumerate(taken, start=1):
        box = (
            slice(r0 * TILE_PX, min(r1 * TILE_PX, h)),
            slice(c0 * TILE_PX, min(c1 * TILE_PX, w)),
        )
        theirs = (owner[r0:r1, c0:c1] == which).repeat(TILE_PX, 0).repeat(TILE_PX, 1)
        part = near[box]
        out.append((box, part & theirs[: part.shape[0], : part.shape[1]]))
    return out
