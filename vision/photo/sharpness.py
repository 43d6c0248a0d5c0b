"""How sharp the photo is, from the straight black edges of the card's frame.

Not in here: any judgement by texture, which would depend on the chips. The measure is
the 10-90 % width of an edge, as for the edge response of lenses and displays.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np

from vision.photo.card import CARDS
from vision.photo.colour import linear_from_rgb

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import BoolMask, Float1, Points2
    from vision.photo.plane import Plane

__all__ = ["edge_width_px"]

#: Reach to either side of an edge, mm: white sheet outside, plain black inside.
_REACH_MM = 2.0
_SAMPLES = 81
#: Lines along an edge, mm from its middle, averaged against noise.
_ALONG_MM = np.linspace(-4.0, 4.0, 9)
_CONTRAST_MIN = 0.15
_EDGES_MIN = 3


def _outer_edges(plane: Plane) -> list[tuple[Points2, bool]]:
    """Return start (white) and end (black) of a line across each black outer edge."""
    if plane.card is None:
        return []
    spec = CARDS[plane.card.card_id]
    x0, y0, x1, y1 = spec.board_mm
    d, r = spec.square_mm, _REACH_MM
    edges = []
    for i in range(spec.columns):
        x = x0 + (i + 0.5) * d
        if i % 2 == 0:
            edges.append((np.array([(x, y0 - r), (x, y0 + r)]), True))
        if (i + spec.rows - 1) % 2 == 0:
            edges.append((np.array([(x, y1 + r), (x, y1 - r)]), True))
    for j in range(spec.rows):
        y = y0 + (j + 0.5) * d
        if j % 2 == 0:
            edges.append((np.array([(x0 - r, y), (x0 + r, y)]), False))
        if (spec.columns - 1 + j) % 2 == 0:
            edges.append((np.array([(x1 + r, y), (x1 - r, y)]), False))
    return [(ends * plane.unit_mm, level) for ends, level in edges]


def _profiles(
    plane: Plane, ends: npt.NDArray[np.float64], level: BoolMask
) -> tuple[npt.NDArray[np.float64], Float1, BoolMask]:
    """Return the mean brightness across edges and the pixels between samples.

    Parameters
    ----------
    ends : (E, 2, 2) float64, mm
        Start (white) and end (black) of a line across each edge.
    level : (E,) bool
        Whether the edge runs along the sheet.

    Returns
    -------
    (E, samples), (E,), (E,) bool
        The last says which edges lie in the photo; the others are without meaning.
    """
    share = np.linspace(0, 1, _SAMPLES)[:, None]
    lines = ends[:, None, 0] * (1 - share) + ends[:, None, 1] * share
    aside = np.where(level[:, None], [1.0, 0.0], [0.0, 1.0])
    offset = (_ALONG_MM * plane.unit_mm)[None, :, None] * aside[:, None]
    points = lines[:, None] + offset[:, :, None]
    px = plane.to_photo_px(points.reshape(-1, 2)).reshape(points.shape)
    height, width = plane.photo.rgb.shape[:2]
    # The ends of long rows are found ten times as soon as those of many pairs.
    rows = np.ascontiguousarray(np.moveaxis(px, 3, 1)).reshape(len(px), 2, -1)
    low, high = rows.min(axis=2), rows.max(axis=2)
    inside = (low >= 0).all(axis=1) & (high <= (width - 1, height - 1)).all(axis=1)
    middle = px[:, len(_ALONG_MM) // 2]
    step = np.hypot(*(middle[:, -1] - middle[:, 0]).T) / (_SAMPLES - 1)
    seen = np.zeros(px.shape[:3], np.float32)
    for k in np.flatnonzero(inside):
        seen[k] = _green_at(plane, px[k].astype(np.float32), low[k], high[k])
    return np.median(seen, axis=1).astype(np.float64), step, inside


def _green_at(
    plane: Plane, px: npt.NDArray[np.float32], low: Float1, high: Float1
) -> npt.NDArray[np.float32]:
    """Return linear green at (lines, samples, 2) places between ``low`` and ``high``."""
    left, top = np.floor(low).astype(int)
    right, bottom = np.ceil(high).astype(int) + 1
    cut = np.ascontiguousarray(plane.photo.rgb[top:bottom, left:right])
    linear = linear_from_rgb(cut, plane.photo.icc)[:, :, 1]
    at = px - np.array([left, top], np.float32)
    green = cv2.remap(linear, at[..., 0], at[..., 1], cv2.INTER_LINEAR)
    return np.asarray(green, np.float32)


def _widths(profiles: npt.NDArray[np.float64], step_px: Float1) -> Float1:
    """Return the 10-90 % widths of falling edges in pixels, NaN where there is no edge."""
    tail = _SAMPLES // 8
    white, black = np.median(profiles[:, :tail], axis=1), np.median(profiles[:, -tail:], axis=1)
    samples = np.arange(_SAMPLES, dtype=np.float64)
    out = np.full(len(profiles), np.nan)
    for k in np.flatnonzero(white - black >= _CONTRAST_MIN):
        height = np.minimum.accumulate((profiles[k] - black[k]) / (white[k] - black[k]))
        high, low = np.interp([-0.9, -0.1], -height, samples)
        out[k] = (low - high) * step_px[k]
    return out


def edge_width_px(plane: Plane) -> float | None:
    """Return how many photo pixels the card's edges are wide.

    Returns
    -------
    float or None
        10-90 % width in photo pixels: of the edges that run along the sheet or those
        that run across it, whichever are less sharp, so that shake in one direction
        counts. ``None`` without a card or with too few free edges.

    Notes
    -----
    Not to be trusted below about one pixel, where the sampling itself sets the width.
    """
    edges = _outer_edges(plane)
    if not edges:
        return None
    ends, level = np.array([e for e, _ in edges]), np.array([way for _, way in edges])
    profiles, step_px, inside = _profiles(plane, ends, level)
    widths = np.where(inside, _widths(profiles, step_px), np.nan)
    sides = [w[np.isfinite(w)] for w in (widths[level], widths[~level])]
    return max((float(np.median(w)) for w in sides if len(w) >= _EDGES_MIN), default=None)
