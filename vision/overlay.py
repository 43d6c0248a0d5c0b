"""Draw a reading into a copy of the photo: outlines, measured lines, numbers, a scale bar.

Every line has a dark casing and a light core, so that it reads on white paper and on
grey metal alike; a sure outline is whole, an unsure one dashed with a question mark in the
tag, never a matter of colour alone. The thin line inside is what lengths were measured
along: whole for the centre line of a strip, dashed for the axis of a coil. Nothing here
measures anything.
"""

from __future__ import annotations

import io
import math
from typing import TYPE_CHECKING, Final

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from vision.arrays import Points2, Rgb8
    from vision.records import ChipReading, PhotoReading

__all__ = ["draw_overlay", "encode_jpeg"]

_CASING: Final = (22, 24, 30)
_CORE: Final = (214, 255, 64)
_LINE: Final = (255, 120, 60)
_TAG_TEXT: Final = (255, 255, 255)
_SHIFT: Final = 4  # binary places of sub-pixel positions
_GRID: Final = 4  # occupancy is kept on a grid this coarse, px
_BAR_LENGTHS_MM: Final = (1, 2, 5, 10, 20, 50, 100)
_LETTERS_PER_SIDE: Final = 32  # so that tags can be read on a phone, 350 px wide
_CROWD: Final = 20  # chips; from here on tags hold the number alone
_BAR_SHARE: Final = 0.22  # of the width, at most
_LEAST_RING: Final = 26  # extent of a drawn ring, in 1600ths of the picture
_LEAST_GAP: Final = 9  # breadth of a drawn gap, likewise; its two lines cover 6 of it
_FOCUS_MARGIN: Final = 0.08  # of the longer side of what the chips cover

Box = tuple[int, int, int, int]  # x0, y0, x1, y1


def draw_overlay(
    rgb_upright: Rgb8, reading: PhotoReading, *, max_side_px: int = 1600, focus: bool = False
) -> Rgb8:
    """Return a copy of the photo with the reading drawn in.

    Parameters
    ----------
    rgb_upright : (H, W, 3) uint8
        The photo as a person sees it; left as it is. Its size may differ from that of
        the photo that was read, as long as it shows the same.
    reading : PhotoReading
        Outlines in pixels of the photo that was read (``size_px``).
    max_side_px : int, px, > 0
        Longest side of the result; the photo is never enlarged.
    focus : bool
        Show only the part of the photo that holds chips, with a margin.

    Returns
    -------
    (h, w, 3) uint8
        Picture with outlines, tags and, where there is a scale, a scale bar.

    Notes
    -----
    Not to be trusted for: measuring in the picture; lines are drawn wider than a pixel.
    """
    window = _window(rgb_upright, reading, focus=focus)
    x0, y0, x1, y1 = window
    zoom = min(1.0, max_side_px / max(x1 - x0, y1 - y0))
    size = (max(1, round((x1 - x0) * zoom)), max(1, round((y1 - y0) * zoom)))
    canvas = np.asarray(
        cv2.resize(rgb_upright[y0:y1, x0:x1], size, interpolation=cv2.INTER_AREA), np.uint8
    )
    per_px = rgb_upright.shape[1] / reading.size_px[0]
    # Pixel centres lie at integers, hence the halves.
    rings = {
        chip.number: [
            ((ring + 0.5) * per_px - (x0, y0)) * zoom - 0.5
            for ring in chip.outline_px
            if len(ring)
        ]
        for chip in reading.chips
    }
    unit = max(size) / 1600
    for chip in reading.chips:
        for ring in _worth_drawing(rings[chip.number], unit, grains=chip.kind == "grains"):
            _draw_ring(canvas, ring, unit, sure=chip.sure)
        if chip.line_px is not None:
            line = ((chip.line_px + 0.5) * per_px - (x0, y0)) * zoom - 0.5
            _draw_line(canvas, line, unit, axis=chip.line_is_axis)
    picture = Image.fromarray(canvas)
    taken = _occupied(size, rings.values())
    crowded = len(reading.chips) > _CROWD
    letters = _LETTERS_PER_SIDE * (1.5 if crowded else 1.0)
    font = ImageFont.load_default(max(11.0, max(size) / letters))
    bar = None
    if reading.scale.px_per_mm is not None:
        bar_px_per_mm = reading.scale.px_per_mm.value * per_px * zoom
        bar = _place_bar(bar_px_per_mm, size, font, taken)
    for chip in reading.chips:
        if rings[chip.number]:
            text = _tag_text(chip, short=crowded)
            _draw_tag(picture, text, rings[chip.number], font, taken)
    if bar is not None:
        _draw_bar(picture, bar, font)
    return np.asarray(picture, dtype=np.uint8).copy()


def encode_jpeg(rgb: Rgb8, *, quality: int = 88, icc: bytes | None = None) -> bytes:
    """Return a picture as JPEG bytes.

    Parameters
    ----------
    rgb : (H, W, 3) uint8
        Colours as encoded under ``icc``, or sRGB where that is ``None``.
    quality : int, 1-95
        JPEG quality.
    icc : bytes or None
        Colour profile to travel along.
    """
    out = io.BytesIO()
    Image.fromarray(rgb).save(out, "JPEG", quality=quality, icc_profile=icc)
    return out.getvalue()


def _window(rgb: Rgb8, reading: PhotoReading, *, focus: bool) -> Box:
    """Return the part of the picture to show, in its own pixels."""
    height, width = rgb.shape[:2]
    points = [ring for chip in reading.chips for ring in chip.outline_px if len(ring)]
    if not focus or not points:
        return 0, 0, width, height
    per_px = width / reading.size_px[0]
    every = np.concatenate(points) * per_px
    low, high = every.min(axis=0), every.max(axis=0)
    margin = _FOCUS_MARGIN * float((high - low).max()) + 0.02 * max(width, height)
    x0, y0 = (max(0, math.floor(v - margin)) for v in low)
    x1 = min(width, math.ceil(high[0] + margin) + 1)
    y1 = min(height, math.ceil(high[1] + margin) + 1)
    return x0, y0, max(x1, x0 + 1), max(y1, y0 + 1)


def _draw_ring(canvas: Rgb8, ring: Points2, unit: float, *, sure: bool) -> None:
    """Draw one closed outline: casing first, then the core, whole or dashed."""
    core = max(1, round(2.2 * unit))
    casing = core + 2 * max(2, round(1.6 * unit))
    _polyline(canvas, ring, _CASING, casing, closed=True)
    if sure:
        _polyline(canvas, ring, _CORE, core, closed=True)
        return
    dash = max(4.0, 11 * unit)
    for piece in _dashes(ring, dash):
        _polyline(canvas, piece, _CORE, core, closed=False)


def _worth_drawing(rings: Sequence[Points2], unit: float, *, grains: bool) -> Iterable[Points2]:
    """Leave out small pieces, and gaps as narrow as the lines drawn round them.

    Of a coil with its turns close together nothing but lines would be seen.
    """
    if grains or not rings:
        return rings
    sizes = [float(np.ptp(ring, axis=0).max()) for ring in rings]
    areas = [cv2.contourArea(ring.astype(np.float32), oriented=True) for ring in rings]
    largest = int(np.argmax(sizes))
    kept = []
    for k, (ring, size, area) in enumerate(zip(rings, sizes, areas, strict=True)):
        # Gaps run round the other way than outlines.
        gap = area * areas[largest] < 0
        breadth = 2 * abs(area) / max(cv2.arcLength(ring.astype(np.float32), closed=True), 1.0)
        narrow = gap and breadth < _LEAST_GAP * unit
        if k == largest or (size >= _LEAST_RING * unit and not narrow):
            kept.append(ring)
    return kept


def _draw_line(canvas: Rgb8, line: Points2, unit: float, *, axis: bool) -> None:
    """Draw what was measured along: a strip's centre line, or a coil's axis in dashes."""
    core = max(1, round(1.8 * unit))
    casing = core + 2 * max(1, round(unit))
    for piece in _dashes(line, max(5.0, 14 * unit), closed=False) if axis else [line]:
        _polyline(canvas, piece, _CASING, casing, closed=False)
        _polyline(canvas, piece, _LINE, core, closed=False)


def _polyline(
    canvas: Rgb8, points: Points2, colour: tuple[int, int, int], width: int, *, closed: bool
) -> None:
    fixed = np.round(points * 2**_SHIFT).astype(np.int32)
    cv2.polylines(canvas, [fixed], closed, colour, width, cv2.LINE_AA, _SHIFT)


def _dashes(ring: Points2, dash_px: float, *, closed: bool = True) -> list[Points2]:
    """Cut a line, or a closed ring, into dashes with gaps of the same length."""
    line = np.vstack([ring, ring[:1]]) if closed else ring
    steps = np.hypot(*np.diff(line, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    count = max(2, int(along[-1] / (2 * dash_px)))
    pieces = []
    for start in np.arange(count) * along[-1] / count:
        places = np.linspace(start, start + along[-1] / (2 * count), 6)
        x, y = (np.interp(places, along, line[:, axis]) for axis in (0, 1))
        pieces.append(np.column_stack([x, y]))
    return pieces


class _Occupied:
    """Coarse map of what must not be covered: chips first, then tags."""

    def __init__(self, size: tuple[int, int]) -> None:
        self.size = size
        self.cells = np.zeros((size[1] // _GRID + 1, size[0] // _GRID + 1), np.uint8)

    def add_rings(self, rings: Sequence[Points2]) -> None:
        scaled = [np.round(ring / _GRID).astype(np.int32) for ring in rings]
        cv2.fillPoly(self.cells, scaled, 1)
        cv2.polylines(self.cells, scaled, True, 1, 1)  # noqa: FBT003 - OpenCV takes no names here

    def add_box(self, box: Box) -> None:
        self.cells[self._slices(box)] = 1

    def covered(self, box: Box) -> float:
        """Return the share of a box that lies on something."""
        return float(self.cells[self._slices(box)].mean())

    def holds(self, box: Box) -> bool:
        """Whether the box lies inside the picture."""
        return box[0] >= 0 and box[1] >= 0 and box[2] < self.size[0] and box[3] < self.size[1]

    @staticmethod
    def _slices(box: Box) -> tuple[slice, slice]:
        x0, y0, x1, y1 = (max(0, v) // _GRID for v in box)
        return slice(y0, y1 + 1), slice(x0, x1 + 1)


def _occupied(size: tuple[int, int], rings: Iterable[Sequence[Points2]]) -> _Occupied:
    taken = _Occupied(size)
    for chip_rings in rings:
        if chip_rings:
            taken.add_rings(chip_rings)
    return taken


def _draw_tag(
    picture: Image.Image,
    text: str,
    rings: Sequence[Points2],
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
    taken: _Occupied,
) -> None:
    """Write a tag beside the chip, with a line to it."""
    left, top, right, bottom = font.getbbox(text)
    pad = max(3, round(0.28 * (bottom - top)))
    width, height = round(right - left) + 2 * pad, round(bottom - top) + 2 * pad
    box = _place_tag(rings[0], (width, height), taken)
    taken.add_box(box)
    draw = ImageDraw.Draw(picture)
    near = _nearest_point(rings[0], box)
    centre = ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
    line = max(1, round(height / 14))
    draw.line([centre, near], fill=_CASING, width=3 * line)
    draw.line([centre, near], fill=_CORE, width=line)
    draw.rounded_rectangle(box, radius=height // 4, fill=_CASING, outline=_CORE, width=line)
    draw.text((box[0] + pad - left, box[1] + pad - top), text, fill=_TAG_TEXT, font=font)


def _tag_text(chip: ChipReading, *, short: bool = False) -> str:
    """Return what a tag says: ``3  2.2``, or ``3  2.2?`` where the form is not certain.

    In a crowd there is room for the number alone; the form stands in the list of chips.

    >>> from vision.records import ChipGeometry, ChipReading
    >>> chip = ChipReading(
    ...     number=3, kind="chip", outline_px=(), group="2", form="2.2", sure=False,
    ...     candidates=("2.1", "2.2"), probability={}, p_not_chip=0.0, why=(),
    ...     geometry=ChipGeometry(), tint=None,
    ... )
    >>> _tag_text(chip)
    '3  2.2?'
    """
    code = "" if short else f"  {chip.form or chip.group or ''}"
    return f"{chip.number}{code}{'' if chip.sure else '?'}"


def _place_tag(ring: Points2, size: tuple[int, int], taken: _Occupied) -> Box:
    """Return the place nearest to the chip that covers no chip and no other tag."""
    width, height = size
    low, high = ring.min(axis=0), ring.max(axis=0)
    middle, half = (low + high) / 2, (high - low) / 2
    best: tuple[float, Box] | None = None
    for gap in (0.35, 0.8, 1.6, 3.0, 5.0):
        for angle in np.deg2rad(np.arange(-90, 270, 22.5)):
            reach = half + (width / 2, height / 2) + gap * height
            x, y = middle + reach * (math.cos(angle), math.sin(angle))
            x0, y0 = round(x - width / 2), round(y - height / 2)
            box = (x0, y0, x0 + width, y0 + height)
            if not taken.holds(box):
                continue
            cost = 100 * taken.covered(box) + gap
            if best is None or cost < best[0]:
                best = (cost, box)
        if best is not None and best[0] < 100 / width:
            break
    if best is not None:
        return best[1]
    x0 = int(np.clip(middle[0] - width / 2, 0, max(0, taken.size[0] - width - 1)))
    y0 = int(np.clip(middle[1] - height / 2, 0, max(0, taken.size[1] - height - 1)))
    return x0, y0, x0 + width, y0 + height


def _nearest_point(ring: Points2, box: Box) -> tuple[float, float]:
    """Return the point of a ring that lies nearest to a box."""
    low, high = np.array(box[:2], float), np.array(box[2:], float)
    off = np.maximum(np.maximum(low - ring, ring - high), 0)
    x, y = ring[int(np.argmin(np.hypot(*off.T)))]
    return float(x), float(y)


def _place_bar(
    px_per_mm: float,
    size: tuple[int, int],
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
    taken: _Occupied,
) -> tuple[Box, str] | None:
    """Return place and label of the scale bar: the corner that hides least."""
    fitting = [mm for mm in _BAR_LENGTHS_MM if mm * px_per_mm <= _BAR_SHARE * size[0]]
    if not fitting:
        return None
    length = round(fitting[-1] * px_per_mm)
    label = f"{fitting[-1]} mm"
    _, top, _, bottom = font.getbbox(label)
    height, margin = round(2.2 * (bottom - top)), round(0.02 * max(size))
    corners = [
        (x, y)
        for y in (size[1] - height - margin, margin)
        for x in (margin, size[0] - length - margin)
    ]
    boxes = [(x, y, x + length, y + height) for x, y in corners]
    box = min(boxes, key=taken.covered)
    taken.add_box(box)
    return box, label


def _draw_bar(
    picture: Image.Image,
    bar: tuple[Box, str],
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
) -> None:
    (x0, y0, x1, y1), label = bar
    draw = ImageDraw.Draw(picture)
    thick = max(2, (y1 - y0) // 7)
    draw.rectangle((x0 - thick, y1 - 3 * thick, x1 + thick, y1), fill=_CASING)
    draw.rectangle((x0, y1 - 2 * thick, x1, y1 - thick), fill=_CORE)
    middle = ((x0 + x1) / 2, y1 - 3.6 * thick)
    draw.text(
        middle,
        label,
        fill=_TAG_TEXT,
        font=font,
        anchor="mb",
        stroke_width=thick // 2 + 1,
        stroke_fill=_CASING,
    )
