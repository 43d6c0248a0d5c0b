"""Long lines that have folded themselves into a nest, and how they settle on the table."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter1d
from scipy.spatial import cKDTree

from vision.training.noise import wander
from vision.training.sweep import Points3, arc_lengths

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import Float1

__all__ = ["respaced", "settle", "smooth", "worm"]

#: Distances along the line, in points, that keep their length while it settles.
_STIFF = (1, 2, 5)
_EVERY = 3


def worm(
    rng: np.random.Generator,
    *,
    length_mm: float,
    loop_radius_mm: float,
    ball_radius_mm: float,
    step_mm: float = 0.4,
) -> Points3:
    """Line that loops inside a ball about the origin.

    Parameters
    ----------
    length_mm : developed length.
    loop_radius_mm : typical radius of a loop; it drifts along the line.
    ball_radius_mm : outside of it the line is bent back.
    step_mm : distance between points.

    Returns
    -------
    (N, 3) points.
    """
    n = int(length_mm / step_mm) + 1
    s = np.arange(0.0, n) * step_mm
    bends = (step_mm * np.exp(wander(rng, s, 25.0, 0.35)) / loop_radius_mm).tolist()
    twists = (step_mm * wander(rng, s, 12.0, 1.0 / loop_radius_mm)).tolist()
    # plain numbers: each step needs the one before, and small arrays are slow
    x = y = z = 0.0
    tx, ty, tz, nx, ny, nz = 1.0, 0.0, 0.0, 0.0, 1.0, 0.0
    homing = 1.2 * step_mm / (ball_radius_mm * loop_radius_mm)
    out = []
    for bend, twist in zip(bends, twists, strict=True):
        out.append((x, y, z))
        pull = homing * max(0.0, math.sqrt(x * x + y * y + z * z) / ball_radius_mm - 0.6)
        tx, ty, tz = (
            tx + bend * nx - pull * x,
            ty + bend * ny - pull * y,
            tz + bend * nz - pull * z,
        )
        size = math.sqrt(tx * tx + ty * ty + tz * tz)
        tx, ty, tz = tx / size, ty / size, tz / size
        nx, ny, nz = (
            nx + twist * (ty * nz - tz * ny),
            ny + twist * (tz * nx - tx * nz),
            nz + twist * (tx * ny - ty * nx),
        )
        dot = tx * nx + ty * ny + tz * nz
        nx, ny, nz = nx - dot * tx, ny - dot * ty, nz - dot * tz
        size = math.sqrt(nx * nx + ny * ny + nz * nz)
        nx, ny, nz = nx / size, ny / size, nz / size
        x, y, z = x + step_mm * tx, y + step_mm * ty, z + step_mm * tz
    return np.array(out)


def respaced(line: Points3, step_mm: float) -> Points3:
    """Place points at even distances along a line."""
    s = arc_lengths(line)
    n = max(4, round(float(s[-1]) / step_mm) + 1)
    even = np.linspace(0.0, s[-1], n)
    return np.stack([np.interp(even, s, line[:, k]) for k in range(3)], axis=1)


def smooth(line: Points3, step_mm: float) -> Points3:
    """Smooth curve through points, sampled about every ``step_mm``."""
    s = arc_lengths(line)
    fine = np.linspace(0.0, s[-1], max(len(line), round(float(s[-1]) / step_mm) + 1))
    return np.asarray(CubicSpline(s, line)(fine))


def settle(
    lines: list[Points3],
    *,
    gap_mm: float,
    floor_mm: Float1 | float,
    sag_mm: float = 0.12,
    rounds: int = 60,
) -> list[Points3]:
    """Let limp lines sink onto the table without passing through one another.

    Every round all points sink a little, points of other lines or of far parts of the
    same line push each other apart to ``gap_mm``, distances along the line are
    restored, and nothing stays below the table. Position-based, so no speeds.

    Parameters
    ----------
    lines : each (N, 3), points at most ``gap_mm`` apart.
    gap_mm : thickness of the body round each line.
    floor_mm : height of the lowest place for a point; one number or one for each point
        of all lines in a row.
    sag_mm : how far a round lets free parts sink.

    Returns
    -------
    list of (N, 3)
        Settled lines, smoothed over one point.
    """
    points = np.concatenate(lines)
    owner = np.repeat(np.arange(len(lines)), [len(x) for x in lines])
    low = points[:, 2].min() - np.min(floor_mm)
    points[:, 2] -= low
    bonds = []
    for k in _STIFF:
        same = (owner[:-k] == owner[k:]).astype(float)
        bonds.append((k, np.linalg.norm(points[k:] - points[:-k], axis=1), same))
    spacing = float(np.median(bonds[0][1]))
    near = int(np.ceil(2.2 * gap_mm / spacing))
    pairs = np.empty((0, 2), dtype=np.int64)
    for turn in range(rounds):
        if turn < 0.8 * rounds:
            points[:, 2] -= sag_mm
        if turn % _EVERY == 0:
            pairs = _close(points, owner, gap_mm + 4 * sag_mm, near)
        _push_apart(points, pairs, gap_mm)
        for k, length, same in bonds:
            along = points[k:] - points[:-k]
            size = np.sqrt(np.einsum("ij,ij->i", along, along))
            fix = (0.25 * same * (1 - length / np.maximum(size, 1e-9)))[:, None] * along
            points[:-k] += fix
            points[k:] -= fix
        points[:, 2] = np.maximum(points[:, 2], floor_mm)
    cuts = np.cumsum([len(x) for x in lines])[:-1]
    return [
        gaussian_filter1d(part, 1.0, axis=0, mode="nearest") for part in np.split(points, cuts)
    ]


def _close(
    points: Points3, owner: npt.NDArray[np.int64], reach: float, near: int
) -> npt.NDArray[np.int64]:
    pairs = cKDTree(points).query_pairs(reach, output_type="ndarray")
    i, j = pairs[:, 0], pairs[:, 1]
    keep = (owner[i] != owner[j]) | (np.abs(i - j) > near)
    pairs = pairs[keep]
    # the tree promises no order, and sums of floats depend on it
    return np.asarray(pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))])


def _push_apart(points: Points3, pairs: npt.NDArray[np.int64], gap: float) -> None:
    i, j = pairs[:, 0], pairs[:, 1]
    between = points[j] - points[i]
    size = np.maximum(np.sqrt(np.einsum("ij,ij->i", between, between)), 1e-6)
    inside = size < gap
    if not inside.any():
        return
    i, j, size = i[inside], j[inside], size[inside]
    push = (0.5 * (gap / size - 1))[:, None] * between[inside]
    moved = np.zeros_like(points)
    count = np.zeros(len(points))
    for index, sign in ((i, -1.0), (j, 1.0)):
        count += np.bincount(index, minlength=len(points))
        for axis in range(3):
            moved[:, axis] += sign * np.bincount(
                index, weights=push[:, axis], minlength=len(points)
            )
    points += moved / np.maximum(np.sqrt(count), 1.0)[:, None]
