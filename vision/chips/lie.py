"""How the strip lies on its coil, from a look at the straightened coil.

A strip may lie flat on its coil as on a tube, stand on edge as a washer does, or lean between
the two; ISO 3685 parts its tubular, washer-type and conical chips by that. Where turns touch,
no outline tells it, and a view for finding chips is too coarse for it: what tells it are
glints along the tube or across the edges, at the density of the crop. A small network learned
that from rendered coils; not in here: how (``vision.training.teach_lie``).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

from vision.chips.session import session

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from vision.chips.coil import Straight

    Picture = npt.NDArray[np.float32]

__all__ = ["LIE_DEG", "PICTURE", "Lie", "LieNet", "cut", "upright"]

#: One unit of how a strip lies on its coil, degrees.
LIE_DEG = 45.0
#: Rows and columns of the picture that is shown: across the coil and along it.
PICTURE = (64, 128)
#: Rows that the coil itself takes of them, and how far it may be magnified for it.
_COIL_ROWS, _MOST_UP = 52.0, 2.5
#: Light of plain sheet.
_SHEET = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Lie:
    """The angle between a strip's width and the axis it curls round.

    ``deg``: 0 where the strip lies as on a tube, 90 where it stands on edge as a washer
    does; ``spread_deg`` the mean absolute error that the network expects of it. Learned from
    rendered coils only; means nothing for what is not wound along an axis.
    """

    deg: float
    spread_deg: float


def upright(straight: Straight) -> Picture:
    """Return light and metal of a straightened chip, (2, 64, W), all coils equally high."""
    metal, light = straight.mask, straight.light
    rows = np.flatnonzero((metal > 0.5).any(axis=1))
    first, last = (int(rows[0]), int(rows[-1]) + 1) if len(rows) else (0, len(metal))
    up = min(_COIL_ROWS / (last - first), _MOST_UP)
    size = (max(round(metal.shape[1] * up), 1), max(round(metal.shape[0] * up), 1))
    way = cv2.INTER_AREA if up < 1 else cv2.INTER_LINEAR
    both = np.stack([cv2.resize(p, size, interpolation=way) for p in (light, metal)])
    out = np.zeros((2, PICTURE[0], size[0]), np.float32)
    out[0] = _SHEET
    top = PICTURE[0] // 2 - round((first + last) / 2 * up)
    source = slice(max(-top, 0), min(PICTURE[0] - top, size[1]))
    out[:, source.start + top : source.stop + top] = both[:, source]
    return out


def cut(picture: Picture, left: int | None = None) -> Picture:
    """Return (2, 64, 128) of an upright picture: its middle, or from column ``left``.

    A shorter picture is put into plain sheet, ``left`` columns from the rim.
    """
    wide, room = picture.shape[2], PICTURE[1] - picture.shape[2]
    left = abs(room) // 2 if left is None else left
    if room <= 0:
        return picture[:, :, left : left + PICTURE[1]]
    out = np.zeros((2, *PICTURE), np.float32)
    out[0] = _SHEET
    out[:, :, left : left + wide] = picture
    return out


@dataclass(frozen=True, slots=True)
class LieNet:
    """The network in ONNX form: "shown" (N, 2, 64, 128) to "told" (N, 2)."""

    onnx: bytes

    def __call__(self, straights: Sequence[Straight]) -> list[Lie]:
        """Return how the strips of straightened coils lie.

        Raises
        ------
        ModelUnreadable
            The network's file is damaged.
        """
        if not straights:
            return []
        shown = np.stack([cut(upright(s)) for s in straights])
        (told,) = session(self.onnx).run(["told"], {"shown": shown})
        lie, spread = np.clip(told[:, 0], 0, 2) * LIE_DEG, np.exp(told[:, 1]) * LIE_DEG
        return [
            Lie(deg=float(a), spread_deg=float(b)) for a, b in zip(lie, spread, strict=True)
        ]
