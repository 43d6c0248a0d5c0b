"""The one place that knows how OpenCV shapes its arrays.

OpenCV 4 and 5 disagree about (N, 1, 2), (N, 2) and (N,); everything here takes and
returns points as (N, 2) float64, ids as (N,), pictures as RGB or grey. Not in here:
anything that decides about chips or cards.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import BoolMask, Linear3, Matrix3, Points2, Rgb8

    Grey8 = npt.NDArray[np.uint8]

__all__ = [
    "detect_markers",
    "fit_homography",
    "grey",
    "map_points",
    "refine_corner",
    "shrink",
    "take_off",
]


def grey(rgb: Rgb8) -> Grey8:
    """Return (H, W) uint8 luma of an RGB picture."""
    return np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), dtype=np.uint8)


def shrink(picture: Rgb8 | Grey8, factor: float) -> Rgb8 | Grey8:
    """Reduce a picture ``factor`` times (>= 1) by area averages; colours as encoded.

    Whole factors are block averages to the next level; a last partial block is left out.
    """
    if factor <= 1:
        return picture
    if factor % 2 == 0 and min(picture.shape[:2]) >= factor:
        # Halving is quick: twice, it takes a third of the time of one step by four.
        even = picture[: picture.shape[0] // 2 * 2, : picture.shape[1] // 2 * 2]
        size = (even.shape[1] // 2, even.shape[0] // 2)
        half = cv2.resize(even, size, interpolation=cv2.INTER_AREA)
        return shrink(np.asarray(half, np.uint8), factor // 2)
    height, width = picture.shape[:2]
    size = (max(int(width / factor), 1), max(int(height / factor), 1))
    whole = int(factor)
    if whole == factor and whole > 1:
        picture = picture[: size[1] * whole, : size[0] * whole]
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def detect_markers(
    picture: Grey8, dictionary: cv2.aruco.Dictionary, *, windows_px: tuple[int, int]
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.float64]]:
    """Return ids (N,) and corners (N, 4, 2) px of the square markers in a grey picture.

    ``windows_px`` is the smallest and largest neighbourhood, in steps of 10, that dark
    and light are told apart in: time grows with each. Corners run clockwise from the
    marker's own upper left. They are biased by a fraction of a pixel: good for finding
    a board, not for its scale.
    """
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    settings.minMarkerPerimeterRate = 0.02
    settings.adaptiveThreshWinSizeMin, settings.adaptiveThreshWinSizeMax = windows_px
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary, settings).detectMarkers(picture)
    if len(corners) == 0:
        return np.zeros(0, dtype=np.intp), np.zeros((0, 4, 2))
    return (
        np.asarray(ids, dtype=np.intp).reshape(-1),
        np.asarray(corners, dtype=np.float64).reshape(-1, 4, 2),
    )


def refine_corner(
    patch: Grey8, at: tuple[float, float], half_window_px: int
) -> tuple[float, float]:
    """Move one chessboard corner to its sub-pixel place inside a grey patch."""
    start = np.array([[at]], dtype=np.float32)
    window = (half_window_px, half_window_px)
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_MAX_ITER, 30, 0.005)
    x, y = np.asarray(cv2.cornerSubPix(patch, start, window, (-1, -1), stop)).reshape(2)
    return float(x), float(y)


def fit_homography(
    source: Points2, target: Points2, *, tolerance: float | None = None
) -> tuple[Matrix3, BoolMask] | None:
    """Fit a plane-to-plane map, by consensus within ``tolerance`` or by least squares.

    Parameters
    ----------
    source, target : (N, 2) float64
        N >= 4 pairs, not all on one line.
    tolerance : float, unit of ``target``, optional
        Pairs further off are left out; ``None`` uses all pairs.

    Returns
    -------
    (3, 3) float64 and (N,) bool, or None
        The map and the pairs used; ``None`` if the points allow no map.
    """
    if len(source) < 4:  # noqa: PLR2004 - eight unknowns, two equations per pair
        return None
    method, limit = (0, 0.0) if tolerance is None else (cv2.RANSAC, tolerance)
    matrix, used = cv2.findHomography(source, target, method, limit)
    if np.shape(matrix) != (3, 3) or not np.isfinite(matrix).all():
        return None
    mask = np.ones(len(source), bool) if tolerance is None else np.asarray(used).reshape(-1) > 0
    return np.asarray(matrix, dtype=np.float64), mask


def take_off(picture: Linear3, colour: tuple[float, float, float]) -> Linear3:
    """Return a (H, W, 3) float32 picture less one colour; OpenCV takes scalars as four."""
    less = cv2.subtract(picture, (*colour, 0.0))  # type: ignore[call-overload]
    return np.asarray(less, np.float32)


def map_points(matrix: Matrix3, points: Points2) -> Points2:
    """Map (N, 2) points through a plane-to-plane map; points at infinity become inf."""
    flat = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    mapped = flat @ matrix[:, :2].T + matrix[:, 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(mapped[:, :2] / mapped[:, 2:3], dtype=np.float64)
