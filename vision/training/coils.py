"""Coils: tubular, washer-type and conical helical chips, single, long or snarled.

All three are one screw-wound strip; the angle between its width and the axis of
the coil tells them apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from vision.terms import GREY_ZONE, LONG_COIL_MM
from vision.training.curl import screw_length_mm
from vision.training.made import Made, Section, draw_section, strip_with_teeth
from vision.training.noise import chance, log_uniform, wander
from vision.training.sweep import Points3, arc_lengths, unit
from vision.training.worm import worm

if TYPE_CHECKING:
    from collections.abc import Callable

    from vision.arrays import Float1

__all__ = ["THETA_DEG", "Axis", "even_coil", "maker", "wind"]

#: Width angle from the axis, degrees, by group; the gaps between are left out.
THETA_DEG: dict[str, tuple[float, float]] = {
    "2": (0.0, 19.0),
    "4": (71.0, 90.0),
    "5": (26.0, 64.0),
}

_LONGEST_MM = 1500.0
#: From here on fewer points a turn are enough, or the meshes grow too large.
_MANY_TURNS = 40.0
#: How often an end of a coil is looser than its middle.
_LOOSE_ENDS = 0.6
#: Turns cannot crowd closer than the strip lets them: least share of the mean pitch.
_LEAST_SWING = {"2": 0.93, "4": 0.7, "5": 0.7}


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """Axis of a coil: points by length along it, two unit normals and the direction."""

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


def wind(
    axis: Axis,
    angle: Float1,
    radius: Float1,
    advance: Float1,
    *,
    theta_deg: float,
    flatten: float = 1.0,
) -> tuple[Points3, Points3]:
    """Wind a strip about an axis.

    Parameters
    ----------
    angle, radius, advance : (N,) winding angle (rad), distance from the axis (mm)
        and place along the axis (mm) of each point.
    theta_deg : angle between width and axis; the sign says which way the cone opens.
    flatten : 1 for a round coil, less for one that was squashed.

    Returns
    -------
    line, across : (N, 3) centre line and width direction.
    """
    base, along, e1, e2 = axis.at(advance)
    c, s = np.cos(angle)[:, None], np.sin(angle)[:, None]
    radial = c * e1 + s * e2
    line = base + radius[:, None] * (c * e1 + flatten * s * e2)
    theta = np.radians(theta_deg)
    return line, np.cos(theta) * along + np.sin(theta) * radial


def even_coil(
    radius_mm: float, pitch_mm: float, turns: float, theta_deg: float, section: Section
) -> Made:
    """Perfect coil without teeth or drift, for checks against closed forms."""
    axis = _straight_axis(pitch_mm * turns + 1.0, np.zeros(2))
    angle = np.linspace(0, 2 * np.pi * turns, int(80 * turns) + 2)
    line, across = wind(
        axis,
        angle,
        np.full(len(angle), radius_mm),
        pitch_mm * angle / (2 * np.pi),
        theta_deg=theta_deg,
    )
    strip = strip_with_teeth(np.random.default_rng(0), line, across, section)
    return Made(
        strip=strip,
        curl={
            "curl_radius_mm": radius_mm,
            "pitch_mm": pitch_mm,
            "turns": turns,
            "theta_deg": abs(theta_deg),
            "coil_length_mm": pitch_mm * turns,
        },
    )


def maker(group: str, word: str) -> Callable[[np.random.Generator, Section | None], Made]:
    """Maker of coils of a group ('2', '4', '5') and word ('short', 'long', 'nest')."""

    def make(rng: np.random.Generator, section: Section | None) -> Made:
        return _coil(rng, group, word, section)

    return make


def _coil(rng: np.random.Generator, group: str, word: str, wish: Section | None) -> Made:
    tubular = group == "2"
    section = draw_section(rng, wish, (0.3, 2.5) if tubular else (0.25, 1.5), (0.05, 0.45))
    theta = rng.uniform(*THETA_DEG[group])
    radius, pitch, length = _draw_coil_sizes(rng, group, word, theta, section)
    axis = _axis(rng, word, radius, length)
    turns = length / pitch
    angle, rho, advance = _drifting(rng, group, radius, pitch, turns)
    advance = np.minimum(advance, axis.s[-1])
    flatten = 1.0 if chance(rng, 0.8) else float(rng.uniform(0.75, 0.97))
    signed = theta * rng.choice([-1.0, 1.0])
    line, across = wind(axis, angle, rho, advance, theta_deg=signed, flatten=flatten)
    if chance(rng, 0.5):
        mirror = np.array([1.0, -1.0, 1.0])
        line, across = line * mirror, -across * mirror
    distance = rho * np.sqrt(np.cos(angle) ** 2 + (flatten * np.sin(angle)) ** 2)
    return Made(
        strip=strip_with_teeth(rng, line, across, section),
        curl={
            "curl_radius_mm": float(distance.mean()),
            "curl_radius_range_mm": (float(rho.min()), float(rho.max())),
            "pitch_mm": float((advance[-1] - advance[0]) / turns),
            "turns": float(turns),
            "theta_deg": float(theta),
            "coil_length_mm": float(advance[-1] - advance[0]),
        },
        lies_as_made=word == "nest",
    )


def _draw_coil_sizes(
    rng: np.random.Generator, group: str, word: str, theta: float, section: Section
) -> tuple[float, float, float]:
    """Radius, pitch and axis length, drawn again while the chip would be too long."""
    tries = 60
    while True:
        radius = _draw_radius(rng, group, word, section)
        pitch = _draw_pitch(rng, group, theta, radius, section)
        length = _draw_axis_length(rng, word, radius, pitch)
        tries -= 1
        if screw_length_mm(radius, pitch, length / pitch) < _LONGEST_MM or not tries:
            return radius, pitch, length


def _draw_radius(rng: np.random.Generator, group: str, word: str, section: Section) -> float:
    low, high = (0.8, 5.0) if group == "2" else (1.0, 6.0)
    if group == "2":
        low = max(low, 2.5 * section.thickness_mm)
    else:
        low = max(low, 0.62 * section.width_mm)  # the inner edge must not cross the axis
    if word == "nest":
        high = 3.0
    return log_uniform(rng, low, max(high, low * 1.2))


def _draw_pitch(
    rng: np.random.Generator, group: str, theta: float, radius: float, section: Section
) -> float:
    w, t = section.width_mm, section.thickness_mm
    # Turns of a tube lie side by side. Turns of the others nest like cups: neighbours
    # clear each other once the pitch, seen square to the strip, exceeds its thickness.
    nested = max(0.22, 1.25 * t / max(np.sin(np.radians(theta)), 0.1))
    low = 1.03 * w if group == "2" else float(nested)
    high = min(3 * w, 2.5 * radius)
    return log_uniform(rng, low, max(high, low * 1.3))


def _draw_axis_length(
    rng: np.random.Generator, word: str, radius: float, pitch: float
) -> float:
    if word == "short":
        # Shorter than it is wide, a coil is a ring: no clear member of its group.
        low = max(2.0 * pitch, 2.6 * radius)
        high = min((1 - GREY_ZONE) * LONG_COIL_MM, 60.0 * pitch)
        return log_uniform(rng, low, max(high, low * 1.2))
    if word == "long":
        return log_uniform(rng, (1 + GREY_ZONE) * LONG_COIL_MM, 120.0)
    return log_uniform(rng, 60.0, 180.0)


def _straight_axis(length: float, bends: Float1) -> Axis:
    s = np.linspace(0.0, length, 400)
    # bends: total slow bend and one kink, both in the plane in which the coil lies
    heading = bends[0] * s / length + bends[1] * 0.5 * (1 + np.tanh((s - 0.4 * length) / 1.6))
    step = np.stack([np.cos(heading), np.sin(heading), np.zeros_like(s)], axis=1)
    points = np.concatenate([np.zeros((1, 3)), np.cumsum(step[:-1] * s[1], axis=0)])
    e1 = np.stack([-np.sin(heading), np.cos(heading), np.zeros_like(s)], axis=1)
    return Axis(s=s, points=points, e1=e1, e2=np.tile([0.0, 0.0, 1.0], (len(s), 1)))


def _axis(rng: np.random.Generator, word: str, radius: float, length: float) -> Axis:
    if word != "nest":
        bend = np.radians(40) * rng.uniform(-1, 1) * chance(rng, 0.7)
        kink = np.radians(35) * rng.uniform(-1, 1) * chance(rng, 0.25)
        reach = length / (4 * radius)  # stubby coils do not bend
        return _straight_axis(length + 4.0, np.array([bend, kink]) * np.clip(reach, 0, 1))
    path = worm(
        rng,
        length_mm=length + 4.0,
        loop_radius_mm=max(2.6 * radius, log_uniform(rng, 4.0, 10.0)),
        ball_radius_mm=log_uniform(rng, 9.0, 20.0) + radius,
        floor_mm=1.05 * radius,
    )
    tangent = unit(np.gradient(path, axis=0))
    e1 = _carried(tangent)
    return Axis(s=arc_lengths(path), points=path, e1=e1, e2=np.cross(tangent, e1))


def _carried(tangent: Points3) -> Points3:
    """Carry normals along a curve without twist."""
    normal = np.cross(tangent[0], np.eye(3)[int(np.argmin(np.abs(tangent[0])))])
    out = []
    for direction in tangent:
        normal = normal - direction * (direction @ normal)
        normal = normal / np.linalg.norm(normal)
        out.append(normal)
    return np.array(out)


def _drifting(
    rng: np.random.Generator, group: str, radius: float, pitch: float, turns: float
) -> tuple[Float1, Float1, Float1]:
    """Winding angle, radius and advance with drift and looser ends."""
    per_turn = (
        float(np.clip(2 * np.pi * radius / 0.1, 48, 150)) if turns < _MANY_TURNS else 48.0
    )
    angle = np.linspace(0.0, 2 * np.pi * turns, int(per_turn * turns) + 2)
    lap = angle / (2 * np.pi)
    trend = rng.uniform(0, 0.35) if group == "5" else rng.uniform(0, 0.15)
    trend *= rng.choice([-1.0, 1.0])
    uneven = log_uniform(rng, 0.008, 0.05)
    rise = trend * (lap / turns - 0.5) + wander(rng, lap, 0.7, uneven).clip(-0.12, 0.12)
    loose = rng.uniform(0, 0.2, 2) * (rng.random(2) < _LOOSE_ENDS)
    ends = loose[0] * np.exp(-lap / 0.6) + loose[1] * np.exp(-(turns - lap) / 0.6)
    rho = radius * (1 + rise + ends)
    swing = 1 + wander(rng, lap, max(1.5, turns / 6), 4 * uneven) + 0.8 * ends
    swing = swing.clip(_LEAST_SWING[group], 2.0)
    advance = np.concatenate([[0.0], np.cumsum(np.diff(lap) * 0.5 * (swing[1:] + swing[:-1]))])
    return angle, rho, advance * pitch * turns / advance[-1]
