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
    from vision.arrays import Float1, Points2
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


def _profile(plane: Plane, ends: Points2, *, level: bool) -> tuple[Float1, float] | None:
    """Return the mean brightness across an edge and the pixels between samples."""
    share = np.linspace(0, 1, _SAMPLES)[:, None]
    line = ends[0] * (1 - share) + ends[1] * share
    aside = np.array([1.0, 0.0] if level else [0.0, 1.0])
    points = line[None] + (_ALONG_MM * plane.unit_mm)[:, None, None] * aside
    px = plane.to_photo_px(points.reshape(-1, 2))
    height, width = plane.photo.rgb.shape[:2]
    if px.min() < 0 or px[:, 0].max() > width - 1 or px[:, 1].max() > height - 1:
        return None
    grid = px.reshape(len(_ALONG_MM), _SAMPLES, 2).astype(np.float32)
    left, top = np.floor(grid.min(axis=(0, 1))).astype(int)
    right, bottom = np.ceil(grid.max(axis=(0, 1))).astype(int) + 1
    cut = np.ascontiguousarray(plane.photo.rgb[top:bottom, left:right])
    linear = linear_from_rgb(cut, plane.photo.icc)[:, :, 1]
    at = grid - np.array([left, top], dtype=np.float32)
    seen = cv2.remap(linear, at[..., 0], at[..., 1], cv2.INTER_LINEAR)
    middle = grid[len(grid) // 2]
    step = float(np.linalg.norm(middle[-1] - middle[0])) / (_SAMPLES - 1)
    return np.median(seen, axis=0).astype(np.float64), step


def _width(profile: Float1, step_px: float) -> float | None:
    """Return the 10-90 % width of a falling edge in pixels."""
    tail = _SAMPLES // 8
    white, black = float(np.median(profile[:tail])), float(np.median(profile[-tail:]))
    if white - black < _CONTRAST_MIN:
        return None
    height = np.minimum.accumulate((profile - black) / (white - black))
    samples = np.arange(_SAMPLES, dtype=np.float64)
    high, low = np.interp([-0.9, -0.1], -height, samples)
    return float((low - high) * step_px)


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
    found: dict[bool, list[float]] = {True: [], False: []}
    for ends, level in _outer_edges(plane):
        profile = _profile(plane, ends, level=level)
        width = None if profile is None else _width(*profile)
        if width is not None:
            found[level].append(width)
    middles = [float(np.median(v)) for v in found.values() if len(v) >= _EDGES_MIN]
    return max(middles, default=None)
