"""Simple bodies that things are put together from: round bars, boxes, flat marks."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vision.training.props import flat_faced
from vision.training.sweep import Mesh, Points3, unit

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import Float1

__all__ = ["box", "smooth_mesh", "strokes", "tube"]


def tube(path: Points3, radius: Float1, sides: int = 14, *, facets: bool = False) -> Mesh:
    """Round (or, with few sides and ``facets``, edged) bar along a path; ends tapered off.

    Parameters
    ----------
    path : (N, 3) mm, N at least 3
    radius : (N,) mm
    """
    tangent = unit(np.gradient(path, axis=0))
    side = unit(np.cross(tangent, np.array([0.0, 0.0, 1.0])))
    up = np.cross(side, tangent)
    angle = np.arange(sides) * 2 * np.pi / sides
    c, s = np.cos(angle)[None, :, None], np.sin(angle)[None, :, None]
    normals = c * side[:, None] + s * up[:, None]
    points = (path[:, None] + radius[:, None, None] * normals).reshape(-1, 3)
    k = np.arange(len(path) - 1)[:, None] * sides
    j = np.arange(sides)[None]
    a, b = (k + j).ravel(), (k + (j + 1) % sides).ravel()
    faces = np.concatenate(
        [np.column_stack([a, b, b + sides]), np.column_stack([a, b + sides, a + sides])]
    )
    ends = [path[0], path[-1]]
    points = np.concatenate([points, ends])
    n, last = len(points), (len(path) - 1) * sides
    j = np.arange(sides)
    faces = np.concatenate(
        [
            faces,
            np.column_stack([(j + 1) % sides, j, np.full(sides, n - 2)]),
            np.column_stack([last + j, last + (j + 1) % sides, np.full(sides, n - 1)]),
        ]
    )
    if facets:
        return flat_faced(points, faces)
    out = np.concatenate([normals.reshape(-1, 3), [-tangent[0], tangent[-1]]])
    return smooth_mesh(points, out, faces)


def smooth_mesh(points: Points3, normals: Points3, faces: npt.NDArray[np.int64]) -> Mesh:
    """Mesh with normals given for each point; without texture or place along a chip."""
    return Mesh(
        points=points,
        normals=normals,
        uv=points[:, :2] / 8.0,
        along=np.zeros(len(points)),
        over=np.zeros(len(points)),
        faces=faces,
    )


def box(low: tuple[float, float, float], high: tuple[float, float, float]) -> Mesh:
    """Box with sharp edges between two corners, mm."""
    x, y, z = (np.array([a, b]) for a, b in zip(low, high, strict=True))
    points = np.array([[i, j, k] for i in x for j in y for k in z])
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    return flat_faced(
        points, np.array([f for a, b, c, d in quads for f in ((a, b, c), (a, c, d))])
    )


def strokes(ends: Points3, wide_mm: float, z: float) -> Mesh:
    """Flat marks at height ``z`` from start to end, (N, 2, 2) mm."""
    way = ends[:, 1] - ends[:, 0]
    off = np.stack([-way[:, 1], way[:, 0]], axis=1)
    off = unit(off) * wide_mm / 2
    corners = np.stack(
        [ends[:, 0] - off, ends[:, 1] - off, ends[:, 1] + off, ends[:, 0] + off], axis=1
    )
    points = np.concatenate([corners, np.full((*corners.shape[:2], 1), z)], axis=2)
    first = 4 * np.arange(len(ends))[:, None]
    faces = np.concatenate([first + np.array(k) for k in ([0, 1, 2], [0, 2, 3])])
    points = points.reshape(-1, 3)
    return smooth_mesh(points, np.tile([0.0, 0.0, 1.0], (len(points), 1)), faces)
