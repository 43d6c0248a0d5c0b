"""What lies where: a small learned look at the flattened sheet, pixel by pixel.

In here: what the network is shown, where it is asked, and what it answers. The network is
run by ``eye``, learned in ``vision.training``. Not in here: making chips out of pixels
(``part``, ``find``).

A fixed threshold cannot do it: a bright curl on a white sheet is hardly darker
than the sheet, while a shadow is. What tells metal from shadow and print is its
surroundings.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING

import cv2
import numpy as np

from vision.chips.boxes import boxes_of, squares_with
from vision.chips.eye import ASKED, CELL_PX, GUESS_PX, GUESSED, KIN, STEP_PX
from vision.ranks import median

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    from vision.arrays import BoolMask, Float2, Linear3
    from vision.chips.boxes import Box
    from vision.chips.eye import Eye, SteadyEye

__all__ = [
    "FIND_PX_PER_MM",
    "FOOT",
    "Answer",
    "Ground",
    "even_light",
    "judge",
    "shown",
    "whole_ground",
]

#: Added to linear light, share of white: about the light of black print with its veil.
FOOT = 0.06
#: Steps of light to one white; the brightest of 65536 is 2.5 times white.
_STEPS = 65535 / 2.5
#: Density at which chips are looked for; the network knows no other.
FIND_PX_PER_MM = 7.0


@cache
def _even_table() -> npt.NDArray[np.float32]:
    """Return the cube roots of all steps of light."""
    top = (1 + FOOT) ** (1 / 3) - FOOT ** (1 / 3)
    light = np.arange(65536) / _STEPS
    return np.asarray((np.cbrt(light + FOOT) - FOOT ** (1 / 3)) / top, np.float32)


def even_light(linear: Linear3) -> Linear3:
    """Return cube-root light with a foot: equal steps look equal, white stays 1.

    The foot keeps the noise of black print from looking like texture. Looked up in steps
    of 1/26,000 of white, which leaves 0.0001; above 2.5 times white nothing is told apart.
    """
    steps = cv2.multiply(linear, (_STEPS,) * 4, dtype=cv2.CV_16U)  # type: ignore[call-overload]
    return np.asarray(cv2.LUT(steps, _even_table()), np.float32).reshape(linear.shape)


#: Even light to lightness.
_LIGHTNESS = np.full((1, 3), 1 / 3, np.float32)
#: Cube-root light: this far from the sheet is worth a look (paper noise is about 0.02).
_BUSY_LIGHT = 0.05
_BUSY_COLOUR = 0.04
#: In a grainy photo colour must differ by so many times what half of the sheet differs by.
_OVER_GRAIN = 3.5
#: Busy pixels of a 3 x 3 patch.
_SOME = 3
#: Pixels round a box that the network looks at besides; whole squares.
_MARGIN = GUESS_PX
#: Marks of fewer pixels than this, surroundings included, hold no chip and no crumb.
_LEAST_PX = 120
#: How far what lies there may reach beyond the places that look busy, pixels.
_REACH = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What the network says of a view of (H, W) pixels, in cells of (h, w).

    ``metal`` (H, W), 0..1: that a pixel shows a chip, a grain or a crumb. For each cell of
    :data:`~vision.chips.eye.CELL_PX` pixels: ``middle_mm`` (2, h, w), where the middle of
    its chip lies, mm right and down from the first cell; ``reach`` (h, w), mm, how far round
    that middle the chip's cells point; ``typical`` (h, w), 0..1, how near the cell does;
    ``kin`` (16, h, w), the log-odds that it and the cell so far off
    (:data:`~vision.chips.eye.KIN`) show one chip, 0 where nothing was asked. For each square
    of :data:`~vision.chips.eye.GUESS_PX` pixels: ``guess`` (18, rows, columns), what
    ``glance`` gathers.
    """

    metal: Float2
    middle_mm: npt.NDArray[np.float32]
    reach: Float2
    typical: Float2
    kin: npt.NDArray[np.float32]
    guess: npt.NDArray[np.float32]

    @classmethod
    def empty(cls, shape: tuple[int, int]) -> Answer:
        """Return the answer for a view of plain sheet: no metal, each cell its own middle."""
        h, w = (-(-side // CELL_PX) for side in shape)
        squares = (-(-side // GUESS_PX) for side in shape)
        return cls(
            metal=np.zeros(shape, np.float32),
            middle_mm=_cell_mm(slice(0, h), slice(0, w)),
            reach=np.ones((h, w), np.float32),
            typical=np.zeros((h, w), np.float32),
            kin=np.zeros((len(KIN), h, w), np.float32),
            guess=np.zeros((2 * len(GUESSED) + len(ASKED), *squares), np.float32),
        )

    @classmethod
    def of_metal(cls, metal: Float2) -> Answer:
        """Return the answer of something that tells metal only: what hangs together is one."""
        shape = (metal.shape[0], metal.shape[1])
        nothing = cls.empty(shape)
        touching = [1.0 if max(map(abs, pair)) == 1 else -1.0 for pair in KIN]
        kin = np.ones_like(nothing.kin) * np.array(touching, np.float32)[:, None, None]
        return replace(nothing, metal=metal, kin=kin)


def _cell_mm(rows: slice, cols: slice) -> npt.NDArray[np.float32]:
    """Return where cells lie, mm right and down from the first of the view, (2, h, w)."""
    out = np.empty((2, rows.stop - rows.start, cols.stop - cols.start), np.float32)
    out[0] = np.arange(cols.start, cols.stop, dtype=np.float32)
    out[1] = np.arange(rows.start, rows.stop, dtype=np.float32)[:, None]
    out *= np.float32(CELL_PX / FIND_PX_PER_MM)
    return out


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """A sheet to look for metal on, seen coarsely as a whole and finely where asked.

    ``coarse`` shows all of it at half density, in linear light; ``fine`` returns the
    balanced picture of a box of rows and columns at :data:`FIND_PX_PER_MM`.
    ``coarse_print`` and what ``fine`` adds is the expected print in even light,
    ``None`` off the card.
    """

    shape: tuple[int, int]
    coarse: Linear3
    coarse_print: Float2 | None
    fine: Callable[[slice, slice], tuple[Linear3, Float2 | None]]


def whole_ground(linear: Linear3, expected: Float2 | None) -> Ground:
    """Return the ground of a picture that is there as a whole, (H, W, 3)."""
    h, w = linear.shape[:2]
    half = (max(w // 2, 1), max(h // 2, 1))

    def smaller(picture: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
        return np.asarray(cv2.resize(picture, half, interpolation=cv2.INTER_AREA), np.float32)

    want = None if expected is None else even_light(expected)

    def fine(rows: slice, cols: slice) -> tuple[Linear3, Float2 | None]:
        return linear[rows, cols], None if want is None else want[rows, cols]

    return Ground(
        shape=(h, w),
        coarse=smaller(linear),
        coarse_print=None if expected is None else even_light(smaller(expected)),
        fine=fine,
    )


def shown(root: Linear3, want: Float2 | None) -> npt.NDArray[np.float32]:
    """Return what the network is shown of a view in even light, (4, H', W') float32.

    Three colours of the view and the sheet's own print; where no print is to be expected
    the fourth picture is 0, which no sheet is. Below and to the right the last row and
    column go on up to sides that the network takes.
    """
    h, w = root.shape[:2]
    out = np.empty((4, h + -h % STEP_PX, w + -w % STEP_PX), np.float32)
    for k in range(3):
        out[k, :h, :w] = root[..., k]
    out[3, :h, :w] = 0 if want is None else want
    out[:, h:, :w] = out[:, h - 1 : h, :w]
    out[:, :, w:] = out[:, :, w - 1 : w]
    return out


def _busy(root: Linear3, want: Float2 | None, shape: tuple[int, int]) -> BoolMask:
    """Mark places that differ from plain sheet or from the sheet's own print.

    Judged on the coarse picture, smoothed: it only says where to look.
    """
    h, w = shape
    soft = cv2.GaussianBlur(root, (3, 3), 0)
    red, green, blue = cv2.split(soft)
    light = cv2.transform(soft, _LIGHTNESS).reshape(soft.shape[:2])
    if want is None:
        off = cv2.absdiff(light, np.ones_like(light))
    else:
        # Black ink is as black as this printer and this light make it.
        black = want < 0.1
        if black[::3, ::3].any():
            ink = float(np.median(light[::3, ::3][black[::3, ::3]]))
            want = np.float32(ink) + np.float32(1 - ink) * want
        kernel = np.ones((5, 5), np.uint8)
        low, high = cv2.erode(want, kernel), cv2.dilate(want, kernel)
        off = cv2.max(light - high, low - light)
    colour = cv2.max(cv2.absdiff(red, green), cv2.absdiff(green, blue))
    grain = median(colour[::3, ::3])
    busy = (off > _BUSY_LIGHT) | (colour > max(_BUSY_COLOUR, _OVER_GRAIN * grain))
    # One busy pixel alone is noise; three of a 3 x 3 patch are something.
    some = cv2.boxFilter(busy.view(np.uint8), -1, (3, 3), normalize=False) >= _SOME
    fine = cv2.resize(some.view(np.uint8), (w, h), interpolation=cv2.INTER_NEAREST)
    return np.asarray(fine.view(np.bool_))


def judge(ground: Ground, eye: Eye | SteadyEye, *, where: BoolMask | None = None) -> Answer:
    """Return what lies where on a ground.

    Only the places where something lies are looked at; plain sheet (and all outside
    ``where``) is no metal. Not to be trusted outside the sheet, on clipped photos, or at
    another density than :data:`FIND_PX_PER_MM`.
    """
    h, w = ground.shape
    busy = _busy(even_light(ground.coarse), ground.coarse_print, ground.shape)
    if where is not None:
        busy &= where
    reached = cv2.dilate(busy.view(np.uint8), np.ones((_REACH, _REACH), np.uint8))
    near = np.asarray(reached).view(np.bool_)
    if where is not None:
        near &= where
    out = Answer.empty(ground.shape)
    for box, own in boxes_of(near):
        if np.count_nonzero(own) < _LEAST_PX:
            continue
        # Boxes and margins are whole squares, so that the squares of all boxes are one grid.
        (top, bottom), (left, right) = (
            (max(side.start - _MARGIN, 0), min(side.stop + _MARGIN, end))
            for side, end in zip(box, (h, w), strict=True)
        )
        said = eye(_looked_at(ground, slice(top, bottom), slice(left, right)))
        inner = (
            slice(box[0].start - top, box[0].stop - top),
            slice(box[1].start - left, box[1].stop - left),
        )
        np.copyto(out.metal[box], said.metal[inner], where=own)
        cells, those = (_squares(part, CELL_PX) for part in (box, inner))
        mine = squares_with(own, CELL_PX)
        middle = said.middle[:, *those] + _cell_mm(*cells)
        np.copyto(out.middle_mm[:, *cells], middle, where=mine)
        np.copyto(out.reach[cells], said.reach[those], where=mine)
        np.copyto(out.typical[cells], said.typical[those], where=mine)
        np.copyto(out.kin[:, *cells], said.kin[:, *those], where=mine)
        squares, those = (_squares(part, GUESS_PX) for part in (box, inner))
        mine = squares_with(own, GUESS_PX)
        np.copyto(out.guess[:, *squares], said.guess[:, *those], where=mine)
    return out


def _looked_at(ground: Ground, rows: slice, cols: slice) -> npt.NDArray[np.float32]:
    """Return what the network is shown of a box; nothing else of it is kept."""
    linear, want = ground.fine(rows, cols)
    return shown(even_light(linear), want)


def _squares(box: Box, side: int) -> Box:
    """Return the squares of ``side`` pixels of a box that starts with a whole one."""
    rows, cols = box
    return (
        slice(rows.start // side, -(-rows.stop // side)),
        slice(cols.start // side, -(-cols.stop // side)),
    )
