"""Corners of the card at the photo's full size: those of the chessboard, those of the markers.

A chessboard corner has light and dark squares on both sides, so blur moves it nowhere. A
marker's corner has one dark quarter; blur pushes all four of a marker towards its middle by
the same amount, which is fitted with the map (``card_fit``). Not in here: which markers
were read (``find_card``).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from vision._cv import grey, refine_corner
from vision.photo.card import chess_corners_mm, markers_mm

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    from vision.arrays import BoolMask, Float1, Points2, Rgb8
    from vision.photo.card import CardSpec
    from vision.photo.sheet_map import SheetMap

__all__ = ["CornerKind", "locate", "marker_corners", "saddles"]

#: How different light and dark must be around a corner, grey levels.
_CONTRAST_MIN = 25.0
#: Windows stay clear of the next corner: markers stand 1.5 mm from a chessboard corner, and
#: their black rim is 1.5 mm wide.
_SADDLE_WINDOW_MM, _MARKER_WINDOW_MM = 1.3, 1.2
#: Where light and dark are looked at, as a share of the window.
_PROBE = 0.7


@dataclass(frozen=True, slots=True)
class CornerKind:
    """Corners of one kind in the card's description.

    Attributes
    ----------
    mm : (N, 2) float64
    inward : (N, 2) float64
        Which way blur moves a corner, -1 or 1 along each axis; zero for the chessboard's.
    window_mm : float
        Half the side of the square in which a corner is looked for.
    probes_mm : (N, 4, 2) float64
        Middles of the four quarters around a corner, clockwise.
    is_one : callable
        Tells by the grey levels of the four quarters whether that is such a corner.
    """

    mm: Points2
    inward: Points2
    window_mm: float
    probes_mm: npt.NDArray[np.float64]
    is_one: Callable[[Float1], bool]


def _alternates(tone: Float1) -> bool:
    first, second = tone[[0, 2]], tone[[1, 3]]
    return bool(
        first.min() - second.max() > _CONTRAST_MIN or second.min() - first.max() > _CONTRAST_MIN
    )


def _dark_first(tone: Float1) -> bool:
    return bool(tone[1:].min() - tone[0] > _CONTRAST_MIN)


def saddles(spec: CardSpec) -> CornerKind:
    """Return the chessboard's corners that have all four squares."""
    mm = chess_corners_mm(spec)
    reach = _PROBE * _SADDLE_WINDOW_MM
    around = reach * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    probes = np.broadcast_to(around, (len(mm), 4, 2))
    return CornerKind(mm, np.zeros_like(mm), _SADDLE_WINDOW_MM, probes, _alternates)


def marker_corners(spec: CardSpec) -> CornerKind:
    """Return the outer corners of all markers; of their quarters the first is the dark one."""
    corners = np.concatenate([mm for _, mm in sorted(markers_mm(spec).items())])
    inward = np.tile(
        [[1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0], [1.0, -1.0]], (len(corners) // 4, 1)
    )
    reach = _PROBE * _MARKER_WINDOW_MM
    signs = np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]])
    probes = reach * inward[:, None] * signs
    return CornerKind(corners, inward, _MARKER_WINDOW_MM, probes, _dark_first)


def locate(rgb: Rgb8, sheet: SheetMap, kind: CornerKind) -> tuple[Points2, BoolMask]:
    """Find corners at full size, each in a window sized by the map.

    Parameters
    ----------
    rgb : (H, W, 3) uint8
    sheet : SheetMap
        A first map, good to about a millimetre.
    kind : CornerKind

    Returns
    -------
    (N, 2) float64, (N,) bool
        Pixels of the photo, and which of them are corners of that kind.
    """
    count = len(kind.mm)
    points_mm = np.concatenate([kind.mm[:, None], kind.mm[:, None] + kind.probes_mm], axis=1)
    around = sheet.to_px(points_mm.reshape(-1, 2)).reshape(-1, 5, 2)
    reach = float(np.abs(kind.probes_mm).max())
    found, good = np.zeros((count, 2)), np.zeros(count, dtype=bool)
    height, width = rgb.shape[:2]
    for k, points in enumerate(around):
        if not np.isfinite(points).all():
            continue
        centre = points[0]
        px_per_mm = np.abs(points[1:] - centre).max() / (reach * np.sqrt(2))
        half = int(np.clip(kind.window_mm * px_per_mm, 3, 40))
        x0, y0 = np.floor(centre).astype(int) - 2 * half - 2
        x1, y1 = np.floor(centre).astype(int) + 2 * half + 3
        if x0 < 0 or y0 < 0 or x1 > width or y1 > height:
            continue
        patch = grey(rgb[y0:y1, x0:x1])
        at = refine_corner(patch, (centre[0] - x0, centre[1] - y0), half)
        moved = np.add(at, (x0, y0)) - centre
        found[k] = centre + moved
        tone = _tones(patch, points[1:] + moved - (x0, y0))
        good[k] = np.abs(moved).max() < half and tone is not None and kind.is_one(tone)
    return found, good


def _tones(patch: npt.NDArray[np.uint8], points_px: Points2) -> Float1 | None:
    """Return the grey levels at points of a patch; ``None`` where one lies outside."""
    x, y = np.rint(points_px).astype(int).T
    if x.min() < 0 or y.min() < 0 or x.max() >= patch.shape[1] or y.max() >= patch.shape[0]:
        return None
    return np.asarray(patch[y, x], np.float64)
