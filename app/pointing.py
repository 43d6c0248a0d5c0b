"""Pointing at something grey in a photo: from percent to pixel, and the cross that shows it.

Places are told in percent of the upright photo, across from the left and down from the top,
as sliders give them, and kept in its pixels, as the reader wants them. Not in here: whether
the place can serve as a neutral (``vision.photo.neutral``), drawing on the page.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any, Final

from PIL import Image, ImageDraw

if TYPE_CHECKING:
    from collections.abc import Sequence

    from app.engine import Upright

__all__ = ["percent_at", "photos_without_tint", "pixel_at", "with_cross"]

Json = dict[str, Any]
Place = tuple[int, int]

_SHOWN_SIDE_PX: Final = 1000  # longest side of the picture with the cross
_DARK, _LIGHT = (16, 18, 22), (255, 255, 255)
#: Shares of the shown width: thickness of a line, radius of the ring about the place.
_LINE, _RING = 0.003, 0.03
#: The magnified part: half its side as a share of the photo's width, its side as shown as a
#: share of the shorter side, and the share of it about the middle that no line covers.
_NEAR, _GLASS, _FREE = 0.03, 0.3, 0.2


def pixel_at(percent: Place, size_px: Place) -> Place:
    """Return the pixel of the upright photo at a place in percent, always inside.

    Parameters
    ----------
    percent : (across, down)
        0 to 100, from the upper left corner.
    size_px : (width, height)
        Of the upright photo.

    >>> pixel_at((50, 100), (4000, 3000))
    (2000, 2999)
    """
    across, down = (
        min(int(share * side / 100), side - 1)
        for share, side in zip(percent, size_px, strict=True)
    )
    return across, down


def percent_at(at_px: Place, size_px: Place) -> Place:
    """Return the whole percent nearest to a pixel; over 100 px it undoes ``pixel_at``."""
    across, down = (
        min(max(round(100 * (at + 0.5) / side), 0), 100)
        for at, side in zip(at_px, size_px, strict=True)
    )
    return across, down


def photos_without_tint(reading: Json, count: int) -> list[int]:
    """Return the photos, from 0 on, whose tint could be read if something grey were shown.

    Those without any tint, where no neutral was found; none where the tint of the metal
    says nothing, or where the photo is of no use anyway. What one photo of several lacked is
    not kept; a photo of nothing but specks without a tint is named, too.
    """
    codes = {flag["code"] for flag in reading["flags"]}
    if (
        "no-neutral" not in codes
        or "tint-says-nothing" in codes
        or reading["usable"] == "retake"
    ):
        return []
    tinted = {c.get("photo_number", 1) for c in reading["chips"] if c.get("tint")}
    return [place for place in range(count) if count == 1 or place + 1 not in tinted]


def with_cross(photo: Upright, percent: Place) -> bytes:
    """Return the photo as JPEG with a cross at a place and what lies there magnified.

    Every line is light with a dark edge, so that it is seen on any ground. The magnified
    part lies in the corner farthest from the place. The photo's colour profile travels along.
    """
    whole = Image.fromarray(photo.rgb)
    shown = whole.copy()
    shown.thumbnail((_SHOWN_SIDE_PX, _SHOWN_SIDE_PX))
    x, y = pixel_at(percent, shown.size)
    line = max(3, round(_LINE * shown.width))
    ring = max(8, round(_RING * shown.width))
    _cross(shown, (x, y), ring, line)
    draw = ImageDraw.Draw(shown)
    for width, reach, colour in ((3 * line, ring + line, _DARK), (line, ring, _LIGHT)):
        draw.ellipse((x - reach, y - reach, x + reach, y + reach), outline=colour, width=width)

    glass = _magnified(whole, percent, round(_GLASS * min(shown.size)), line)
    left = 0 if 2 * x > shown.width else shown.width - glass.width
    top = 0 if 2 * y > shown.height else shown.height - glass.height
    shown.paste(glass, (left, top))

    out = io.BytesIO()
    shown.save(out, "JPEG", quality=85, icc_profile=photo.icc)
    return out.getvalue()


def _magnified(whole: Image.Image, percent: Place, side: int, line: int) -> Image.Image:
    """Return what lies about a place, framed, with a cross that leaves its middle free."""
    x, y = pixel_at(percent, whole.size)
    reach = max(8, round(_NEAR * whole.width))
    near = whole.crop((x - reach, y - reach, x + reach + 1, y + reach + 1))
    glass = near.resize((side, side))
    _cross(glass, (side // 2, side // 2), round(_FREE * side), line)
    draw = ImageDraw.Draw(glass)
    edge = (0, 0, side - 1, side - 1)
    draw.rectangle(edge, outline=_LIGHT, width=3 * line)
    draw.rectangle(edge, outline=_DARK, width=line)
    return glass


def _cross(picture: Image.Image, at: Sequence[int], free: int, line: int) -> None:
    """Draw lines through a place to all four edges; within ``free`` px of it there is none."""
    x, y = at
    width, height = picture.size
    draw = ImageDraw.Draw(picture)
    for thick, colour in ((3 * line, _DARK), (line, _LIGHT)):
        for start, end in (
            ((0, y), (x - free, y)),
            ((x + free, y), (width, y)),
            ((x, 0), (x, y - free)),
            ((x, y + free), (x, height)),
        ):
            if start[0] <= end[0] and start[1] <= end[1]:
                draw.line((start, end), fill=colour, width=thick)
