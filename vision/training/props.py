"""What lies on a card beside chips: crumbs and fasteners; how a thing is put together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from vision.training.noise import log_uniform
from vision.training.sweep import Mesh, Points3, join, rotation_between, transform, unit

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["Prop", "crumb", "fastener", "flat_faced", "laid", "turned", "zinc_rgb"]


_NO_AREA_MM2 = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class Prop:
    """A thing that is no chip; ``metallic`` says how its colour is to be lit."""

    kind: str
    mesh: Mesh
    rgb: tuple[float, float, float]
    metallic: bool
    roughness: float = 0.25
    colours: Points3 | None = None
    """Colour of each point where the thing has more than one, instead of ``rgb``."""


def flat_faced(points: Points3, faces: npt.NDArray[np.int64]) -> Mesh:
    """Facetted mesh: every triangle has its own corners and normal."""
    corners = points[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    whole = np.linalg.norm(normal, axis=1) > _NO_AREA_MM2  # those at an axis have none
    corners, normal = corners[whole], unit(normal[whole])
    n = len(corners)
    flat = corners.reshape(-1, 3)
    return Mesh(
        points=flat,
        normals=np.repeat(normal, 3, axis=0),
        uv=flat[:, :2] / 8.0,
        along=np.zeros(3 * n),
        over=np.zeros(3 * n),
        faces=np.arange(3 * n).reshape(-1, 3),
    )


def turned(profile: npt.NDArray[np.float64], sides: int) -> Mesh:
    """Solid of revolution about x from a closed or axis-to-axis profile (x, r)."""
    angle = np.arange(sides) * 2 * np.pi / sides
    ring = np.stack([np.zeros(sides), np.cos(angle), np.sin(angle)], axis=1)
    points = np.concatenate([[x, 0, 0] + r * ring for x, r in profile])
    faces = []
    for k in range(len(profile) - 1):
        i = k * sides + np.arange(sides)
        j = k * sides + (np.arange(sides) + 1) % sides
        faces += [np.stack([i, j, i + sides], 1), np.stack([j, j + sides, i + sides], 1)]
    return flat_faced(points, np.concatenate(faces))


def crumb(rng: np.random.Generator) -> Mesh:
    """Swarf dust: an irregular block of 0.2-1 mm lying on z = 0."""
    size = log_uniform(rng, 0.2, 1.0) * np.array(
        [1.0, rng.uniform(0.4, 1), rng.uniform(0.2, 0.6)]
    )
    grid = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=float)
    points = (grid - 0.5 + rng.uniform(-0.22, 0.22, (8, 3))) * size
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    faces = np.array([f for a, b, c, d in quads for f in ((a, b, c), (a, c, d))])
    points[:, 2] -= points[:, 2].min()
    return flat_faced(points, faces)


def zinc_rgb(rng: np.random.Generator) -> tuple[float, float, float]:
    """Colour of zinc-plated or bright steel, linear, plausible."""
    r, g, b = np.array([0.62, 0.63, 0.64]) * rng.uniform(0.6, 1.1)
    return float(r), float(g), float(b)


def fastener(rng: np.random.Generator, kind: str) -> Prop:
    """Make a pencil, washer, screw or nut lying on z = 0 around the origin."""
    zinc = zinc_rgb(rng)
    if kind == "pencil":
        length = rng.uniform(50, 130)
        body = turned(np.array([[0, 0.0], [0, 3.6], [length, 3.6]]), 6)
        tip = turned(np.array([[length, 3.5], [length + 14, 1.0], [length + 18, 0.0]]), 24)
        rgb = tuple(
            float(v)
            for v in rng.choice(
                [[0.7, 0.1, 0.05], [0.7, 0.5, 0.05], [0.05, 0.15, 0.45], [0.03, 0.03, 0.03]]
            )
        )
        return laid(rng, kind, join([body, tip]), rgb, metallic=False)
    if kind == "washer":
        bore = rng.uniform(1.6, 4.2)
        rim, half = bore * rng.uniform(1.8, 2.4), rng.uniform(0.3, 0.8)
        ring = np.array([[-half, bore], [-half, rim], [half, rim], [half, bore], [-half, bore]])
        return laid(rng, kind, turned(ring, 64), zinc, metallic=True, flat=True)
    if kind == "nut":
        bore = rng.uniform(1.5, 3.0)
        half = bore * 0.8
        ring = np.array([[-half, 2 * bore], [half, 2 * bore]])
        hexagon = turned(np.array([[-half, bore], *ring, [half, bore], [-half, bore]]), 6)
        return laid(rng, kind, hexagon, zinc, metallic=True, flat=True)
    radius, length = rng.uniform(1.2, 3.0), rng.uniform(8, 25)
    x = np.linspace(0, length, int(length / 0.12))
    thread = radius * (1 + 0.1 * np.sin(2 * np.pi * x / (0.35 * radius)))
    shank = np.stack([x, thread], axis=1)
    head = np.array([[-1.2 * radius, 0], [-1.2 * radius, 1.7 * radius], [0, 1.8 * radius]])
    return laid(
        rng,
        kind,
        turned(np.concatenate([head, shank, [[length, 0]]]), 32),
        zinc,
        metallic=True,
    )


def laid(
    rng: np.random.Generator,
    kind: str,
    mesh: Mesh,
    rgb: tuple[float, ...],
    *,
    metallic: bool,
    flat: bool = False,
    roughness: float = 0.25,
    colours: Points3 | None = None,
    centred: bool = True,
) -> Prop:
    """Lay a thing down on z = 0, turned at random about the vertical.

    ``flat``: its x axis becomes the vertical; ``centred``: its middle comes to the
    origin, else the origin stays.
    """
    up = np.array([0.0, 0.0, 1.0])
    turn = rotation_between(np.array([1.0, 0.0, 0.0]), up) if flat else np.eye(3)
    yaw = rng.uniform(0, 2 * np.pi)
    c, s = np.cos(yaw), np.sin(yaw)
    turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]]) @ turn
    points = mesh.points @ turn.T
    middle = (points.min(axis=0) + points.max(axis=0)) / 2 if centred else np.zeros(3)
    shift = -np.array([middle[0], middle[1], points[:, 2].min()])
    return Prop(
        kind=kind,
        mesh=transform(mesh, turn, shift),
        rgb=(rgb[0], rgb[1], rgb[2]),
        metallic=metallic,
        roughness=roughness,
        colours=colours,
    )
