"""The line along a chip: skeleton, its graph, the longest path, a smoothed length.

Pixel counts of a skeleton are about a tenth short; a smoothed path through the
skeleton's graph with the half-widths added at both ends is within 1-2 % on
ribbons and arcs that do not cross themselves. Not in here: coils, whose length
comes from radius, pitch and turns (``coil``).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components, dijkstra
from skimage.morphology import skeletonize

from vision.chips.smooth import smoothed
from vision.ranks import median

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import BoolMask, Float1, Points2

__all__ = ["Trace", "smooth_path", "trace_mask"]

#: Steps to a pixel's neighbours, row by row, as the columns of a sparse row must stand.
_STEPS = ((-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1))
_STEP_LENGTH = np.hypot(*np.array(_STEPS).T)
#: Each diagonal step and the two straight ones beside it.
_DIAGONALS = ((0, 1, 3), (2, 1, 4), (5, 6, 3), (7, 6, 4))


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """What the skeleton of one mask says; everything in pixels of that mask.

    ``path_px`` is the longest way through the skeleton, in order; ``half_px`` the
    distance to the mask's edge at each of its points. ``net_px`` is the length of
    the whole skeleton, ``ends`` and ``junctions`` count its tips and crossings
    after spurs shorter than the local width were left out.
    """

    path_px: Points2
    half_px: Float1
    length_px: float
    net_px: float
    ends: int
    junctions: int


def smooth_path(path_px: Points2, sigma_px: float) -> Points2:
    """Return the (N, 2) path smoothed along itself, its end points kept."""
    if len(path_px) < 5 or sigma_px <= 0:
        return path_px
    smooth = np.stack([smoothed(side, sigma_px) for side in path_px.T], axis=1)
    # The filter pulls the ends inward; ramp back to the raw ends over one sigma.
    n = len(path_px)
    reach = np.minimum(np.arange(n), np.arange(n)[::-1]) / max(sigma_px, 1.0)
    keep = np.clip(reach, 0, 1)[:, None]
    return np.asarray(keep * smooth + (1 - keep) * path_px)


def _graph(
    rows: np.ndarray, cols: np.ndarray, shape: tuple[int, int]
) -> tuple[csr_array, np.ndarray]:
    """Return the graph of skeleton pixels with step lengths, and how many of 8 are beside."""
    n, wide = len(rows), shape[1] + 2
    number = np.full((shape[0] + 2) * wide, -1, np.int32)
    at = (rows + 1) * wide + cols + 1
    number[at] = np.arange(n)
    beside = number[at[:, None] + np.array([dr * wide + dc for dr, dc in _STEPS])]
    linked = beside >= 0
    degree = np.count_nonzero(linked, axis=1)
    # A diagonal beside two straight steps would be a short cut.
    for diagonal, upright, level in _DIAGONALS:
        linked[:, diagonal] &= ~(linked[:, upright] | linked[:, level])
    steps = np.flatnonzero(linked)
    node, way = np.divmod(steps, len(_STEPS))
    ends = np.append(0, np.cumsum(np.bincount(node, minlength=n)))
    return csr_array((_STEP_LENGTH[way], beside.ravel()[steps], ends), shape=(n, n)), degree


def _farthest(reach: np.ndarray) -> int:
    return int(np.argmax(np.where(np.isfinite(reach), reach, -1)))


def _longest_path(graph: csr_array) -> np.ndarray:
    """Return node numbers of the longest shortest way in the largest piece."""
    far = dijkstra(graph, indices=0)
    if not np.isfinite(far).all():
        _, piece = connected_components(graph, directed=False)
        far = dijkstra(
            graph, indices=int(np.flatnonzero(piece == np.bincount(piece).argmax())[0])
        )
    reach, before = dijkstra(graph, indices=_farthest(far), return_predecessors=True)
    node, back = _farthest(reach), before.tolist()
    path = []
    while node >= 0:
        path.append(node)
        node = back[node]
    return np.array(path)


def _tips_and_crossings(
    at: np.ndarray, degree: np.ndarray, half: np.ndarray
) -> tuple[int, int]:
    """Count ends and junctions; crossings nearer than half a width are one, spurs none.

    ``at`` (N,) are the skeleton's pixels by number, ``degree`` how many of 8 are beside each.
    A square end forks into its two corners and an oblique crossing into two forks, so
    crossing pixels are gathered over half a width and a gathering counts by how many
    branches leave it that are more than spurs: three or more a junction, one an end.
    """
    tips, crossing = degree <= 1, degree >= 3
    if not crossing.any():
        return int(tips.sum()), 0
    reach = max(1, round(median(half.ravel()[at])))
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    count, clump = cv2.connectedComponents(
        cv2.dilate(_picture(at[crossing], half.shape), disc), ltype=cv2.CV_16U
    )
    free = clump.ravel()[at] == 0
    branches, branch = cv2.connectedComponents(_picture(at[free], half.shape))
    branch = branch.ravel()[at]
    tipped = np.bincount(branch[tips & free], minlength=branches) > 0
    spur = tipped & (np.bincount(branch[free], minlength=branches) < 1.2 * reach)
    kept = free & ~spur[branch]
    beside = cv2.dilate(clump, np.ones((3, 3), np.uint8)).ravel()[at]
    touching = kept & (beside > 0)
    _, touch = cv2.connectedComponents(_picture(at[touching], half.shape))
    pairs = np.unique(touch.ravel()[at[touching]].astype(np.int64) * count + beside[touching])
    leaving = np.bincount(pairs % count, minlength=count)[1:]
    ends = int((tips & kept).sum()) + int((leaving == 1).sum())
    return ends, int((leaving >= 3).sum())


def _picture(at: np.ndarray, shape: tuple[int, ...]) -> npt.NDArray[np.uint8]:
    """Return a picture in which some pixels, given by their number, are set."""
    out = np.zeros(shape, np.uint8)
    out.ravel()[at] = 1
    return out


def trace_mask(mask: BoolMask, half: np.ndarray | None = None) -> Trace | None:
    """Trace the line along a mask.

    Parameters
    ----------
    mask : (H, W) bool
        One chip; needs a border of at least one empty pixel.
    half : (H, W) float32, px, optional
        Distance to the mask's edge, if already known.

    Returns
    -------
    Trace or None
        ``None`` when the mask has too few pixels for a line.

    Notes
    -----
    Not to be trusted for: masks whose coils or crossings have grown together.
    """
    at = np.flatnonzero(skeletonize(mask))
    rows, cols = np.divmod(at, mask.shape[1])
    if len(rows) < 4:
        return None
    if half is None:
        half = cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 5)
    graph, degree = _graph(rows, cols, mask.shape)
    order = _longest_path(graph)
    raw = np.stack([cols[order], rows[order]], axis=1).astype(np.float64)
    half_along = half[rows[order], cols[order]].astype(np.float64)
    width = 2 * median(half_along)
    path = smooth_path(raw, float(np.clip(width * 0.6, 1.1, 3.0)))
    steps = np.hypot(*np.diff(path, axis=0).T)
    ends, junctions = _tips_and_crossings(at, degree, half)
    caps = float(half_along[0] + half_along[-1])
    # Chain codes of unsmoothed pixels run 5 % long; this is the usual correction.
    net = float(graph.data.sum() / 2 * 0.948)
    return Trace(
        path_px=path,
        half_px=half_along,
        length_px=float(steps.sum()) + caps,
        net_px=net,
        ends=ends,
        junctions=junctions,
    )
