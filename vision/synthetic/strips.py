"""Chips as strips: a centre line in space, a width direction, sizes from closed forms.

Coordinates are millimetres, x right and y down as on the card, z towards the camera.
A strip is seen straight from above (no perspective of its own). Not in here: the
picture (``paint``), the sheet and the camera (``scene``).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import asinh, hypot, pi, sqrt
from typing import TYPE_CHECKING, Literal, TypeAlias

import cv2
import numpy as np
import numpy.typing as npt
from scipy.special import ellipe

if TYPE_CHECKING:
    from collections.abc import Callable

    from vision.arrays import Float1, Points2

__all__ = [
    "FORMS",
    "Strip",
    "SyntheticChip",
    "arc",
    "coil",
    "grains",
    "helix_length_mm",
    "make_chip",
    "needle",
    "nest",
    "spiral",
    "spiral_length_mm",
    "turned",
    "wave_length_mm",
    "wavy_ribbon",
]

Points3: TypeAlias = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Strip:
    """Centre line (N, 3), width direction (N, 3) of length 1, and width (N,), all in mm."""

    line: Points3
    across: Points3
    width: Float1

    def edges(self) -> tuple[Points3, Points3]:
        """Return both long edges, (N, 3) each."""
        half = self.across * self.width[:, None] / 2
        return self.line - half, self.line + half


@dataclass(frozen=True, slots=True, kw_only=True)
class SyntheticChip:
    """One chip and what is true of it, in mm; ``None`` where a size has no meaning.

    ``group`` is that of the ISO 3685 chart. ``length_mm`` runs along the centre line,
    developed; ``width_mm`` is that of the strip; ``curl_radius_mm`` is the mean distance
    of the centre line from the curl's axis; ``extent_mm`` is the longest distance across
    the chip as seen from above. Grains have a count and a median size instead.
    ``number`` is 0 until the chip lies in a scene.
    """

    form: str
    group: str
    kind: Literal["chip", "nest", "grains"]
    strips: tuple[Strip, ...]
    extent_mm: float
    length_mm: float | None = None
    width_mm: float | None = None
    curl_radius_mm: float | None = None
    pitch_mm: float | None = None
    turns: float | None = None
    coil_length_mm: float | None = None
    count: int | None = None
    median_size_mm: float | None = None
    number: int = 0
    centre_mm: tuple[float, float] = (0.0, 0.0)
    colour: tuple[float, float, float] = (0.6, 0.58, 0.56)


def helix_length_mm(radius_mm: float, pitch_mm: float, turns: float) -> float:
    """Length along an even helix: every turn unrolls to the long side of a right triangle.

    Examples
    --------
    >>> round(helix_length_mm(2 / pi, 3.0, 2), 6)  # a 3-4-5 triangle, twice
    10.0
    """
    return turns * hypot(2 * pi * radius_mm, pitch_mm)


def spiral_length_mm(inner_mm: float, outer_mm: float, pitch_mm: float) -> float:
    """Length of an Archimedean spiral from its inner to its outer radius."""
    b = pitch_mm / (2 * pi)

    def whole(r: float) -> float:
        return (r * hypot(r, b) / b + b * asinh(r / b)) / 2

    return whole(outer_mm) - whole(inner_mm)


def wave_length_mm(amplitude_mm: float, period_mm: float, periods: float) -> float:
    """Length along a sine wave over whole or half periods (complete elliptic integral)."""
    steep = (2 * pi * amplitude_mm / period_mm) ** 2
    quarter = sqrt(1 + steep) * float(ellipe(steep / (1 + steep))) * period_mm / (2 * pi)
    return 4 * quarter * periods


def _extent(*strips: Strip) -> float:
    points = np.concatenate([e[:, :2] for s in strips for e in s.edges()])
    hull = cv2.convexHull(points.astype(np.float32)).reshape(-1, 2)
    gaps = hull[:, None] - hull[None]
    return float(np.sqrt((gaps**2).sum(axis=2)).max())


def _flat(x: Float1, y: Float1, width: Float1 | float) -> Strip:
    """Strip lying flat along a plane line; its width lies in the sheet too."""
    line = np.stack([x, y, np.zeros_like(x)], axis=1)
    along = np.gradient(line, axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    across = np.stack([-along[:, 1], along[:, 0], np.zeros_like(x)], axis=1)
    return Strip(line, across, np.broadcast_to(np.asarray(width, np.float64), x.shape))


def arc(radius_mm: float, angle_deg: float, width_mm: float) -> SyntheticChip:
    """Loose arc: part of one circle, lying flat.

    Examples
    --------
    >>> round(arc(10.0, 180.0, 1.0).length_mm, 3)
    31.416
    """
    angle = np.radians(np.linspace(-angle_deg / 2, angle_deg / 2, 2 + int(angle_deg)))
    strip = _flat(radius_mm * np.cos(angle), radius_mm * np.sin(angle), width_mm)
    return SyntheticChip(
        form="arc",
        group="6",
        kind="chip",
        strips=(strip,),
        extent_mm=_extent(strip),
        length_mm=radius_mm * float(np.radians(angle_deg)),
        width_mm=width_mm,
        curl_radius_mm=radius_mm,
        turns=angle_deg / 360,
    )


def spiral(inner_mm: float, pitch_mm: float, turns: float, width_mm: float) -> SyntheticChip:
    """Flat spiral seen along its axis, so ``width_mm`` here is the edge that shows."""
    theta = np.linspace(0, 2 * pi * turns, int(90 * turns) + 2)
    r = inner_mm + pitch_mm * theta / (2 * pi)
    strip = _flat(r * np.cos(theta), r * np.sin(theta), width_mm)
    outer = inner_mm + pitch_mm * turns
    length = spiral_length_mm(inner_mm, outer, pitch_mm)
    b = pitch_mm / (2 * pi)
    moment = (hypot(outer, b) ** 3 - hypot(inner_mm, b) ** 3) / (3 * b)
    return SyntheticChip(
        form="spiral",
        group="3",
        kind="chip",
        strips=(strip,),
        extent_mm=_extent(strip),
        length_mm=length,
        width_mm=width_mm,
        curl_radius_mm=moment / length,
        pitch_mm=pitch_mm,
        turns=turns,
    )


def wavy_ribbon(
    period_mm: float, periods: float, amplitude_mm: float, width_mm: float
) -> SyntheticChip:
    """Ribbon that waves gently in the sheet; ``periods`` counts in halves."""
    x = np.linspace(0, period_mm * periods, int(60 * periods) + 2)
    strip = _flat(x, amplitude_mm * np.sin(2 * pi * x / period_mm), width_mm)
    return SyntheticChip(
        form="ribbon",
        group="1",
        kind="chip",
        strips=(strip,),
        extent_mm=_extent(strip),
        length_mm=wave_length_mm(amplitude_mm, period_mm, periods),
        width_mm=width_mm,
    )


def coil(
    radius_mm: float, pitch_mm: float, turns: float, width_mm: float, *, theta_deg: float = 0.0
) -> SyntheticChip:
    """Even helix lying on its side, axis along x.

    Parameters
    ----------
    theta_deg : float, [0, 90]
        Between the strip's width and the axis: 0 tubular, 90 washer-type, between
        conical.
    """
    angle = np.linspace(0, 2 * pi * turns, int(64 * turns) + 2)
    c, s = np.cos(angle), np.sin(angle)
    rise = pitch_mm * angle / (2 * pi)
    line = np.stack([rise, radius_mm * c, radius_mm * s], axis=1)
    radial = np.stack([np.zeros_like(c), c, s], axis=1)
    theta = np.radians(theta_deg)
    across = np.cos(theta) * np.array([1.0, 0.0, 0.0]) + np.sin(theta) * radial
    strip = Strip(line, across, np.full(len(angle), width_mm))
    form, group = ("tubular", "2") if theta_deg < 22 else ("conical", "5")  # noqa: PLR2004
    if theta_deg > 68:  # noqa: PLR2004
        form, group = "washer", "4"
    return SyntheticChip(
        form=form,
        group=group,
        kind="chip",
        strips=(strip,),
        extent_mm=_extent(strip),
        length_mm=helix_length_mm(radius_mm, pitch_mm, turns),
        width_mm=width_mm,
        curl_radius_mm=radius_mm,
        pitch_mm=pitch_mm,
        turns=turns,
        coil_length_mm=pitch_mm * turns,
    )


def needle(length_mm: float, width_mm: float) -> SyntheticChip:
    """Needle: straight, widest in the middle, pointed ends; ``width_mm`` is the mean."""
    x = np.linspace(0, length_mm, 24)
    strip = _flat(x, np.zeros_like(x), width_mm * 1.5 * (1 - (2 * x / length_mm - 1) ** 2))
    return SyntheticChip(
        form="needle",
        group="8",
        kind="chip",
        strips=(strip,),
        extent_mm=length_mm,
        length_mm=length_mm,
        width_mm=width_mm,
    )


def grains(rng: np.random.Generator, count: int, size_mm: float) -> SyntheticChip:
    """Scattered grains: short blunt pieces on a jittered grid, none touching another."""
    side = int(np.ceil(np.sqrt(count)))
    cells = rng.permutation(side * side)[:count]
    strips = []
    for cell in cells.tolist():
        size = size_mm * float(rng.uniform(0.7, 1.3))
        x = np.linspace(-size / 2, size / 2, 7)
        bulge = 0.75 * size * np.sqrt(np.clip(1 - (x / size * 1.6) ** 2, 0.2, 1))
        piece = _flat(x, np.zeros_like(x), bulge * rng.uniform(0.8, 1.0, 7))
        step = 2.6 * size_mm
        place = np.array([cell % side, cell // side]) * step + rng.uniform(-0.1, 0.1, 2) * step
        strips.append(turned(piece, float(rng.uniform(0, 2 * pi)), place))
    return SyntheticChip(
        form="grains",
        group="7",
        kind="grains",
        strips=tuple(strips),
        extent_mm=_extent(*strips),
        count=count,
        median_size_mm=float(np.median([_extent(s) for s in strips])),
    )


def nest(
    rng: np.random.Generator, radius_mm: float, loops: int, width_mm: float
) -> SyntheticChip:
    """Snarl of one ribbon: a closed-in line of random waves; length along the drawn line."""
    t = np.linspace(0, 2 * pi, 140 * loops)
    xyz = np.zeros((len(t), 3))
    for axis in range(3):
        for k in range(1, loops + 1):
            phase = rng.uniform(0, 2 * pi)
            xyz[:, axis] += rng.normal() * np.cos(k * t + phase) / sqrt(k)
    far = np.linalg.norm(xyz[:, :2], axis=1)
    xyz *= (radius_mm * np.tanh(far / far.mean()) / np.maximum(far, 1e-9))[:, None]
    xyz[:, 2] *= 0.5
    along = np.gradient(xyz, axis=0)
    up = np.stack([np.sin(3 * t), np.cos(2 * t), np.full_like(t, 1.5)], axis=1)
    across = np.cross(along, up)
    across /= np.linalg.norm(across, axis=1, keepdims=True)
    strip = Strip(xyz, across, np.full(len(t), width_mm))
    return SyntheticChip(
        form="nest",
        group="1",
        kind="nest",
        strips=(strip,),
        extent_mm=_extent(strip),
        length_mm=float(np.linalg.norm(np.diff(xyz, axis=0), axis=1).sum()),
        width_mm=width_mm,
    )


def turned(strip: Strip, angle_rad: float, move_mm: Points2 | Float1) -> Strip:
    """Turn a strip in the sheet about the origin, then move it."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    spin = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    return Strip(
        strip.line @ spin.T + np.append(move_mm, 0.0), strip.across @ spin.T, strip.width
    )


def _draw_coil(rng: np.random.Generator, theta_deg: float) -> SyntheticChip:
    if theta_deg < 22:  # noqa: PLR2004 - tubular: turns must not overlap
        width = float(rng.uniform(0.8, 2.0))
        pitch, radius = width * float(rng.uniform(1.2, 1.7)), float(rng.uniform(1.3, 3.0))
    else:
        width = float(rng.uniform(0.7, 1.3))
        pitch = float(rng.uniform(0.8, 1.8))
        radius = width * float(rng.uniform(1.3, 2.4))
    turns = round(float(rng.uniform(10.0, 24.0)) / pitch * 2) / 2
    return coil(radius, pitch, turns, width, theta_deg=theta_deg)


#: Forms that a scene can hold, each with a maker that draws its sizes.
FORMS: dict[str, Callable[[np.random.Generator], SyntheticChip]] = {
    "arc": lambda r: arc(r.uniform(2.5, 7.0), r.uniform(80.0, 280.0), r.uniform(0.7, 2.0)),
    "spiral": lambda r: spiral(
        r.uniform(1.0, 2.0), r.uniform(0.9, 1.6), r.uniform(2.0, 4.0), r.uniform(0.25, 0.45)
    ),
    "ribbon": lambda r: wavy_ribbon(
        r.uniform(10.0, 18.0), r.integers(3, 5) / 2, r.uniform(0.3, 1.6), r.uniform(0.6, 1.8)
    ),
    "tubular": lambda r: _draw_coil(r, r.uniform(0.0, 12.0)),
    "washer": lambda r: _draw_coil(r, r.uniform(78.0, 90.0)),
    "conical": lambda r: _draw_coil(r, r.uniform(35.0, 55.0)),
    "needle": lambda r: needle(r.uniform(2.5, 7.0), r.uniform(0.2, 0.4)),
    "grains": lambda r: grains(r, int(r.integers(8, 17)), r.uniform(0.6, 1.2)),
    "nest": lambda r: nest(r, r.uniform(6.0, 10.0), int(r.integers(5, 9)), r.uniform(0.5, 1.0)),
}


def make_chip(rng: np.random.Generator, form: str) -> SyntheticChip:
    """Draw a chip of a form of :data:`FORMS`, centred on its own middle.

    Raises
    ------
    KeyError
        If the form is unknown.
    """
    return FORMS[form](rng)
