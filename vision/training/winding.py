"""Wind a strip about an axis that may be bent, squashed and leaning."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from vision.training.sweep import Points3, arc_lengths, unit

if TYPE_CHECKING:
    from vision.arrays import Float1

__all__ = ["Axis", "axis_along", "straight_axis", "wind", "winding_distance"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """Axis of a coil: points by length along it, and two unit normals."""

    s: Float1
    points: Points3
    e1: Points3
    e2: Points3

    def at(self, s: Float1) -> tuple[Points3, Points3, Points3, Points3]:
        """Point, direction and the two normals at lengths ``s``."""

        def pick(values: Points3) -> Points3:
            return np.stack([np.interp(s, self.s, values[:, k]) for k in range(3)], axis=1)

        e1, e2 = unit(pick(self.e1)), unit(pick(self.e2))
        return pick(self.points), unit(np.cross(e1, e2)), e1, e2


def straight_axis(
    length_mm: float,
    *,
    bend_rad: float = 0.0,
    kinks: tuple[tuple[float, float], ...] = (),
    turn_rad: float = 0.0,
) -> Axis:
    """Axis along x in the plane z = 0, evenly bent and kinked.

    Parameters
    ----------
    bend_rad : heading gained evenly over the length.
    kinks : (share of the length, angle in rad) of each kink.
    turn_rad : the plane in which it bends, turned about x.
    """
    s = np.linspace(0.0, length_mm, 400)
    heading = bend_rad * s / length_mm
    for share, angle in kinks:
        heading = heading + angle * 0.5 * (1 + np.tanh((s - share * length_mm) / 1.6))
    step = np.stack([np.cos(heading), np.sin(heading), np.zeros_like(s)], axis=1)
    points = np.concatenate([np.zeros((1, 3)), np.cumsum(step[:-1] * s[1], axis=0)])
    side = np.stack([-np.sin(heading), np.cos(heading), np.zeros_like(s)], axis=1)
    up = np.tile([0.0, 0.0, 1.0], (len(s), 1))
    c, d = np.cos(turn_rad), np.sin(turn_rad)
    return Axis(s=s, points=points, e1=c * side + d * up, e2=c * up - d * side)


def axis_along(path: Points3) -> Axis:
    """Axis along a space curve, its normals carried without twist."""
    tangent = unit(np.gradient(path, axis=0))
    normal = np.cross(tangent[0], np.eye(3)[int(np.argmin(np.abs(tangent[0])))])
    e1 = np.empty_like(path)
    for k, direction in enumerate(tangent):
        normal = normal - direction * (direction @ normal)
        normal = normal / np.sqrt(normal @ normal)
        e1[k] = normal
    return Axis(s=arc_lengths(path), points=path, e1=e1, e2=np.cross(tangent, e1))


def wind(
    axis: Axis,
    angle: Float1,
    radius: Float1,
    advance: Float1,
    *,
    theta_deg: float,
    flatten: Float1 | float = 1.0,
    lean: Float1 | float = 0.0,
) -> tuple[Points3, Points3]:
    """Wind a strip about an axis.

    Parameters
    ----------
    angle, radius, advance : (N,) winding angle (rad), distance from the axis (mm)
        and place along the axis (mm) of each point.
    theta_deg : angle between width and axis; the sign says which way the cone opens.
    flatten : 1 for round turns, less for squashed ones; they keep their girth.
    lean : tangent of the angle by which turns lean over, about -0.6 to 0.6.

    Returns
    -------
    line, across : (N, 3) centre line and width direction.
    """
    base, along, e1, e2 = axis.at(advance)
    tilt = np.broadcast_to(np.asarray(lean, dtype=float), angle.shape)[:, None]
    along, e1 = unit(along - tilt * e1), unit(e1 + tilt * along)
    c, s = np.cos(angle)[:, None], np.sin(angle)[:, None]
    radial = c * e1 + s * e2
    flat = np.broadcast_to(np.asarray(flatten, dtype=float), angle.shape)[:, None]
    line = base + radius[:, None] * (np.sqrt(2 - flat**2) * c * e1 + flat * s * e2)
    theta = np.radians(theta_deg)
    return line, np.cos(theta) * along + np.sin(theta) * radial


def winding_distance(angle: Float1, radius: Float1, flatten: Float1 | float) -> Float1:
    """Distance from the axis of each point that :func:`wind` makes, mm."""
    flat = np.asarray(flatten, dtype=float)
    return np.asarray(
        radius * np.sqrt((2 - flat**2) * np.cos(angle) ** 2 + (flat * np.sin(angle)) ** 2)
    )
