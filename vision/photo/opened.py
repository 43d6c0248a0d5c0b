"""A photo walked up to the point where chips are looked for: decode, card, plane, light.

Reading, learning and looking at real photos all start here, so that what was learned is
what is later asked. Not in here: any chip.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from vision.errors import CardError
from vision.photo.card import CHECK_LINE_MM
from vision.photo.decode import decode_photo
from vision.photo.find_card import find_card
from vision.photo.light import measure_light
from vision.photo.neutral import with_tapped_neutral
from vision.photo.plane import plane_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from vision.photo.light import Light
    from vision.photo.plane import Plane
    from vision.records import CardFix, Photo

__all__ = ["OpenedPhoto", "open_photo"]


@dataclass(frozen=True, slots=True)
class OpenedPhoto:
    """A photo as a flat sheet in known light; ``plane.photo`` is the photo itself."""

    plane: Plane
    light: Light


def _card(photo: Photo, check_line_mm: float, *, need_card: bool) -> CardFix | None:
    try:
        return find_card(photo, check_line_mm=check_line_mm)
    except CardError:
        if need_card:
            raise
        return None


def _quiet(stage: str) -> None:
    del stage


def open_photo(
    data: bytes,
    *,
    check_line_mm: float = CHECK_LINE_MM,
    px_per_mm: float | None = None,
    neutral_px: tuple[float, float] | None = None,
    need_card: bool = False,
    told: Callable[[str], None] = _quiet,
) -> OpenedPhoto:
    """Open a photo file.

    Parameters
    ----------
    data : bytes
        A JPEG, PNG, WebP or HEIC file.
    check_line_mm : float
        What the card's 100 mm line really measures.
    px_per_mm : float, optional
        A typed scale, used where no card is found.
    neutral_px : (x, y), optional
        Where something white or grey lies, used where no neutral is found.
    need_card : bool
        Raise where no card is found instead of going on without millimetres.
    told : callable
        Called with the name of each stage as it begins.

    Raises
    ------
    PhotoUnreadable, PhotoTooLarge, CardNotFound, CardMismatch
    """
    told("open the photo")
    photo = decode_photo(data)
    told("find the card")
    plane = plane_of(photo, _card(photo, check_line_mm, need_card=need_card), px_per_mm)
    told("measure the light")
    light = measure_light(plane)
    if neutral_px is not None:
        light = with_tapped_neutral(light, plane, neutral_px)
    return OpenedPhoto(plane, light)
