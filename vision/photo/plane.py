"""The flat ground that the chips lie on, addressed in millimetres.

Not in here: finding the card (``find_card``), balancing colours (``light``). Views are
cut straight out of the photo at the density asked for, the lens's bow taken out on the
way, so a reading never flattens more than it looks at. Without a card the same code runs
in units of a made-up millimetre.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

from vision._cv import map_points, shrink
from vision.photo.card import CARDS, Rect, field_mm, printed_mm
from vision.photo.colour import linear_from_rgb
from vision.photo.sheet_map import map_from_matrix
from vision.records import Measured, Scale
from vision.terms import Flag

if TYPE_CHECKING:
    from vision.arrays import Float1, Float2, Linear3, Matrix3, Points2, Rgb8
    from vision.photo.sheet_map import SheetMap
    from vision.records import CardFix, Photo

__all__ = ["NATIVE_PX_PER_MM_MAX", "Plane", "plane_of"]

#: Finer views bring no more: at 18 px/mm the narrowest chip is five pixels wide.
NATIVE_PX_PER_MM_MAX = 18.0
#: Below this the thin chips of a finishing cut are one or two pixels wide.
_DENSITY_MIN_PX_PER_MM = 6.0
#: Without a card a phone photo is taken to show so many made-up millimetres.
_NOMINAL_LONG_SIDE_MM = 220.0
#: A rule in the photo, read to a pixel or two over some 100 mm (common practice, no source).
_TYPED_U_REL = 0.01
_TILT_MAX_DEG = 30.0
_SEEN_SHARE_MIN = 0.6
#: A flat print fits to a few hundredths; this much shows as curved lines on the sheet.
_BENT_MM = 0.15
#: From this ratio on, linear interpolation would skip photo pixels.
_SKIP_RATIO = 1.3
#: From here on a step less is taken where that makes the step even, which is quicker.
_EVEN_FROM = 5
#: Between every so many pixels of a view the way into the photo is straight to 0.03 px.
_GRID_PX = 16
#: A lens bends a crop so little that this is all a straight view leaves, source pixels.
_STRAIGHT_PX = 0.1
#: Focal length of phones over the long side of the picture, 24-28 mm on 36 (common
#: practice, no source).
_FOCAL_LONG_SIDES = 0.75
#: Points along each side of the photo's rim, which a bow makes a curve.
_RIM_POINTS = 6


@dataclass(frozen=True, slots=True)
class Plane:
    """A photo seen as a flat sheet; boxes are (x0, y0, x1, y1) in mm.

    Attributes
    ----------
    photo : Photo
    sheet : SheetMap
        Real millimetres on the sheet to photo pixels, pixel centres at integers.
    scale : Scale
        For the middle of the field.
    field_mm : box
        The white field for chips; the whole photo without a card.
    sheet_mm : box
        The sheet, as far as the photo reaches; the whole photo without a card.
    px_per_mm_native : float
        What the photo holds at the middle of the field, capped.
    card : CardFix or None
    unit_mm : float
        Real millimetres per millimetre of the card's description.
    """

    photo: Photo
    sheet: SheetMap
    scale: Scale
    field_mm: Rect
    sheet_mm: Rect
    px_per_mm_native: float
    card: CardFix | None = None
    unit_mm: float = 1.0

    def to_photo_px(self, points_mm: Points2) -> Points2:
        """Map (N, 2) points in mm to photo pixels."""
        return self.sheet.to_px(points_mm)

    def to_mm(self, points_px: Points2) -> Points2:
        """Map (N, 2) photo pixels to mm on the sheet."""
        return self.sheet.to_mm(points_px)

    def px_per_mm_at(self, x_mm: float, y_mm: float) -> float:
        """Return photo pixels per mm at a point, the geometric mean of both axes."""
        return self.sheet.px_per_mm_at(x_mm, y_mm)

    def rim_mm(self) -> Points2:
        """Return the photo's rim on the sheet, a closed ring of (N, 2) points in mm."""
        return _rim_mm(self.photo, self.sheet)

    def u_rel_at(self, points_mm: Points2) -> Float1:
        """Return (N,) relative standard uncertainties of short lengths at (N, 2) points, mm."""
        known = self.scale.px_per_mm
        if known is None:
            return np.zeros(len(points_mm))
        if self.card is None:
            return np.full(len(points_mm), known.u / known.value)
        return self.sheet.u_rel_at(points_mm)

    def u_rel_of_height(self, u_height_mm: float) -> float:
        """Return what not knowing a thing's height over the sheet adds to ``u_rel_at``.

        What is nearer to the camera looks larger. The camera's distance follows from a
        phone's usual focal length, good to a third. 0 without a scale.
        """
        known = self.scale.px_per_mm
        if known is None:
            return 0.0
        focal_px = _FOCAL_LONG_SIDES * max(self.photo.rgb.shape[:2])
        return float(u_height_mm * known.value / focal_px)

    def photo_maps(
        self,
        box_mm: Rect,
        size: tuple[int, int],
        first_px: tuple[float, float] = (0.0, 0.0),
        step_px: int = 1,
    ) -> tuple[Float2, Float2]:
        """Return where each pixel of a flat view lies in the photo or a reduced part of it.

        Parameters
        ----------
        box_mm : (x0, y0, x1, y1)
        size : (width, height)
            Of the view, whose pixels share the box evenly.
        first_px : (x, y)
            Where the part's first pixel lies in the photo.
        step_px : int
            How many photo pixels one of the part's stands for.

        Returns
        -------
        (H, W) float32, twice
            x and y in the part's pixels, worked out on a grid and filled in between.
        """
        (x0, y0, x1, y1), (width, height) = box_mm, size
        columns, rows = -(-width // _GRID_PX) + 2, -(-height // _GRID_PX) + 2
        # Blocks of the grid, one more on each side: their middles carry the map.
        x = x0 + (np.arange(columns) - 0.5) * _GRID_PX * ((x1 - x0) / width)
        y = y0 + (np.arange(rows) - 0.5) * _GRID_PX * ((y1 - y0) / height)
        at = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
        px = (self.to_photo_px(at) - first_px) / step_px
        coarse = px.astype(np.float32).reshape(rows, columns, 2)
        whole = (columns * _GRID_PX, rows * _GRID_PX)
        rim = slice(_GRID_PX, _GRID_PX + height), slice(_GRID_PX, _GRID_PX + width)
        fine = [
            cv2.resize(coarse[:, :, k], whole, interpolation=cv2.INTER_LINEAR) for k in (0, 1)
        ]
        return np.asarray(fine[0][rim], np.float32), np.asarray(fine[1][rim], np.float32)

    def printed_mm(self) -> tuple[Rect, ...]:
        """Return boxes that hold the card's print; empty without a card."""
        if self.card is None:
            return ()
        k = self.unit_mm
        boxes = printed_mm(CARDS[self.card.card_id])
        return tuple((a * k, b * k, c * k, d * k) for a, b, c, d in boxes)

    def flags(self) -> tuple[Flag, ...]:
        """Return what to keep in mind about the card and the scale."""
        if self.card is None:
            return (Flag.NO_SCALE,) if self.scale.source == "none" else ()
        seen = self.card.corners_seen / self.card.corners_total
        signs = {
            Flag.CARD_PARTLY_HIDDEN: seen < _SEEN_SHARE_MIN,
            Flag.CARD_TILTED: self.card.tilt_deg > _TILT_MAX_DEG,
            Flag.CARD_BENT: self.card.residual_mm > _BENT_MM,
            Flag.LOW_DENSITY: self.px_per_mm_native < _DENSITY_MIN_PX_PER_MM,
        }
        return tuple(flag for flag, there in signs.items() if there)

    def view(self, box_mm: Rect, px_per_mm: float) -> Rgb8:
        """Flatten a box out of the photo.

        Parameters
        ----------
        box_mm : (x0, y0, x1, y1)
        px_per_mm : float, px/mm
            Density of the view. Where the photo is finer it is averaged by area, so that
            a bright curl thinner than a pixel dims but does not vanish.

        Returns
        -------
        (H, W, 3) uint8
            Colours as encoded in the file; H and W are the box times ``px_per_mm``,
            rounded, at least 1. Beyond the photo its border is continued.
        """
        x0, y0, x1, y1 = box_mm
        width = max(round((x1 - x0) * px_per_mm), 1)
        height = max(round((y1 - y0) * px_per_mm), 1)
        ratio = self.px_per_mm_at((x0 + x1) / 2, (y0 + y1) / 2) / px_per_mm
        # A photo up to a quarter finer than a whole step is shrunk by that step first.
        whole = max(round(ratio - 0.25), 1)
        whole -= whole % 2 if whole >= _EVEN_FROM else 0
        ring_px = self.to_photo_px(_ring(box_mm))
        source, left, top = self._around(ring_px, whole)
        if ratio / whole > _SKIP_RATIO:
            # Means of 2 x 2 pixels, each lying half a pixel up and left of its number.
            source = np.asarray(
                cv2.blur(source, (2, 2), borderType=cv2.BORDER_REPLICATE), np.uint8
            )
            left, top = left - 0.5 * whole, top - 0.5 * whole
        size, border = (width, height), cv2.BORDER_REPLICATE
        ring = (ring_px - (left, top)) / whole
        source_from_view = _straight_way(ring, size)
        if source_from_view is None:
            x, y = self.photo_maps(box_mm, size, (left, top), whole)
            flat = cv2.remap(source, x, y, cv2.INTER_LINEAR, borderMode=border)
        else:
            how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
            flat = cv2.warpPerspective(
                source, source_from_view, size, flags=how, borderMode=border
            )
        return np.asarray(flat, dtype=np.uint8)

    def linear_view(self, box_mm: Rect, px_per_mm: float) -> Linear3:
        """Flatten a box and convert it to linear sRGB, not yet balanced."""
        return linear_from_rgb(self.view(box_mm, px_per_mm), self.photo.icc)

    def _around(self, px: Points2, factor: int) -> tuple[Rgb8, float, float]:
        """Cut out the photo around points, reduced; return where its first pixel lies, px."""
        height, width = self.photo.rgb.shape[:2]
        left, top = np.clip(np.floor(px.min(axis=0)) - 2 * factor, 0, (width - 2, height - 2))
        right, bottom = np.clip(np.ceil(px.max(axis=0)) + 2 * factor + 1, 1, (width, height))
        left, top = min(int(left), int(right) - 1), min(int(top), int(bottom) - 1)
        cut = self.photo.rgb[top : int(bottom), left : int(right)]
        centre = (factor - 1) / 2
        return np.asarray(shrink(cut, factor), np.uint8), left + centre, top + centre


def _unit_ring() -> Points2:
    ends = np.array([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)])
    share = np.arange(_RIM_POINTS)[:, None] / _RIM_POINTS
    sides = [a + share * (b - a) for a, b in zip(ends, np.roll(ends, -1, axis=0), strict=True)]
    return np.concatenate(sides)


_UNIT_RING = _unit_ring()


def _ring(box: Rect) -> Points2:
    """Return points along the four sides of a box, in order, (N, 2)."""
    x0, y0, x1, y1 = box
    return np.asarray(_UNIT_RING * (x1 - x0, y1 - y0) + (x0, y0))


def _straight_way(ring_px: Points2, size: tuple[int, int]) -> Matrix3 | None:
    """Return the homography from a view to its source, if there is one that fits its rim.

    ``ring_px`` is where points along the view's rim lie in the source, as :func:`_ring`
    orders them. Small crops and lenses without bow have one; it is twice as fast as maps.
    """
    width, height = size
    ring = _ring((-0.5, -0.5, width - 0.5, height - 0.5))
    ends = slice(None, None, _RIM_POINTS)
    found = cv2.getPerspectiveTransform(
        ring[ends].astype(np.float32), ring_px[ends].astype(np.float32)
    )
    way = np.asarray(found, np.float64)
    off = np.abs(map_points(way, ring) - ring_px).max()
    return way if off < _STRAIGHT_PX else None


def _rim_mm(photo: Photo, sheet: SheetMap) -> Points2:
    height, width = photo.rgb.shape[:2]
    return sheet.to_mm(_ring((0.0, 0.0, width - 1.0, height - 1.0)))


def _with_card(photo: Photo, card: CardFix) -> Plane:
    spec = CARDS[card.card_id]
    k = card.unit_mm
    x0, y0, x1, y1 = (v * k for v in field_mm(spec))
    middle = ((x0 + x1) / 2, (y0 + y1) / 2)
    density = card.sheet.px_per_mm_at(*middle)
    u_rel = float(card.sheet.u_rel_at(np.array([middle]))[0])
    return Plane(
        photo=photo,
        sheet=card.sheet,
        scale=Scale(
            source="card",
            px_per_mm=Measured(value=density, u=density * u_rel),
            residual_mm=card.residual_mm,
            lens_shift=Measured(value=card.sheet.bow, u=card.sheet.u_bow),
        ),
        field_mm=(x0, y0, x1, y1),
        sheet_mm=_within(photo, card.sheet, (spec.width_mm * k, spec.height_mm * k)),
        px_per_mm_native=min(density, NATIVE_PX_PER_MM_MAX),
        card=card,
        unit_mm=k,
    )


def _within(photo: Photo, sheet: SheetMap, size_mm: tuple[float, float]) -> Rect:
    """Return the part of the sheet inside the box around the photo."""
    mm = _rim_mm(photo, sheet)
    low = np.clip(mm.min(axis=0), 0, size_mm)
    high = np.clip(mm.max(axis=0), 0, size_mm)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _without_card(photo: Photo, px_per_mm_typed: float | None) -> Plane:
    height, width = photo.rgb.shape[:2]
    k = px_per_mm_typed or max(width, height) / _NOMINAL_LONG_SIDE_MM
    whole = (0.0, 0.0, width / k, height / k)
    typed = Measured(value=k, u=k * _TYPED_U_REL) if px_per_mm_typed else None
    return Plane(
        photo=photo,
        sheet=map_from_matrix(
            np.array([[k, 0, -0.5], [0, k, -0.5], [0, 0, 1.0]]), (width, height)
        ),
        scale=Scale(source="typed" if px_per_mm_typed else "none", px_per_mm=typed),
        field_mm=whole,
        sheet_mm=whole,
        px_per_mm_native=min(k, NATIVE_PX_PER_MM_MAX),
    )


def plane_of(photo: Photo, card: CardFix | None, px_per_mm_typed: float | None = None) -> Plane:
    """Lay the plane through a photo.

    Parameters
    ----------
    photo : Photo
    card : CardFix or None
        Where the card lies; it wins over a typed scale.
    px_per_mm_typed : float, px/mm, > 0, optional
        The person's own scale, for photos without the card taken straight from above.

    Returns
    -------
    Plane
        With neither card nor scale one "mm" is 1/220 of the photo's long side, and
        ``scale.source`` is ``"none"``: sizes must then not be called millimetres.

    Raises
    ------
    ValueError
        If the typed scale is not a positive number.

    Notes
    -----
    Not to be trusted for: heights above the sheet; a typed scale on a tilted photo.
    """
    if px_per_mm_typed is not None and not 0 < px_per_mm_typed < np.inf:
        raise ValueError(f"px_per_mm_typed must be positive, not {px_per_mm_typed}")
    if card is not None:
        return _with_card(photo, card)
    return _without_card(photo, px_per_mm_typed)
