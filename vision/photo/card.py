"""The printable reference card: its sizes, where every mark lies, and drawing it.

Not in here: finding the card in a photo (``find_card``). One description of marks,
in millimetres from the sheet's upper left corner, feeds picture, PDF and reader.

The card is a ChArUco board (chessboard with square markers) whose middle is left
white for the chips. All sizes share one small dictionary, because fewer words mean
fewer false finds; each size deals the same ids along its frame with another stride,
so two neighbouring markers already tell which card they belong to.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from math import gcd
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from vision.photo.colour import srgb_from_linear

if TYPE_CHECKING:
    from vision.arrays import Float2, Points2, Rgb8

__all__ = [
    "CARDS",
    "CHECK_LINE_MM",
    "CardSpec",
    "Patch",
    "Rect",
    "card_image",
    "card_pdf",
    "card_png",
    "card_reflectance",
    "check_line_mm",
    "chess_corners_mm",
    "field_mm",
    "marker_dictionary",
    "markers_mm",
    "patches_mm",
    "printed_mm",
]

#: x0, y0, x1, y1 in mm.
Rect = tuple[float, float, float, float]

#: Nominal length of the line that tells whether the printer kept the size.
CHECK_LINE_MM = 100.0

_FRAME_SQUARES = 2
_DICTIONARY_WORDS = 70
_STRIP_MM = 12.0
_CLEARANCE_MM = 1.0
_PATCH_MM = 5.0
_PATCH_REFLECTANCE = (0.75, 0.50, 0.30, 0.18, 0.08, 0.0)
_MM_PER_POINT = 25.4 / 72.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CardSpec:
    """One sheet size. ``stride`` deals the marker ids; it differs between sizes."""

    card_id: Literal["a5", "a4", "letter"]
    width_mm: float
    height_mm: float
    columns: int
    rows: int
    stride: int
    square_mm: float = 12.0
    marker_mm: float = 9.0

    @property
    def board_mm(self) -> Rect:
        """Outer edge of the chessboard frame, centred on the sheet."""
        x0 = (self.width_mm - self.columns * self.square_mm) / 2
        y0 = (self.height_mm - self.rows * self.square_mm) / 2
        return x0, y0, self.width_mm - x0, self.height_mm - y0

    @property
    def middle_mm(self) -> Rect:
        """Inner edge of the frame: the white middle with the strip of small print."""
        x0, y0, x1, y1 = self.board_mm
        d = _FRAME_SQUARES * self.square_mm
        return x0 + d, y0 + d, x1 - d, y1 - d


CARDS: dict[str, CardSpec] = {
    spec.card_id: spec
    for spec in (
        CardSpec(card_id="a5", width_mm=210, height_mm=148, columns=16, rows=11, stride=1),
        CardSpec(card_id="a4", width_mm=297, height_mm=210, columns=23, rows=16, stride=3),
        CardSpec(
            card_id="letter", width_mm=279.4, height_mm=215.9, columns=22, rows=16, stride=5
        ),
    )
}


@dataclass(frozen=True, slots=True)
class Patch:
    """A printed grey. Reflectance is relative to paper, nominal: printers differ."""

    rect_mm: Rect
    reflectance: float


@dataclass(frozen=True, slots=True)
class _Text:
    rect_mm: Rect
    words: str


def _frame_squares(spec: CardSpec) -> list[tuple[int, int]]:
    """Return (column, row) of the frame's squares, row by row."""
    d = _FRAME_SQUARES
    return [
        (i, j)
        for j in range(spec.rows)
        for i in range(spec.columns)
        if not (d <= i < spec.columns - d and d <= j < spec.rows - d)
    ]


def _square_mm(spec: CardSpec, i: int, j: int, *, inset: float = 0.0) -> Rect:
    x = spec.board_mm[0] + i * spec.square_mm
    y = spec.board_mm[1] + j * spec.square_mm
    return x + inset, y + inset, x + spec.square_mm - inset, y + spec.square_mm - inset


def _marker_rects(spec: CardSpec) -> dict[int, Rect]:
    inset = (spec.square_mm - spec.marker_mm) / 2
    white = [(i, j) for i, j in _frame_squares(spec) if (i + j) % 2]
    n = len(white)
    if n > _DICTIONARY_WORDS or gcd(spec.stride, n) != 1:
        raise ValueError(f"card {spec.card_id}: {n} markers cannot be dealt by {spec.stride}")
    return {
        (k * spec.stride) % n: _square_mm(spec, i, j, inset=inset)
        for k, (i, j) in enumerate(white)
    }


@cache
def marker_dictionary() -> cv2.aruco.Dictionary:
    """Return the 4 x 4 dictionary, cut to the words that the cards use."""
    whole = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_100)
    return cv2.aruco.Dictionary(whole.bytesList[:_DICTIONARY_WORDS], 4, whole.maxCorrectionBits)


def markers_mm(spec: CardSpec) -> dict[int, Points2]:
    """Return the (4, 2) corners in mm of each marker by id, clockwise from upper left."""
    return {
        k: np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
        for k, (x0, y0, x1, y1) in _marker_rects(spec).items()
    }


def chess_corners_mm(spec: CardSpec) -> Points2:
    """Return the (N, 2) chessboard corners in mm that have all four squares printed.

    These are the ring halfway through the frame. Corners on the frame's inner edge
    are left out: where a fourth square is missing the saddle is lopsided and the
    refined corner is nearly a pixel off.
    """
    x0, y0, _, _ = spec.board_mm
    return np.array(
        [
            (x0 + i * spec.square_mm, y0 + j * spec.square_mm)
            for j in range(1, spec.rows)
            for i in range(1, spec.columns)
            if i in (1, spec.columns - 1) or j in (1, spec.rows - 1)
        ],
        dtype=np.float64,
    )


def field_mm(spec: CardSpec) -> Rect:
    """Return the empty white field for the chips, in mm, 1 mm clear of all print."""
    x0, y0, x1, y1 = spec.middle_mm
    c = _CLEARANCE_MM
    return x0 + c, y0 + c, x1 - c, y1 - _STRIP_MM - c


def patches_mm(spec: CardSpec) -> tuple[Patch, ...]:
    """Return the grey patches, light to black."""
    x0, _, _, y1 = spec.middle_mm
    left, top = x0 + 2.0, y1 - 1.5 - _PATCH_MM
    return tuple(
        Patch((left + k * _PATCH_MM, top, left + (k + 1) * _PATCH_MM, top + _PATCH_MM), value)
        for k, value in enumerate(_PATCH_REFLECTANCE)
    )


def check_line_mm(spec: CardSpec) -> Rect:
    """Return the check line: x0 and x1 are the outer faces of its end ticks."""
    x0, _, _, y1 = spec.middle_mm
    left = x0 + 40.0
    return left, y1 - 3.6, left + CHECK_LINE_MM, y1 - 3.4


def _check_marks(spec: CardSpec) -> list[Rect]:
    x0, y0, x1, y1 = check_line_mm(spec)
    tick, reach = 0.2, 1.5
    ends = [(x0, y0 - reach, x0 + tick, y1 + reach), (x1 - tick, y0 - reach, x1, y1 + reach)]
    middle = (x0 + x1) / 2
    return [(x0, y0, x1, y1), *ends, (middle - 0.1, y0 - reach / 2, middle + 0.1, y1)]


def _texts(spec: CardSpec) -> list[_Text]:
    x0, _, _, y1 = spec.middle_mm
    left, right = x0 + 40.0, x0 + 140.0
    name = f"Bluecurl card {spec.card_id.upper() if spec.card_id != 'letter' else 'Letter'}"
    return [
        _Text((x0 + 2.0, y1 - 11.4, x0 + 32.0, y1 - 9.2), name),
        _Text((x0 + 2.0, y1 - 8.8, x0 + 32.0, y1 - 7.2), "Print at 100 %, no fitting"),
        _Text(
            (left, y1 - 11.4, right, y1 - 9.2),
            "Cold chips only. Stop the spindle first. Lift chips with tweezers, not fingers.",
        ),
        _Text(
            (left, y1 - 8.4, right, y1 - 6.2),
            "Measure this line with a rule, end to end: 100 mm. If not, type what it measures.",
        ),
    ]


def printed_mm(spec: CardSpec) -> tuple[Rect, ...]:
    """Return rectangles in mm that hold every printed mark: frame bands, then small print."""
    bx0, by0, bx1, by1 = spec.board_mm
    mx0, my0, mx1, my1 = spec.middle_mm
    bands = (
        (bx0, by0, bx1, my0),
        (bx0, my1, bx1, by1),
        (bx0, my0, mx0, my1),
        (mx1, my0, bx1, my1),
    )
    patches = tuple(p.rect_mm for p in patches_mm(spec))
    return (*bands, *patches, *_check_marks(spec), *(t.rect_mm for t in _texts(spec)))


def _dark_and_light(spec: CardSpec) -> tuple[list[Rect], list[Rect]]:
    """Return black rectangles, and the white ones that lie on top of them."""
    dark = [_square_mm(spec, i, j) for i, j in _frame_squares(spec) if (i + j) % 2 == 0]
    light: list[Rect] = []
    words = marker_dictionary()
    for k, rect in _marker_rects(spec).items():
        dark.append(rect)
        modules = cv2.aruco.generateImageMarker(words, k, words.markerSize + 2) > 0
        step = spec.marker_mm / modules.shape[0]
        light += [
            (
                rect[0] + c * step,
                rect[1] + r * step,
                rect[0] + (c + 1) * step,
                rect[1] + (r + 1) * step,
            )
            for r, c in np.argwhere(modules).tolist()
        ]
    return dark + _check_marks(spec), light


def _font_file() -> str:
    """Return the path of the free typeface that the PDF library carries along."""
    package = find_spec("reportlab")
    if package is None or not package.submodule_search_locations:
        raise ModuleNotFoundError("reportlab is needed to draw the card", name="reportlab")
    return str(Path(package.submodule_search_locations[0]) / "fonts" / "Vera.ttf")


def _text_size(text: _Text) -> float:
    """Return the type size in mm at which the words fill their box without overflowing."""
    x0, y0, x1, y1 = text.rect_mm
    per_mm = ImageFont.truetype(_font_file(), 100).getlength(text.words) / 100
    return min(y1 - y0, (x1 - x0) / per_mm)


def _cover(a: float, b: float, n: int, px_per_mm: float) -> tuple[slice, Float2]:
    """Return the pixels that the interval a..b (mm) touches and how far it fills each."""
    lo, hi = a * px_per_mm, b * px_per_mm
    first, last = max(int(np.floor(lo)), 0), min(int(np.ceil(hi)), n)
    edges = np.arange(first, last + 1)
    return slice(first, last), np.diff(np.clip(edges, lo, hi)).astype(np.float32)


def _paint(canvas: Float2, rect: Rect, value: float, px_per_mm: float) -> None:
    rows, fill_y = _cover(rect[1], rect[3], canvas.shape[0], px_per_mm)
    columns, fill_x = _cover(rect[0], rect[2], canvas.shape[1], px_per_mm)
    fill = fill_y[:, None] * fill_x[None, :]
    canvas[rows, columns] += fill * (value - canvas[rows, columns])


def _write(canvas: Float2, text: _Text, px_per_mm: float) -> None:
    """Write black words, drawn four times as fine and averaged down."""
    fine = 4 * px_per_mm
    x0, y0, x1, y1 = text.rect_mm
    left, top = int(x0 * px_per_mm), int(y0 * px_per_mm)
    width, height = (
        int(np.ceil((x1 - x0) * px_per_mm)) + 1,
        int(np.ceil((y1 - y0) * px_per_mm)) + 1,
    )
    mask = Image.new("L", (4 * width, 4 * height), 0)
    font = ImageFont.truetype(_font_file(), _text_size(text) * fine)
    baseline = (y0 + 0.8 * (y1 - y0)) * px_per_mm - top
    at = (4 * (x0 * px_per_mm - left), 4 * baseline)
    ImageDraw.Draw(mask).text(at, text.words, fill=255, font=font, anchor="ls")
    fill = np.asarray(mask.reduce(4), dtype=np.float32) / 255
    canvas[top : top + height, left : left + width] *= 1 - fill


def card_reflectance(spec: CardSpec, px_per_mm: float) -> Float2:
    """Draw the card as shares of the light that paper sends back.

    Parameters
    ----------
    spec : CardSpec
    px_per_mm : float, px/mm, [2, 40]
        Edges inside a pixel fill it by area, so any density keeps exact positions.

    Returns
    -------
    (H, W) float32
        Paper is 1. A point (x, y) mm lies at pixel (x, y) * px_per_mm - 0.5.

    Raises
    ------
    ValueError
        If the density is out of range.
    """
    if not 2 <= px_per_mm <= 40:  # noqa: PLR2004 - the documented range
        raise ValueError(f"px_per_mm must be 2 to 40, not {px_per_mm}")
    shape = (round(spec.height_mm * px_per_mm), round(spec.width_mm * px_per_mm))
    canvas = np.ones(shape, dtype=np.float32)
    dark, light = _dark_and_light(spec)
    for rects, value in ((dark, 0.0), (light, 1.0)):
        for rect in rects:
            _paint(canvas, rect, value, px_per_mm)
    for patch in patches_mm(spec):
        _paint(canvas, patch.rect_mm, patch.reflectance, px_per_mm)
    for text in _texts(spec):
        _write(canvas, text, px_per_mm)
    return canvas


def card_image(spec: CardSpec, px_per_mm: float) -> Rgb8:
    """Return :func:`card_reflectance` as a picture, (H, W, 3) uint8 sRGB, paper is 255."""
    grey = srgb_from_linear(card_reflectance(spec, px_per_mm)[:, :, None])
    return np.repeat(grey, 3, axis=2)


def card_png(spec: CardSpec, px_per_mm: float) -> bytes:
    """Return the card as a PNG file that carries its density, so it prints to size."""
    out = io.BytesIO()
    dpi = px_per_mm * 25.4
    picture = Image.fromarray(card_image(spec, px_per_mm)).convert("L")
    picture.save(out, "PNG", dpi=(dpi, dpi), optimize=True)
    return out.getvalue()


def card_pdf(spec: CardSpec) -> bytes:
    """Return the card as a one-page vector PDF of exactly the sheet's size."""
    # Only printing needs this library; a reading must not pay for loading it.
    from reportlab.pdfbase import pdfmetrics  # noqa: PLC0415
    from reportlab.pdfbase.ttfonts import TTFont  # noqa: PLC0415
    from reportlab.pdfgen.canvas import Canvas  # noqa: PLC0415

    out = io.BytesIO()
    k = 1 / _MM_PER_POINT
    page = Canvas(out, pagesize=(spec.width_mm * k, spec.height_mm * k), invariant=1)
    page.setTitle(f"Bluecurl card {spec.card_id}")
    pdfmetrics.registerFont(TTFont("card", _font_file()))

    def fill(rects: list[Rect], value: float) -> None:
        # One path for all: touching rectangles then show no hairline between them.
        page.setFillGray(
            float(srgb_from_linear(np.full((1, 1, 3), value, np.float32))[0, 0, 0]) / 255
        )
        path = page.beginPath()
        for x0, y0, x1, y1 in rects:
            path.rect(x0 * k, (spec.height_mm - y1) * k, (x1 - x0) * k, (y1 - y0) * k)
        page.drawPath(path, stroke=0, fill=1)

    dark, light = _dark_and_light(spec)
    fill(dark, 0.0)
    fill(light, 1.0)
    for patch in patches_mm(spec):
        fill([patch.rect_mm], patch.reflectance)
    page.setFillGray(0)
    for text in _texts(spec):
        x0, y0, _, y1 = text.rect_mm
        page.setFont("card", _text_size(text) * k)
        page.drawString(x0 * k, (spec.height_mm - y0 - 0.8 * (y1 - y0)) * k, text.words)
    page.showPage()
    page.save()
    return out.getvalue()
