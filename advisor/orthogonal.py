"""Orthogonal cutting: chip ratio, shear, friction, edge life, mean heat.

What a measured chip thickness tells, and the check values of the textbooks. Cook's
temperature ranks cuts; on titanium it is far too high [cook1973, our check].
"""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = [
    "OrthogonalForces",
    "chip_bending_strain",
    "chip_ratio",
    "cook_rise_k",
    "friction_angle_deg",
    "friction_energy_share",
    "lee_shaffer_angle_deg",
    "merchant_angle_deg",
    "orthogonal_forces",
    "shear_angle_deg",
    "shear_plane_forces",
    "shear_strain",
    "taylor_life_min",
    "weighed_thickness_mm",
]


@dataclass(frozen=True, slots=True)
class OrthogonalForces:
    """Forces of an orthogonal cut, N."""

    cutting_n: float
    thrust_n: float
    shear_n: float
    shear_normal_n: float
    friction_n: float
    friction_normal_n: float


def chip_ratio(thickness_mm: float, chip_thickness_mm: float) -> float:
    """Return uncut over cut chip thickness, below 1; its inverse is the compression."""
    return thickness_mm / chip_thickness_mm


def shear_angle_deg(ratio: float, rake_deg: float) -> float:
    """Return the shear plane angle from chip ratio and rake, degrees [merchant1945].

    >>> round(shear_angle_deg(0.15 / 0.40, 10.0), 2)
    21.56
    """
    rake = math.radians(rake_deg)
    return math.degrees(math.atan2(ratio * math.cos(rake), 1.0 - ratio * math.sin(rake)))


def shear_strain(shear_deg: float, rake_deg: float) -> float:
    """Return cot(phi) + tan(phi - rake) [merchant1945]."""
    shear = math.radians(shear_deg)
    return 1.0 / math.tan(shear) + math.tan(shear - math.radians(rake_deg))


def merchant_angle_deg(rake_deg: float, friction_deg: float) -> float:
    """Return Merchant's shear angle, 45 + rake/2 - friction/2, degrees."""
    return 45.0 + rake_deg / 2.0 - friction_deg / 2.0


def lee_shaffer_angle_deg(rake_deg: float, friction_deg: float) -> float:
    """Return Lee and Shaffer's shear angle, 45 + rake - friction, degrees."""
    return 45.0 + rake_deg - friction_deg


def friction_angle_deg(cutting_n: float, thrust_n: float, rake_deg: float) -> float:
    """Return the friction angle on the rake face from two measured forces, degrees."""
    return math.degrees(math.atan2(thrust_n, cutting_n)) + rake_deg


def orthogonal_forces(
    shear_stress_n_mm2: float,
    area_mm2: float,
    *,
    shear_deg: float,
    friction_deg: float,
    rake_deg: float,
) -> OrthogonalForces:
    """Return the forces that shear a given chip section, N (Merchant's circle).

    Parameters
    ----------
    shear_stress_n_mm2 : float, N/mm²
        Strength of the work on the shear plane.
    area_mm2 : float, mm²
        Section of the uncut chip.
    shear_deg, friction_deg, rake_deg : float, degrees

    References
    ----------
    [merchant1945]; worked in [ghosh1985].
    """
    shear, friction, rake = (math.radians(a) for a in (shear_deg, friction_deg, rake_deg))
    shear_force = shear_stress_n_mm2 * area_mm2 / math.sin(shear)
    resultant = shear_force / math.cos(shear + friction - rake)
    return OrthogonalForces(
        cutting_n=resultant * math.cos(friction - rake),
        thrust_n=resultant * math.sin(friction - rake),
        shear_n=shear_force,
        shear_normal_n=resultant * math.sin(shear + friction - rake),
        friction_n=resultant * math.sin(friction),
        friction_normal_n=resultant * math.cos(friction),
    )


def shear_plane_forces(
    cutting_n: float, thrust_n: float, *, shear_deg: float, rake_deg: float
) -> OrthogonalForces:
    """Return two measured forces turned onto the shear plane and the rake face, N."""
    shear, rake = math.radians(shear_deg), math.radians(rake_deg)
    return OrthogonalForces(
        cutting_n=cutting_n,
        thrust_n=thrust_n,
        shear_n=cutting_n * math.cos(shear) - thrust_n * math.sin(shear),
        shear_normal_n=cutting_n * math.sin(shear) + thrust_n * math.cos(shear),
        friction_n=cutting_n * math.sin(rake) + thrust_n * math.cos(rake),
        friction_normal_n=cutting_n * math.cos(rake) - thrust_n * math.sin(rake),
    )


def friction_energy_share(friction_n: float, cutting_n: float, ratio: float) -> float:
    """Return the share of the energy spent in friction: F r / Fc [kalpakjian]."""
    return friction_n * ratio / cutting_n


def taylor_life_min(
    life_min: float, speed_m_min: float, new_speed_m_min: float, exponent: float
) -> float:
    """Return the edge life at another speed by v T^n = constant, min.

    >>> round(taylor_life_min(60.0, 40.0, 20.0, 0.5))
    240
    """
    return float(life_min * (speed_m_min / new_speed_m_min) ** (1.0 / exponent))


def cook_rise_k(
    energy_j_mm3: float,
    heat_capacity_j_mm3_k: float,
    *,
    speed_mm_s: float,
    thickness_mm: float,
    diffusivity_mm2_s: float,
) -> float:
    """Return Cook's mean rise at the chip face, K. For ranking cuts only."""
    peclet = speed_mm_s * thickness_mm / diffusivity_mm2_s
    return float(0.4 * energy_j_mm3 / heat_capacity_j_mm3_k * peclet**0.333)


def chip_bending_strain(
    chip_thickness_mm: float, curl_mm: float, opened_mm: float, share: float = 0.5
) -> float:
    """Return the strain when an obstacle opens a curl from one radius to a larger one.

    A chip breaks where this passes what its metal bears [nakayama1962].
    """
    return share * chip_thickness_mm * (1.0 / curl_mm - 1.0 / opened_mm)


def weighed_thickness_mm(
    mass_g: float, *, density_g_cm3: float, length_mm: float, width_mm: float
) -> float:
    """Return the mean chip thickness from a weighed piece, mm: m / (rho L b) [shaw]."""
    return 1000.0 * mass_g / (density_g_cm3 * length_mm * width_mm)
