"""How close an outline lies to the true one, and how wide a chip looks.

Overlap is a fair measure of a broad chip only: on one that is four pixels wide an edge
half a pixel off already costs a quarter of it. So chips that look at least ``WIDE_PX``
wide are asked for overlap 0.75, thinner ones for a boundary F-score of 0.75.

Boundary F: the outline pixels of a mask are those with a pixel outside beside, above or
below them, round holes too, since holes are open. Precision is the share of the find's
outline pixels that lie within 2 px of an outline pixel of the truth mask, recall the
share of the truth's that lie within 2 px of one of the find's, distances by an exact
distance transform; F is their harmonic mean.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np
from scipy import ndimage

from vision.training.rows import MOST_CHIPS, filled

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from vision.arrays import BoolMask, Points2
    from vision.training.rows import SceneFiles

__all__ = ["WIDE_PX", "boundary_f", "boundary_f_of", "chip_boxes", "edge_of", "mean_width_px"]

#: Overlap 0.75 is asked only of chips that look at least this wide, in pixels.
WIDE_PX = 12.0
_WITHIN_PX = 2.0
#: The transform measures to the middle of the next pixel outside: half a pixel past an edge
#: that runs along the pixels, on average this much past one that runs any way.
_PAST_EDGE_PX = 0.4

Box = tuple[slice, slice]


def edge_of(mask: BoolMask) -> BoolMask:
    """Return the pixels of a mask (H, W) that touch its outside by a side.

    Beyond the border of the array is outside.
    """
    cross = np.array([[0, 1, 0], [1, 1, 1], [0, 1, 0]], np.uint8)
    padded = np.pad(mask.astype(np.uint8), 1)
    inner = cv2.erode(padded, cross)[1:-1, 1:-1] > 0
    return np.asarray(mask & ~inner)


def _share_near(edge: BoolMask, other: BoolMask, within_px: float) -> float:
    """Return the share of an edge's pixels that lie within some pixels of another edge."""
    away = cv2.distanceTransform((~other).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    return float((away[edge] <= within_px + 1e-3).mean())


def boundary_f(found: BoolMask, true: BoolMask, within_px: float = _WITHIN_PX) -> float:
    """Return the boundary F-score, 0...1, of two masks of one shape (H, W).

    0 where either mask is empty.
    """
    ours, theirs = edge_of(found), edge_of(true)
    if not ours.any() or not theirs.any():
        return 0.0
    precision = _share_near(ours, theirs, within_px)
    recall = _share_near(theirs, ours, within_px)
    total = precision + recall
    return 2 * precision * recall / total if total else 0.0


def mean_width_px(mask: BoolMask) -> float:
    """Return how wide a mask (H, W) is on average: four times the mean depth of its pixels.

    The depth of a pixel is its distance from the edge. That gives the width of a long
    strip however it winds, within 0.5 px; a coil whose turns touch counts with the breadth it
    shows, a disc with 4/3 of its radius. 0 for an empty mask.
    """
    if not mask.any():
        return 0.0
    padded = np.pad(mask.astype(np.uint8), 1)
    depth = cv2.distanceTransform(padded, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    return 4 * float(depth[padded > 0].mean() - _PAST_EDGE_PX)


def chip_boxes(scene: SceneFiles, numbers: Collection[int]) -> dict[int, Box]:
    """Return rows and columns of the photo that each of these chips is seen in.

    Numbers of which no pixel is seen are left out.
    """
    boxes = ndimage.find_objects(scene.mask, max_label=MOST_CHIPS)
    return {k: boxes[k - 1] for k in numbers if boxes[k - 1] is not None}


def boundary_f_of(rings: Sequence[Points2], scene: SceneFiles, number: int, box: Box) -> float:
    """Return the boundary F-score of rings (each (N, 2) photo pixels) for one true chip.

    ``box`` is where the chip is seen, as :func:`chip_boxes` gives it.
    """
    own, (r, c) = filled(rings, scene.mask.shape)
    rows, cols = box
    top, left = min(r, rows.start), min(c, cols.start)
    bottom = max(min(r + own.shape[0], scene.mask.shape[0]), rows.stop)
    right = max(min(c + own.shape[1], scene.mask.shape[1]), cols.stop)
    found = np.zeros((bottom - top, right - left), bool)
    part = found[r - top : r - top + own.shape[0], c - left : c - left + own.shape[1]]
    part[:] = own[: part.shape[0], : part.shape[1]]
    return boundary_f(found, scene.mask[top:bottom, left:right] == number)
