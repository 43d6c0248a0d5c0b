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

    from vision.arrays import BoolMask, Points2, Rgb8
    from vision.photo.card import CardSpec
    from vision.photo.sheet_map import SheetMap

    Tones = npt.NDArray[np.float64]

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
    are_such : callable
        Tells by the grey levels of the four quarters, (N, 4), which are such corners.
    """

    mm: Points2
    inward: Points2
    window_mm: float
    probes_mm: npt.NDArray[np.float64]
    are_such: Callable[[Tones], BoolMask]


def _alternate(tones: Tones) -> BoolMask:
    first, second = tones[:, [0, 2]], tones[:, [1, 3]]
    light_first = first.min(axis=1) - second.max(axis=1) > _CONTRAST_MIN
    dark_first = second.min(axis=1) - first.max(axis=1) > _CONTRAST_MIN
    return np.asarray(light_first | dark_first)


def _dark_first(tones: Tones) -> BoolMask:
    return np.asarray(tones[:, 1:].min(axis=1) - tones[:, 0] > _CONTRAST_MIN)


def saddles(spec: CardSpec) -> CornerKind:
    """Return the chessboard's corners that have all four squares."""
    mm = chess_corners_mm(spec)
    reach = _PROBE * _SADDLE_WINDOW_MM
    around = reach * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    probes = np.broadcast_to(around, (len(mm), 4, 2))
    return CornerKind(mm, np.zeros_like(mm), _SADDLE_WINDOW_MM, probes, _alternate)


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
    points = sheet.to_px(points_mm.reshape(-1, 2)).reshape(-1, 5, 2)
    found, good = np.zeros((count, 2)), np.zeros(count, dtype=bool)
    seen = np.flatnonzero(np.isfinite(points).all(axis=(1, 2)))
    centre, probes = points[seen, 0], points[seen, 1:]
    reach = float(np.abs(kind.probes_mm).max())
    px_per_mm = np.abs(probes - centre[:, None]).max(axis=(1, 2)) / (reach * np.sqrt(2))
    half = np.clip(kind.window_mm * px_per_mm, 3, 40).astype(int)
    low, high = _windows(centre, half)
    inside = (low >= 0).all(axis=1) & (high <= (rgb.shape[1], rgb.shape[0])).all(axis=1)
    seen, centre, probes, half = seen[inside], centre[inside], probes[inside], half[inside]
    low, high = low[inside], high[inside]
    at = np.zeros_like(centre)
    start = (centre - low).tolist()
    for k, ((x0, y0), (x1, y1)) in enumerate(zip(low.tolist(), high.tolist(), strict=True)):
        patch = grey(rgb[y0:y1, x0:x1])
        at[k] = refine_corner(patch, (start[k][0], start[k][1]), int(half[k]))
    moved = at + low - centre
    found[seen] = centre + moved
    probes = np.rint(probes + moved[:, None] - low[:, None]).astype(int) + low[:, None]
    within = ((probes >= low[:, None]) & (probes < high[:, None])).all(axis=(1, 2))
    near = within & (np.abs(moved).max(axis=1) < half)
    if near.any():
        x, y = probes[near].transpose(2, 0, 1)
        good[seen[near]] = kind.are_such(grey(rgb[y, x]).astype(np.float64))
    return found, good


def _windows(
    centre: Points2, half: npt.NDArray[np.intp]
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Return the first pixels and those past the last, (N, 2), of patches round corners."""
    middle = np.floor(centre).astype(int)
    return middle - 2 * half[:, None] - 2, middle + 2 * half[:, None] + 3
