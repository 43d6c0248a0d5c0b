"""Kinematics of curl: how a chip leaving the edge winds into a screw.

The chip moves as a rigid body: speed one in the rake plane, at flow angle eta to
the normal of the edge, turning with an up-curl part 1/R_u about the edge, a
side-curl part 1/R_s about the normal of the rake face and a twist part along the
flow. Rigid motion is a screw, so the chip is a helix (Nakayama and Arai, CIRP
Annals 41/1, 1992, from memory; formulas in any text on screw motion).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

__all__ = [
    "Curl",
    "Screw",
    "curl_from_screw",
    "screw_from_curl",
    "screw_length_mm",
    "steepest_pitch_mm",
]

#: Largest flow angle in turning, degrees, and largest share of twist in the whole
#: rotation (both ours): steeper coils than these give are not drawn.
_MOST_FLOW_DEG = 45.0
_MOST_TWIST = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Screw:
    """Helix that a chip winds into; ``theta_deg`` lies between width and axis."""

    radius_mm: float
    pitch_mm: float
    theta_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Curl:
    """Motion of a chip at the edge, as :func:`screw_from_curl` takes it."""

    up_radius_mm: float
    side_radius_mm: float
    flow_deg: float
    twist_per_mm: float


def screw_from_curl(
    up_radius_mm: float, side_radius_mm: float, flow_deg: float, twist_per_mm: float = 0.0
) -> Screw:
    """Radius, pitch and width angle from the two curl radii and the flow angle.

    Parameters
    ----------
    up_radius_mm, side_radius_mm : float
        Positive; ``math.inf`` for no curl of that kind, but not for both.
    flow_deg : float
        Chip flow angle from the normal of the edge, -60 to 60.
    twist_per_mm : float
        Rotation rate along the flow, radian per mm of chip.
    """
    eta = math.radians(flow_deg)
    v = np.array([math.sin(eta), math.cos(eta), 0.0])
    omega = np.array([1 / up_radius_mm, twist_per_mm, 1 / side_radius_mm])
    rate2 = float(omega @ omega)
    if rate2 == 0.0:
        raise ValueError("a chip without any curl winds into no screw")
    return Screw(
        radius_mm=float(np.linalg.norm(np.cross(omega, v))) / rate2,
        pitch_mm=2 * math.pi * float(v @ omega) / rate2,
        theta_deg=math.degrees(math.acos(min(1.0, abs(omega[0]) / math.sqrt(rate2)))),
    )


def screw_length_mm(radius_mm: float, pitch_mm: float, turns: float) -> float:
    """Length along an even helix: turns times the hypotenuse of girth and pitch."""
    return turns * math.hypot(2 * math.pi * radius_mm, pitch_mm)


def curl_from_screw(screw: Screw) -> Curl:
    """Motion that winds a chip into a screw; inverse of :func:`screw_from_curl`.

    The pitch is put down to chip flow up to 45 degrees, the rest to twist.

    Raises
    ------
    ValueError
        When no motion does: the twist would exceed the whole rotation.
    """
    theta = math.radians(screw.theta_deg)
    rise = math.atan2(screw.pitch_mm, 2 * math.pi * screw.radius_mm)
    rate = math.cos(rise) / screw.radius_mm
    most = math.radians(_MOST_FLOW_DEG)
    flow, twist = most, 0.0
    if math.sin(rise) <= math.sin(most) * math.cos(theta):
        flow = math.asin(math.sin(rise) / math.cos(theta))
    else:
        twist = (math.sin(rise) - math.sin(most) * math.cos(theta)) / math.cos(most)
    side2 = math.sin(theta) ** 2 - twist**2
    if side2 < 0:
        raise ValueError(f"no chip flow winds {screw}")
    up, side = rate * math.cos(theta), rate * math.sqrt(side2)
    return Curl(
        up_radius_mm=1 / up if up > 0 else math.inf,
        side_radius_mm=1 / side if side > 0 else math.inf,
        flow_deg=math.degrees(flow),
        twist_per_mm=rate * twist,
    )


def steepest_pitch_mm(radius_mm: float, theta_deg: float) -> float:
    """Largest pitch that chip flow and a little twist give a coil."""
    most, theta = math.radians(_MOST_FLOW_DEG), math.radians(theta_deg)
    twist = min(_MOST_TWIST, math.sin(theta))
    rise = math.asin(min(0.5, math.sin(most) * math.cos(theta) + twist * math.cos(most)))
    return 2 * math.pi * radius_mm * math.tan(rise)
