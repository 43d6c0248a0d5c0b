"""The printed card as the rendered world needs it: size, empty field, picture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from vision.photo.card import CARDS, Rect, card_image, field_mm

if TYPE_CHECKING:
    from vision.arrays import Rgb8
    from vision.training.layout import Area

__all__ = ["SheetPlan", "sheet_picture", "sheet_plan"]

_RIM_MM = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetPlan:
    """Card of ``size_mm`` (across, down); areas in world millimetres (Y up)."""

    card_id: str
    size_mm: tuple[float, float]
    card_area: Area
    """Where things may lie on the sheet, a little inside of its cut edge."""
    field_area: Area
    """The empty white field meant for the chips."""


def _world(rect: Rect) -> Area:
    x0, y0, x1, y1 = rect
    return (x0, -y1, x1, -y0)


def sheet_plan(card_id: str) -> SheetPlan:
    """Plan of a card of :data:`vision.photo.card.CARDS`."""
    spec = CARDS[card_id]
    width, height = float(spec.width_mm), float(spec.height_mm)
    return SheetPlan(
        card_id=card_id,
        size_mm=(width, height),
        card_area=_world((_RIM_MM, _RIM_MM, width - _RIM_MM, height - _RIM_MM)),
        field_area=_world(field_mm(spec)),
    )


def sheet_picture(card_id: str, px_per_mm: float) -> Rgb8:
    """Draw the printed card, sRGB, paper 255."""
    return card_image(CARDS[card_id], px_per_mm)
