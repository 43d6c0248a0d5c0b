"""The flat ground that the chips lie on, addressed in millimetres.

Not in here: finding the card (``find_card``), balancing colours (``light``). Views are
cut straight out of the photo at the density asked for, so a reading never flattens more
than it looks at. Without a card the same code runs in units of a made-up millimetre.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

from vision._cv import map_points, shrink
from vision.photo.card import CARDS, Rect, field_mm, printed_mm
from vision.photo.colour import linear_from_rgb
from vision.photo.find_card import print_scale
from vision.records import Measured, Scale
from vision.terms import Flag

if TYPE_CHECKING:
    from vision.arrays import Linear3, Matrix3, Points2, Rgb8
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


@dataclass(frozen=True, slots=True)
class Plane:
    """A photo seen as a flat sheet; boxes are (x0, y0, x1, y1) in mm.

    Attributes
    ----------
    photo : Photo
    px_from_mm : (3, 3) float64
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
    px_from_mm: Matrix3
    scale: Scale
    field_mm: Rect
    sheet_mm: Rect
    px_per_mm_native: float
    card: CardFix | None = None
    unit_mm: float = 1.0

    def to_photo_px(self, points_mm: Points2) -> Points2:
        """Map (N, 2) points in mm to photo pixels."""
        return map_points(self.px_from_mm, points_mm)

    def px_per_mm_at(self, x_mm: float, y_mm: float) -> float:
        """Return photo pixels per mm at a point, the geometric mean of both axes."""
        return _density(self.px_from_mm, x_mm, y_mm)

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
        source, px_from_source = self._around(box_mm, whole)
        if ratio / whole > _SKIP_RATIO:
            # Means of 2 x 2 pixels, each lying half a pixel up and left of its number.
            source = np.asarray(
                cv2.blur(source, (2, 2), borderType=cv2.BORDER_REPLICATE), np.uint8
            )
            px_from_source = px_from_source @ np.array([[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1]])
        step = 1 / px_per_mm
        mm_from_view = np.array([[step, 0, x0 + step / 2], [0, step, y0 + step / 2], [0, 0, 1]])
        source_from_view = np.linalg.inv(px_from_source) @ self.px_from_mm @ mm_from_view
        flat = cv2.warpPerspective(
            source,
            source_from_view,
            (width, height),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
        return np.asarray(flat, dtype=np.uint8)

    def linear_view(self, box_mm: Rect, px_per_mm: float) -> Linear3:
        """Flatten a box and convert it to linear sRGB, not yet balanced."""
        return linear_from_rgb(self.view(box_mm, px_per_mm), self.photo.icc)

    def _around(self, box_mm: Rect, factor: int) -> tuple[Rgb8, Matrix3]:
        """Cut out the photo around a box, reduced, with the map back to photo pixels."""
        x0, y0, x1, y1 = box_mm
        px = self.to_photo_px(np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]))
        height, width = self.photo.rgb.shape[:2]
        left, top = np.clip(np.floor(px.min(axis=0)) - 2 * factor, 0, (width - 2, height - 2))
        right, bottom = np.clip(np.ceil(px.max(axis=0)) + 2 * factor + 1, 1, (width, height))
        left, top = min(int(left), int(right) - 1), min(int(top), int(bottom) - 1)
        cut = self.photo.rgb[top : int(bottom), left : int(right)]
        factor = min(factor, *cut.shape[:2])
        centre = (factor - 1) / 2
        back = np.array([[factor, 0, left + centre], [0, factor, top + centre], [0, 0, 1.0]])
        return np.asarray(shrink(cut, factor), dtype=np.uint8), back


def _density(px_from_mm: Matrix3, x_mm: float, y_mm: float) -> float:
    h = 0.5
    ends = np.array([(x_mm - h, y_mm), (x_mm + h, y_mm), (x_mm, y_mm - h), (x_mm, y_mm + h)])
    left, right, up, down = map_points(px_from_mm, ends)
    (ax, ay), (bx, by) = right - left, down - up
    return float(np.sqrt(abs(ax * by - ay * bx)))


def _with_card(photo: Photo, card: CardFix) -> Plane:
    spec = CARDS[card.card_id]
    k = print_scale(card)
    px_from_mm = np.asarray(np.linalg.inv(card.mm_from_px), dtype=np.float64)
    x0, y0, x1, y1 = (v * k for v in field_mm(spec))
    density = _density(px_from_mm, (x0 + x1) / 2, (y0 + y1) / 2)
    return Plane(
        photo=photo,
        px_from_mm=px_from_mm,
        scale=Scale(
            source="card",
            px_per_mm=Measured(value=density, u=density * card.u_rel),
            residual_mm=card.residual_mm,
        ),
        field_mm=(x0, y0, x1, y1),
        sheet_mm=_within(photo, card.mm_from_px, (spec.width_mm * k, spec.height_mm * k)),
        px_per_mm_native=min(density, NATIVE_PX_PER_MM_MAX),
        card=card,
        unit_mm=k,
    )


def _within(photo: Photo, mm_from_px: Matrix3, sheet_mm: tuple[float, float]) -> Rect:
    """Return the part of the sheet inside the box around the photo."""
    height, width = photo.rgb.shape[:2]
    ends = np.array([(0, 0), (width - 1, 0), (width - 1, height - 1), (0, height - 1)], float)
    mm = map_points(mm_from_px, ends)
    low = np.clip(mm.min(axis=0), 0, sheet_mm)
    high = np.clip(mm.max(axis=0), 0, sheet_mm)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _without_card(photo: Photo, px_per_mm_typed: float | None) -> Plane:
    height, width = photo.rgb.shape[:2]
    k = px_per_mm_typed or max(width, height) / _NOMINAL_LONG_SIDE_MM
    whole = (0.0, 0.0, width / k, height / k)
    typed = Measured(value=k, u=k * _TYPED_U_REL) if px_per_mm_typed else None
    return Plane(
        photo=photo,
        px_from_mm=np.array([[k, 0, -0.5], [0, k, -0.5], [0, 0, 1.0]]),
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
