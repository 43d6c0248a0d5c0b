"""From a centre line to metal: a strip of rectangular section, its mesh and its rest.

Right-handed coordinates in millimetres, z up from the sheet. A strip runs along
its centre line with unit tangent T; W points along the chip's width, and
N = T x W points to the side that slid over the tool. That side is burnished and,
on a curled chip, the outer one; the other side is free, matt and lamellar.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.spatial import ConvexHull
from scipy.spatial.distance import pdist

if TYPE_CHECKING:
    from vision.arrays import Float1

__all__ = [
    "Mesh",
    "Points3",
    "Strip",
    "arc_lengths",
    "extent",
    "join",
    "rest_rotation",
    "rotation_between",
    "sweep",
    "transform",
    "unit",
]

#: (N, 3) float64, millimetres or unit vectors.
Points3: TypeAlias = npt.NDArray[np.float64]

#: mm of chip that one repeat of a surface texture covers, along and across.
TEXTURE_TILE_MM = 8.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """A chip as a swept rectangle; every array has one entry per point of the line."""

    line: Points3
    across: Points3
    width: Float1
    thickness: Float1
    ragged: Float1
    """mm added to the free edge (the +W side); mostly negative: teeth cut into it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mesh:
    """Triangles with normals; ``uv`` in texture repeats, ``along``/``over`` in 0...1."""

    points: Points3
    normals: Points3
    uv: npt.NDArray[np.float64]
    along: Float1
    over: Float1
    faces: npt.NDArray[np.int64]


def unit(vectors: Points3) -> Points3:
    """Scale vectors to length one; zero vectors stay zero."""
    norm = np.linalg.norm(vectors, axis=-1, keepdims=True)
    return np.asarray(vectors / np.maximum(norm, 1e-12))


def arc_lengths(line: Points3) -> Float1:
    """Length along a polyline up to each of its points, mm."""
    steps = np.linalg.norm(np.diff(line, axis=0), axis=1)
    return np.concatenate([[0.0], np.cumsum(steps)])


def sweep(strip: Strip) -> tuple[Mesh, Mesh]:
    """Build the surface of a strip.

    Returns
    -------
    tool : Mesh
        The side that slid over the tool.
    free : Mesh
        The other side with both edges and both ends.
    """
    tangent = unit(np.gradient(strip.line, axis=0))
    across = strip.across - tangent * np.sum(strip.across * tangent, axis=1, keepdims=True)
    across = unit(across)
    normal = np.cross(tangent, across)
    s = arc_lengths(strip.line)
    half = (strip.thickness / 2)[:, None] * normal
    left = strip.line - (strip.width / 2)[:, None] * across
    right = strip.line + (strip.width / 2 + strip.ragged)[:, None] * across
    span = strip.width + strip.ragged
    tool = _band(left + half, right + half, normal, s, span)
    free = [
        _band(right - half, left - half, -normal, s, span, mirrored=True),
        _band(left - half, left + half, -across, s, strip.thickness, over=(0.0, 0.0)),
        _band(right + half, right - half, across, s, strip.thickness, over=(1.0, 1.0)),
        _cap(left[0], right[0], half[0], -tangent[0], 0.0),
        _cap(left[-1], right[-1], half[-1], tangent[-1], 1.0),
    ]
    return tool, join(free)


def _band(
    a: Points3,
    b: Points3,
    normal: Points3,
    s: Float1,
    span: Float1,
    *,
    over: tuple[float, float] = (0.0, 1.0),
    mirrored: bool = False,
) -> Mesh:
    n = len(a)
    points = np.stack([a, b], axis=1).reshape(-1, 3)
    normals = np.repeat(normal, 2, axis=0)
    low, high = (over[1], over[0]) if mirrored else over
    u = np.repeat(s / TEXTURE_TILE_MM, 2)
    v = np.stack([np.zeros(n), span / TEXTURE_TILE_MM], axis=1).ravel()
    i = 2 * np.arange(n - 1)
    faces = np.concatenate(
        [np.stack([i, i + 2, i + 1], axis=1), np.stack([i + 1, i + 2, i + 3], axis=1)]
    )
    return Mesh(
        points=points,
        normals=normals,
        uv=np.stack([u, v], axis=1),
        along=np.repeat(s / max(s[-1], 1e-9), 2),
        over=np.tile([low, high], n),
        faces=_facing(faces, points, normals),
    )


def _cap(left: Points3, right: Points3, half: Points3, normal: Points3, along: float) -> Mesh:
    points = np.stack([left + half, right + half, right - half, left - half])
    normals = np.tile(normal, (4, 1))
    faces = _facing(np.array([[0, 1, 2], [0, 2, 3]]), points, normals)
    uv = points[:, :2] / TEXTURE_TILE_MM
    over = np.array([0.0, 1.0, 1.0, 0.0])
    return Mesh(
        points=points, normals=normals, uv=uv, along=np.full(4, along), over=over, faces=faces
    )


def _facing(
    faces: npt.NDArray[np.int64], points: Points3, normals: Points3
) -> npt.NDArray[np.int64]:
    """Turn triangles so that their winding agrees with the shading normals."""
    a, b, c = (points[faces[:, k]] for k in range(3))
    wrong = np.sum(np.cross(b - a, c - a) * normals[faces[:, 0]], axis=1) < 0
    turned = faces.copy()
    turned[wrong] = faces[wrong][:, ::-1]
    return turned


def join(meshes: list[Mesh]) -> Mesh:
    """Put several meshes into one."""
    shift = np.cumsum([0] + [len(m.points) for m in meshes[:-1]])
    return Mesh(
        points=np.concatenate([m.points for m in meshes]),
        normals=np.concatenate([m.normals for m in meshes]),
        uv=np.concatenate([m.uv for m in meshes]),
        along=np.concatenate([m.along for m in meshes]),
        over=np.concatenate([m.over for m in meshes]),
        faces=np.concatenate([m.faces + k for m, k in zip(meshes, shift, strict=True)]),
    )


def transform(mesh: Mesh, rotation: Points3, shift: Points3) -> Mesh:
    """Turn by a (3, 3) rotation, then move by ``shift`` mm."""
    return Mesh(
        points=mesh.points @ rotation.T + shift,
        normals=mesh.normals @ rotation.T,
        uv=mesh.uv,
        along=mesh.along,
        over=mesh.over,
        faces=mesh.faces,
    )


def rotation_between(source: Points3, target: Points3) -> Points3:
    """Smallest (3, 3) rotation that turns unit vector ``source`` onto ``target``."""
    axis = np.cross(source, target)
    cosine = float(source @ target)
    if cosine < -1 + 1e-9:
        helper = np.eye(3)[int(np.argmin(np.abs(source)))]
        axis = unit(np.cross(source, helper))
        return np.asarray(2 * np.outer(axis, axis) - np.eye(3))
    skew = np.array(
        [[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]], dtype=float
    )
    return np.asarray(np.eye(3) + skew + skew @ skew / (1 + cosine))


def rest_rotation(points: Points3, mass: Points3, rng: np.random.Generator) -> Points3:
    """Turn a rigid body so that it rests on a plane as if dropped.

    The body can only rest on a facet of its convex hull above which its centre of
    mass lies. Such facets are drawn by the solid angle under which the centre of
    mass sees them, which is the usual first estimate of how often a body that
    tumbles little comes to rest there.

    Parameters
    ----------
    points : (N, 3) surface points, mm.
    mass : (M, 3) points of equal mass.
    """
    step = max(1, len(points) // 3000)
    hull = ConvexHull(points[::step], qhull_options="QJ")
    com = mass.mean(axis=0)
    corners = points[::step][hull.simplices] - com
    normals = hull.equations[:, :3]
    height = hull.equations[:, 3] + normals @ com
    foot = -height[:, None] * normals
    stable = _inside(corners, foot, normals)
    weight = np.where(stable, _solid_angle(corners), 0.0)
    if weight.sum() <= 0:
        weight = np.eye(len(height))[int(np.argmax(height))]
    pick = int(rng.choice(len(weight), p=weight / weight.sum()))
    return rotation_between(normals[pick], np.array([0.0, 0.0, -1.0]))


def _inside(corners: Points3, foot: Points3, normals: Points3) -> npt.NDArray[np.bool_]:
    signs = []
    for k in range(3):
        a, b = corners[:, k], corners[:, (k + 1) % 3]
        signs.append(np.sum(np.cross(b - a, foot - a) * normals, axis=1))
    turn = np.stack(signs)
    return np.asarray((turn >= 0).all(axis=0) | (turn <= 0).all(axis=0))


def _solid_angle(corners: Points3) -> Float1:
    """Solid angle of triangles seen from the origin (Van Oosterom and Strackee 1983)."""
    a, b, c = (corners[:, k] for k in range(3))
    la, lb, lc = (np.linalg.norm(x, axis=1) for x in (a, b, c))
    volume = np.abs(np.sum(a * np.cross(b, c), axis=1))
    under = la * lb * lc
    under = under + np.sum(a * b, axis=1) * lc
    under = under + np.sum(b * c, axis=1) * la + np.sum(c * a, axis=1) * lb
    return np.asarray(2 * np.arctan2(volume, under))


def extent(points: Points3) -> float:
    """Largest straight distance between two points, mm."""
    step = max(1, len(points) // 3000)
    corners = points[::step][ConvexHull(points[::step], qhull_options="QJ").vertices]
    return float(pdist(corners).max())
