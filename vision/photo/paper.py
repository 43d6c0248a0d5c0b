"""Bare paper in the photo: small blocks of the sheet that could be white.

Not in here: what white is made of them (``light``). Without a card, blocks that look
like plain white ground take the sheet's place.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from vision.photo.colour import linear_from_rgb

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import BoolMask, Float1
    from vision.photo.plane import Plane

__all__ = ["LUMA", "PaperBlocks", "paper_blocks", "plain_ground"]

#: Brightness of linear sRGB (IEC 61966-2-1, the matrix's Y row).
LUMA: Float1 = np.array([0.2126, 0.7152, 0.0722])

_VIEW_PX_PER_MM = 2.0
_BLOCK_PX = 12
_PRINT_MARGIN_MM = 1.0
#: Share of a block that must be free of print.
_FREE_MIN = 0.3
#: White is the mean between these shares of a block's free pixels, by brightness: chips
#: lie below, sparkle above.
_RANK = (0.5, 0.9)
#: Encoded value from which a pixel counts as over-exposed; JPEG rounding blurs the top.
_CLIPPED_AT = 253
#: Ground counts as plain white if it is smooth, not clipped, bright and nearly grey.
_SMOOTH, _CLIPPED_MAX, _BRIGHT, _GREY_RATIO = 0.05, 0.02, 0.35, 1.5
#: ... and not much darker than the brightest such ground.
_OF_BRIGHTEST = 0.6


@dataclass(frozen=True, slots=True)
class PaperBlocks:
    """Square blocks, N of them: place, white, scatter and over-exposed share of each."""

    x_mm: Float1
    y_mm: Float1
    linear: npt.NDArray[np.float64]
    scatter: Float1
    clipped: Float1

    def __len__(self) -> int:
        return len(self.x_mm)

    def take(self, which: BoolMask) -> PaperBlocks:
        """Return some of the blocks."""
        return PaperBlocks(
            self.x_mm[which],
            self.y_mm[which],
            self.linear[which],
            self.scatter[which],
            self.clipped[which],
        )


def _tile(picture: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """Return (blocks, pixels, ...) of a picture whose sides are multiples of a block."""
    n = _BLOCK_PX
    rows, columns = picture.shape[0] // n, picture.shape[1] // n
    rest = picture.shape[2:]
    cut = picture.reshape(rows, n, columns, n, *rest).swapaxes(1, 2)
    return cut.reshape(rows * columns, n * n, *rest)


def _free_of_print(plane: Plane, shape: tuple[int, int]) -> BoolMask:
    """Return where the sheet carries no print, in view pixels."""
    free = np.ones(shape, dtype=np.bool_)
    left, top = plane.sheet_mm[:2]
    m, k = _PRINT_MARGIN_MM, _VIEW_PX_PER_MM
    for x0, y0, x1, y1 in plane.printed_mm():
        a, b = max(int((x0 - m - left) * k), 0), max(int((y0 - m - top) * k), 0)
        c, d = max(int((x1 + m - left) * k) + 1, 0), max(int((y1 + m - top) * k) + 1, 0)
        free[b:d, a:c] = False
    if plane.card is not None:  # the cut edge of the sheet and what lies beyond
        edge = max(int(m * k), 1)
        free[:edge] = free[-edge:] = free[:, :edge] = free[:, -edge:] = False
    return free


def paper_blocks(plane: Plane) -> PaperBlocks:
    """Measure the blocks of the sheet that are free enough of print.

    Returns
    -------
    PaperBlocks
        Unbalanced linear colour of the brighter half of each block, 6 mm squares.
        Blocks under chips are among them; the fit of white leaves those below it.
    """
    n, k = _BLOCK_PX, _VIEW_PX_PER_MM
    x0, y0, x1, y1 = plane.sheet_mm
    columns, rows = max(int((x1 - x0) * k) // n, 1), max(int((y1 - y0) * k) // n, 1)
    view = plane.view((x0, y0, x0 + columns * n / k, y0 + rows * n / k), k)
    free: BoolMask = _tile(_free_of_print(plane, view.shape[:2]))
    use = free.mean(axis=1) >= _FREE_MIN
    free = free[use]
    planes = cv2.split(view)
    linear = _tile(linear_from_rgb(view, plane.photo.icc))[use].astype(np.float64)
    luma = linear @ LUMA
    ranked = np.sort(np.where(free, luma, np.inf), axis=1)
    count = free.sum(axis=1)
    low, high = (ranked[np.arange(len(count)), (r * (count - 1)).astype(int)] for r in _RANK)
    chosen = free & (luma >= low[:, None]) & (luma <= high[:, None])
    weight = chosen / chosen.sum(axis=1, keepdims=True)
    mean = (weight[:, None] @ linear)[:, 0]
    level = mean @ LUMA
    spread = np.sqrt((((luma - level[:, None]) ** 2) * free).sum(axis=1) / count)
    top = _tile(cv2.max(cv2.max(*planes[:2]), planes[2]) >= _CLIPPED_AT)[use]
    index = np.flatnonzero(use)
    return PaperBlocks(
        x_mm=np.asarray(x0 + (index % columns + 0.5) * n / k, dtype=np.float64),
        y_mm=np.asarray(y0 + (index // columns + 0.5) * n / k, dtype=np.float64),
        linear=mean,
        scatter=spread / np.maximum(level, 1e-6),
        clipped=(top & free).sum(axis=1) / count,
    )


def plain_ground(blocks: PaperBlocks) -> BoolMask:
    """Return which blocks could be plain white ground, for photos without a card.

    Notes
    -----
    Not to be trusted for: bright metal tables, coloured light stronger than 1.5 between
    the strongest and the weakest channel.
    """
    luma = blocks.linear @ LUMA
    smooth = blocks.scatter < _SMOOTH
    weakest = np.maximum(blocks.linear.min(axis=1), 1e-6)
    grey = blocks.linear.max(axis=1) < _GREY_RATIO * weakest
    plain: BoolMask = smooth & grey & (blocks.clipped < _CLIPPED_MAX)
    if plain.any():
        level = float(np.quantile(luma[plain], 0.9))
        plain = plain & (luma > max(_BRIGHT, _OF_BRIGHTEST * level))
    return plain
