"""One look at a sheet: metal, chips one by one, each measured on its own crop.

Training and reading both go through :func:`look_at`, so what the model learned from
is what it is later asked about. Not in here: naming forms, millimetres with
uncertainties, tint.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

import cv2
import numpy as np

from vision.chips.crop import EVEN, PAD_PX, crop_round, outline_mm
from vision.chips.eye import SteadyEye
from vision.chips.features import CROP_PX_PER_MM, Shape, feature_row, shape_of
from vision.chips.find import PIECES_OF_A_CHIP, find_chips
from vision.chips.ground import FIND_PX_PER_MM, Ground, even_light, judge, whole_ground
from vision.chips.part import METAL_AT
from vision.photo.card import CARDS, card_reflectance

if TYPE_CHECKING:
    from vision.arrays import BoolMask, Float2, Linear3, Points2
    from vision.chips.crop import Crop
    from vision.chips.eye import Eye
    from vision.chips.find import Find
    from vision.chips.lie import Lie, LieNet
    from vision.photo.light import Light
    from vision.photo.plane import Plane

__all__ = ["MOST_FINDS", "Look", "Seen", "look_at", "sheet_view"]

#: Edge of the sheet that is not looked at, mm.
_RIM_MM = 0.6
#: More things than this is a heap or a texture, not chips laid out; the largest are kept.
MOST_FINDS = 250
#: Above this share of metal-like ground without a card the scene is clutter.
_CLUTTER_SHARE = 0.12
_MOST_IN_CLUTTER = 120
#: Where most of the metal lies in heaps, chips cannot be told apart; looked at with real photos
#: of heaps in view.
_HEAP_SHARE = 1 / 2
#: Below this chance that a thing winds along an axis nobody asks how its strip lies.
_WINDS = 0.15

Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One thing on the sheet, measured.

    ``mask`` and ``linear`` cover ``box_mm`` at :data:`CROP_PX_PER_MM`; ``outline_mm``
    holds closed rings, outer ones and holes; ``line_mm`` the traced centre line and
    ``axis_mm`` the long axis, bent as the chip is, where there is one.
    """

    box_mm: Box
    mask: BoolMask
    linear: Linear3
    shape: Shape
    features: dict[str, float]
    outline_mm: tuple[Points2, ...]
    line_mm: Points2 | None
    axis_mm: Points2 | None
    at_border: bool
    pieces: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """Everything seen on one sheet, and how busy the sheet is (share that looks like metal).

    ``bare`` says that no card was found; ``dropped`` is how many things were not measured
    because there were too many.
    """

    seen: tuple[Seen, ...]
    busy_share: float
    dropped: int
    bare: bool

    @property
    def heap_share(self) -> float:
        """Share of the metal that lies in heaps, 0..1: in things of very many pieces."""
        heaped = sum(s.shape.area for s in self.seen if s.pieces > PIECES_OF_A_CHIP)
        return float(heaped / max(sum(s.shape.area for s in self.seen), 1.0))

    @property
    def clutter(self) -> bool:
        """Whether chips cannot be told from what is round them; asked only without a card."""
        crowded = self.busy_share > _CLUTTER_SHARE or self.heap_share > _HEAP_SHARE
        return self.bare and (crowded or self.dropped > 0)


def _grid_box(box: Box, q: float) -> Box:
    """Return the box widened to whole pixels of a view of density ``q``."""
    x0, y0 = np.floor(box[0] * q) / q, np.floor(box[1] * q) / q
    x1, y1 = np.ceil(box[2] * q) / q, np.ceil(box[3] * q) / q
    return float(x0), float(y0), float(x1), float(y1)


@lru_cache(maxsize=6)
def _sheet_print(card_id: str, q: float) -> Float2:
    """Return the reflectance of a whole printed sheet, a little soft as lenses are."""
    sheet = card_reflectance(CARDS[card_id], q)
    return np.asarray(cv2.GaussianBlur(sheet, (0, 0), 0.6), np.float32)


@lru_cache(maxsize=6)
def _even_print(card_id: str, q: float) -> Float2:
    """Return the same in even light."""
    return even_light(_sheet_print(card_id, q))


def _expected_print(
    plane: Plane, box: Box, q: float, shape: tuple[int, int], *, even: bool
) -> Float2 | None:
    """Return the printed sheet over a box, white = 1: its reflectance, or in even light.

    Boxes lie on the pixel grid of density ``q``, so the print is cut out, not warped.
    """
    if plane.card is None:
        return None
    sheet = (_even_print if even else _sheet_print)(plane.card.card_id, q * plane.unit_mm)
    top, left = round(box[1] * q), round(box[0] * q)
    out = np.ones(shape, np.float32)
    r0, c0 = max(top, 0), max(left, 0)
    r1, c1 = min(top + shape[0], sheet.shape[0]), min(left + shape[1], sheet.shape[1])
    if r1 > r0 and c1 > c0:
        out[r0 - top : r1 - top, c0 - left : c1 - left] = sheet[r0:r1, c0:c1]
    return out


def _seen_px(plane: Plane, box: Box, q: float, shape: tuple[int, int]) -> BoolMask:
    """Mark the pixels of a view that the photo really shows."""
    rim = (plane.rim_mm() - (box[0], box[1])) * q - 0.5
    seen = np.zeros(shape, np.uint8)
    cv2.fillPoly(seen, [np.clip(np.rint(rim), -30000, 30000).astype(np.int32)], 1)
    if plane.card is not None:
        # The sheet's own edge is no chip.
        x0, y0, x1, y1 = plane.sheet_mm
        edge = _RIM_MM * q
        left, top = (x0 - box[0]) * q + edge, (y0 - box[1]) * q + edge
        right, bottom = (x1 - box[0]) * q - edge, (y1 - box[1]) * q - edge
        seen[: max(int(top), 0)] = seen[max(int(bottom), 0) :] = 0
        seen[:, : max(int(left), 0)] = seen[:, max(int(right), 0) :] = 0
    return seen > 0


def _on_sheet(line_px: Points2 | None, shape: Shape, box: Box) -> Points2 | None:
    """Return a line of the tight crop in mm on the sheet."""
    if line_px is None:
        return None
    return (line_px + shape.corner + 0.5) / CROP_PX_PER_MM + (box[0], box[1])


def _light_near(mask: BoolMask, linear: Linear3) -> Float2:
    """Return the even light at and round a mask, plain sheet elsewhere."""
    reach = 2 * round(0.45 * CROP_PX_PER_MM) + 1
    near = cv2.dilate(mask.astype(np.uint8), np.ones((reach, reach), np.uint8))
    light = cv2.transform(even_light(linear), np.full((1, 3), 1 / 3, np.float32))
    return np.asarray(cv2.copyTo(light, near, np.ones(mask.shape, np.float32)), np.float32)


def _lie_of(shape: Shape, net: LieNet | None) -> Lie | None:
    """Return how the strip lies on its coil, where the thing looks like a coil."""
    winds = shape.glance is None or shape.glance.winds >= _WINDS
    if net is None or shape.straight is None or not winds:
        return None
    return net([shape.straight])[0]


def _measured(find: Find, crop: Crop, *, net: LieNet | None) -> Seen | None:
    mask = crop.share > EVEN
    shape = shape_of(
        mask,
        _light_near(mask, crop.linear),
        confidence=find.confidence,
        glance=find.glance,
    )
    if shape is None:
        return None
    shape = replace(shape, lie=_lie_of(shape, net))
    return Seen(
        box_mm=crop.box_mm,
        mask=mask,
        linear=crop.linear,
        shape=shape,
        features=feature_row(shape),
        outline_mm=outline_mm(crop.share, crop.box_mm),
        line_mm=_on_sheet(shape.trace.path_px if shape.trace else None, shape, crop.box_mm),
        axis_mm=_on_sheet(
            shape.straight.line_px if shape.straight else None, shape, crop.box_mm
        ),
        at_border=find.at_border,
        pieces=find.pieces,
    )


def _level_ground(linear: Linear3) -> Linear3:
    """Divide by the local ground so that a plain bench becomes 1, as a white sheet is."""
    h, w = linear.shape[:2]
    scale = 8
    small = cv2.resize(
        linear, (max(w // scale, 8), max(h // scale, 8)), interpolation=cv2.INTER_AREA
    )
    small = np.clip(small * 255, 0, 255).astype(np.uint8)
    ground = cv2.resize(cv2.medianBlur(small, 31), (w, h), interpolation=cv2.INTER_LINEAR)
    return (linear / np.maximum(ground.astype(np.float32) / 255, 0.02)).astype(np.float32)


def sheet_view(plane: Plane, light: Light) -> tuple[Box, Linear3, Float2 | None, BoolMask]:
    """Return the view to look for chips in: its box, picture, print, and what is seen."""
    q = FIND_PX_PER_MM
    box = _grid_box(plane.sheet_mm, q)
    linear = light.apply(plane.linear_view(box, q), box)
    seen_px = _seen_px(plane, box, q, linear.shape[:2])
    expected = _expected_print(plane, box, q, linear.shape[:2], even=False)
    if expected is None:
        linear = _level_ground(linear)
    return box, linear, expected, seen_px


def _ground_of(plane: Plane, light: Light) -> tuple[Box, Ground, BoolMask]:
    """Return what to look for chips on; on the card it is only flattened where asked."""
    q = FIND_PX_PER_MM
    if plane.card is None:
        box, linear, expected, seen_px = sheet_view(plane, light)
        return box, whole_ground(linear, expected), seen_px
    # An even number of rows and columns, so that the coarse picture is exactly half.
    box = _grid_box(plane.sheet_mm, q / 2)
    shape = (round((box[3] - box[1]) * q), round((box[2] - box[0]) * q))

    def fine(rows: slice, cols: slice) -> tuple[Linear3, Float2 | None]:
        part = (
            box[0] + cols.start / q,
            box[1] + rows.start / q,
            box[0] + cols.stop / q,
            box[1] + rows.stop / q,
        )
        linear = light.apply(plane.linear_view(part, q), part)
        return linear, _expected_print(plane, part, q, linear.shape[:2], even=True)

    coarse = light.apply(plane.linear_view(box, q / 2), box)
    ground = Ground(
        shape=shape,
        coarse=coarse,
        coarse_print=_expected_print(plane, box, q / 2, coarse.shape[:2], even=True),
        fine=fine,
    )
    return box, ground, _seen_px(plane, box, q, shape)


def look_at(plane: Plane, light: Light, eye: Eye) -> Look:
    """Find and measure every chip on the sheet.

    Parameters
    ----------
    plane, light
        The flattened photo and its light.
    eye : Eye
        The learned look.
    """
    q = FIND_PX_PER_MM
    box, ground, seen_px = _ground_of(plane, light)
    # Where no card tells plain sheet, the network is shown far more, and fancies more.
    answer = judge(ground, SteadyEye(eye) if plane.card is None else eye, where=seen_px)
    finds = find_chips(answer, px_per_mm=q, seen=seen_px, pad=PAD_PX)
    busy_share = float((answer.metal > METAL_AT).sum() / max(int(seen_px.sum()), 1))
    if plane.card is None and busy_share > _CLUTTER_SHARE:
        # Nobody will trust this scene; look only at what could still be single chips.
        reach = 0.25 * max(seen_px.shape)
        finds = [f for f in finds if max(f.mask.shape) < reach]
        kept = finds[:_MOST_IN_CLUTTER]
    else:
        kept = finds[:MOST_FINDS]
    seen = (
        _measured(find, crop_round(find, answer.metal, box, plane, light), net=eye.lie)
        for find in kept
    )
    return Look(
        seen=tuple(s for s in seen if s is not None),
        busy_share=busy_share,
        dropped=len(finds) - len(kept),
        bare=plane.card is None,
    )
