"""The crop round one find, at the density that chips are measured at.

In here: cutting it out of the photo, how surely each of its pixels shows the chip, and the
outline of that. Not in here: any measuring.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

from vision.chips.features import CROP_PX_PER_MM
from vision.chips.ground import FIND_PX_PER_MM
from vision.chips.part import METAL_AT

if TYPE_CHECKING:
    from vision.arrays import Float2, Linear3, Points2
    from vision.chips.find import Find
    from vision.photo.light import Light
    from vision.photo.plane import Plane

    Box = tuple[float, float, float, float]

__all__ = ["EVEN", "PAD_PX", "Crop", "crop_round", "outline_mm"]

#: Empty sheet kept round each chip's crop, mm.
_MARGIN_MM = 0.5
#: The same in pixels of the find view.
PAD_PX = int(np.ceil(_MARGIN_MM * FIND_PX_PER_MM))
#: As surely so as not.
EVEN = 0.5
#: Outlines are followed through a picture so much finer; points that move them by less than
#: so many of its pixels are left out, and rings of fewer corners.
_UP, _NEEDLESS_PX, _LEAST_CORNERS = 2, 0.6, 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Crop:
    """A box of the sheet, mm, its picture and how surely its pixels show the chip.

    ``linear`` (H, W, 3), white sheet = 1. ``share`` (H, W): more than a half where a pixel
    is taken for the chip's, and all of a rim of two pixels less.
    """

    box_mm: Box
    linear: Linear3
    share: Float2


def _finer(picture: Float2, up: float, size: tuple[int, int]) -> Float2:
    """Return a picture ``up`` times finer, its upper left corner kept, (w, h) = ``size``."""
    shift = (1 / up - 1) / 2
    fine = cv2.warpAffine(
        picture,
        np.array([[1 / up, 0, shift], [0, 1 / up, shift]]),
        size,
        flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(fine, np.float32)


def _part(picture: Float2, row: int, col: int, shape: tuple[int, ...]) -> Float2:
    """Cut out a part from a row and a column on; beyond the picture its border goes on."""
    top, left = max(-row, 0), max(-col, 0)
    part = picture[row + top : row + shape[0], col + left : col + shape[1]]
    below, right = shape[0] - top - part.shape[0], shape[1] - left - part.shape[1]
    whole = cv2.copyMakeBorder(part, top, below, left, right, cv2.BORDER_REPLICATE)
    return np.asarray(whole, np.float32)


def crop_round(find: Find, metal: Float2, origin: Box, plane: Plane, light: Light) -> Crop:
    """Cut out the crop round a find of the view whose box is ``origin``.

    ``metal`` (H, W) is what the network says of the view; ``find.others`` reaches
    :data:`PAD_PX` beyond the find.
    """
    q = FIND_PX_PER_MM
    r0, c0 = find.row - PAD_PX, find.col - PAD_PX
    pad = (PAD_PX, PAD_PX, PAD_PX, PAD_PX)
    own = cv2.copyMakeBorder(find.mask.view(np.uint8), *pad, borderType=cv2.BORDER_CONSTANT)
    near = cv2.dilate(own, np.ones((3, 3), np.uint8)) > find.others
    # The crop starts at the same corner; it ends at the whole pixel past the other one.
    up = CROP_PX_PER_MM / q
    size = (int(np.ceil(own.shape[1] * up)), int(np.ceil(own.shape[0] * up)))
    x0, y0 = origin[0] + c0 / q, origin[1] + r0 / q
    box = (x0, y0, x0 + size[0] / CROP_PX_PER_MM, y0 + size[1] / CROP_PX_PER_MM)
    said = _part(metal, r0, c0, own.shape)
    share = _finer(said * near, up, size) * np.float32(EVEN / METAL_AT)
    share[:2], share[-2:], share[:, :2], share[:, -2:] = 0, 0, 0, 0
    linear = light.apply(plane.linear_view(box, CROP_PX_PER_MM), box)
    return Crop(box_mm=box, linear=linear, share=share)


def outline_mm(share: Float2, box: Box) -> tuple[Points2, ...]:
    """Return the outline of what is more surely the chip than not, closed rings in mm.

    Followed through a picture twice as fine, so that it lies a quarter of a crop's pixel, up
    to half of one, inside of where the share is even: the middles of the crop's own pixels
    would lie twice as far inside, which is much of a thin strip. Needless points are left out.
    """
    finer = cv2.resize(share, None, fx=_UP, fy=_UP, interpolation=cv2.INTER_LINEAR)
    contours, _ = cv2.findContours(
        (finer > EVEN).astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE
    )
    corners = []
    for ring in contours:
        if len(ring) > _LEAST_CORNERS:
            kept = cv2.approxPolyDP(ring, _NEEDLESS_PX, closed=True).reshape(-1, 2)
            corners += [kept] if len(kept) >= _LEAST_CORNERS else []
    if not corners:
        return ()
    mm = (np.concatenate(corners) + 0.5) / (_UP * CROP_PX_PER_MM) + (box[0], box[1])
    return tuple(np.split(mm, np.cumsum([len(ring) for ring in corners])[:-1]))
