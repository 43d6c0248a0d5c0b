"""The printed card as the rendered world needs it: size, empty field, picture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from vision.arrays import Rgb8
    from vision.training.layout import Area

__all__ = ["SheetPlan", "sheet_picture", "sheet_plan"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetPlan:
    """Card of ``size_mm`` (across, down); areas in world millimetres (Y up)."""

    card_id: str
    size_mm: tuple[float, float]
    card_area: Area
    field_area: Area


_SIZES = {"a5": (210.0, 148.0), "a4": (297.0, 210.0)}


def sheet_plan(card_id: str) -> SheetPlan:
    w, h = _SIZES[card_id]
    return SheetPlan(card_id=card_id, size_mm=(w, h), card_area=(6.0, -h + 6, w - 6, -6.0),
                     field_area=(36.0, -h + 36, w - 36, -36.0))


def sheet_picture(card_id: str, px_per_mm: float) -> Rgb8:
    w, h = _SIZES[card_id]
    picture = np.full((int(h * px_per_mm), int(w * px_per_mm), 3), 255, np.uint8)
    y, x = np.mgrid[: picture.shape[0], : picture.shape[1]] / px_per_mm
    frame = ((x < 32) | (x > w - 32) | (y < 32) | (y > h - 32)) & (x > 8) & (x < w - 8) & (y > 8) & (y < h - 8)
    black = ((x // 12).astype(int) + (y // 12).astype(int)) % 2 == 0
    picture[frame & black] = 20
    return picture
