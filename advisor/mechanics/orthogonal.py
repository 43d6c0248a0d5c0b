"""What a chip tells about its making: shear angle, strain, friction, forces.

Orthogonal cutting with one shear plane, the textbook model. Not in here: measures of
the chip (``chip``) and forces from constants of a metal (``force``). Source keys are
listed in ``advisor.mechanics``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from advisor.mechanics._check import at_least_zero, finite, positive, within

__all__ = [
    "CircleForces",
    "ShearPlane",
    "circle_forces",
    "friction_angle_deg",
    "friction_share",
    "lee_shaffer_shear_angle_deg",
    "merchant_shear_angle_deg",
    "shear_angle_deg",
    "shear_plane",
    "shear_strain",
    "strain_rate_s",
]

_RAKE_LIMIT_DEG: Final = 60.0
_SQUARE_DEG: Final = 90.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ShearPlane:
    """Measured forces turned onto shear plane and rake face, from :func:`shear_plane`.

    Attributes
    ----------
    shear_n, normal_n : float, N
        Along and normal to the shear plane.
    friction_n, friction_normal_n : float, N
        Along and normal to the rake face.
    friction_coefficient : float
        Ratio of those two; infinite when nothing presses on the rake face.
    area_mm2 : float, mm²
        Of the shear plane.
    shear_stress_n_mm2 : float, N/mm²
        Shear force over that area.
    """

    shear_n: float
    normal_n: float
    friction_n: float
    friction_normal_n: float
    friction_coefficient: float
    area_mm2: float
    shear_stress_n_mm2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CircleForces:
    """Cutting force and thrust that shear a section, from :func:`circle_forces`; in N."""

    cutting_n: float
    thrust_n: float


def shear_angle_deg(ratio: float, rake_deg: float) -> float:
    """Return the shear angle, tan phi = r cos g / (1 - r sin g), in degrees.

    Parameters
    ----------
    ratio : float, > 0
        Chip ratio, from :func:`advisor.mechanics.chip.chip_ratio`.
    rake_deg : float, degrees, -60 to 60
        Rake angle g.

    Returns
    -------
    float
        Angle in degrees, above 0 and below 90 + rake.

    Raises
    ------
    ValueError
        If a value is not finite or out of its range.

    Notes
    -----
    Not to be trusted for: segmented chips (titanium) and chips with a built-up edge;
    their mean thickness says little about one shear plane.

    References
    ----------
    [merchant1945].

    Examples
    --------
    >>> round(shear_angle_deg(0.375, 10.0), 2)
    21.56
    """
    positive(ratio=ratio)
    within(-_RAKE_LIMIT_DEG, _RAKE_LIMIT_DEG, rake_deg=rake_deg)
    rake_rad = math.radians(rake_deg)
    return math.degrees(
        math.atan2(ratio * math.cos(rake_rad), 1.0 - ratio * math.sin(rake_rad))
    )


def shear_strain(shear_deg: float, rake_deg: float) -> float:
    """Return the shear strain cot phi + tan(phi - g) [merchant1945].

    Shear angle above 0 and below 90 + rake, rake -60 to 60, degrees, else ValueError.

    >>> round(shear_strain(21.555, 10.0), 3)
    2.736
    """
    _check_shear(shear_deg, rake_deg)
    shear_rad = math.radians(shear_deg)
    return 1.0 / math.tan(shear_rad) + math.tan(shear_rad - math.radians(rake_deg))


def merchant_shear_angle_deg(friction_deg: float, rake_deg: float) -> float:
    """Return Merchant's shear angle 45 + g/2 - beta/2, in degrees [merchant1945].

    Friction angle 0 to 89, rake -60 to 60, degrees, else ValueError. The real angle is
    usually smaller.

    >>> round(merchant_shear_angle_deg(26.565, 10.0), 2)
    36.72
    """
    _check_friction(friction_deg, rake_deg)
    return 45.0 + rake_deg / 2.0 - friction_deg / 2.0


def lee_shaffer_shear_angle_deg(friction_deg: float, rake_deg: float) -> float:
    """Return Lee and Shaffer's shear angle 45 + g - beta, in degrees [ghosh].

    Friction angle 0 to 89, rake -60 to 60, degrees, else ValueError. Without meaning when
    it comes out at zero or less (much friction on a small rake).

    >>> round(lee_shaffer_shear_angle_deg(30.964, 10.0), 3)
    24.036
    """
    _check_friction(friction_deg, rake_deg)
    return 45.0 + rake_deg - friction_deg


def friction_angle_deg(cutting_n: float, thrust_n: float, rake_deg: float) -> float:
    """Return the friction angle beta = g + atan(Ft / Fc), in degrees [ghosh].

    Cutting force (N) above zero, thrust (N) finite, rake -60 to 60, else ValueError.

    >>> round(friction_angle_deg(567.0, 227.0, 10.0), 2)
    31.82
    """
    positive(cutting_n=cutting_n)
    finite(thrust_n=thrust_n)
    within(-_RAKE_LIMIT_DEG, _RAKE_LIMIT_DEG, rake_deg=rake_deg)
    return rake_deg + math.degrees(math.atan2(thrust_n, cutting_n))


def shear_plane(
    cutting_n: float,
    thrust_n: float,
    shear_deg: float,
    rake_deg: float,
    section_mm2: float,
) -> ShearPlane:
    """Return two measured forces turned onto the shear plane and the rake face.

    Parameters
    ----------
    cutting_n : float, N, > 0
        Cutting force.
    thrust_n : float, N
        Thrust, normal to it.
    shear_deg : float, degrees, above 0, below 90 + rake
        Shear angle.
    rake_deg : float, degrees, -60 to 60
        Rake angle.
    section_mm2 : float, mm², > 0
        Section of the uncut chip, h b.

    Returns
    -------
    ShearPlane
        Forces in N, stress in N/mm².

    Raises
    ------
    ValueError
        If a value is not finite or out of its range.

    Notes
    -----
    Not to be trusted for: blunt edges; the force that ploughs is counted as shear.

    References
    ----------
    [merchant1945]; worked through in [ghosh], [sharma].

    Examples
    --------
    >>> plane = shear_plane(950.0, 475.0, 18.435, 0.0, 0.25 * 2.5)
    >>> round(plane.shear_stress_n_mm2), round(plane.friction_coefficient, 3)
    (380, 0.5)
    """
    positive(cutting_n=cutting_n, section_mm2=section_mm2)
    finite(thrust_n=thrust_n)
    _check_shear(shear_deg, rake_deg)
    shear_rad, rake_rad = math.radians(shear_deg), math.radians(rake_deg)
    shear_n = cutting_n * math.cos(shear_rad) - thrust_n * math.sin(shear_rad)
    friction_n = cutting_n * math.sin(rake_rad) + thrust_n * math.cos(rake_rad)
    pressing_n = cutting_n * math.cos(rake_rad) - thrust_n * math.sin(rake_rad)
    area_mm2 = section_mm2 / math.sin(shear_rad)
    return ShearPlane(
        shear_n=shear_n,
        normal_n=cutting_n * math.sin(shear_rad) + thrust_n * math.cos(shear_rad),
        friction_n=friction_n,
        friction_normal_n=pressing_n,
        friction_coefficient=friction_n / pressing_n if pressing_n > 0.0 else math.inf,
        area_mm2=area_mm2,
        shear_stress_n_mm2=shear_n / area_mm2,
    )


def circle_forces(
    shear_stress_n_mm2: float,
    section_mm2: float,
    shear_deg: float,
    friction_deg: float,
    rake_deg: float,
) -> CircleForces:
    """Return the forces that a shear stress asks for, by Merchant's circle.

    Parameters
    ----------
    shear_stress_n_mm2 : float, N/mm², > 0
        Strength of the metal on the shear plane.
    section_mm2 : float, mm², > 0
        Section of the uncut chip, h b.
    shear_deg : float, degrees, above 0, below 90 + rake
        Shear angle, measured or from a theory.
    friction_deg : float, degrees, 0 to 89
        Friction angle on the rake face.
    rake_deg : float, degrees, -60 to 60
        Rake angle.

    Returns
    -------
    CircleForces
        Cutting force and thrust in N.

    Raises
    ------
    ValueError
        If a value is not finite or out of its range, or phi + beta - g reaches 90
        degrees, where no force would be enough.

    References
    ----------
    [merchant1945]; worked through in [ghosh].

    Examples
    --------
    >>> forces = circle_forces(400.0, 0.4, 36.7175, 26.565, 10.0)
    >>> round(forces.cutting_n), round(forces.thrust_n)
    (429, 128)
    """
    positive(shear_stress_n_mm2=shear_stress_n_mm2, section_mm2=section_mm2)
    _check_friction(friction_deg, rake_deg)
    _check_shear(shear_deg, rake_deg)
    lean_deg = shear_deg + friction_deg - rake_deg
    if lean_deg >= _SQUARE_DEG:
        raise ValueError("shear_deg + friction_deg - rake_deg must be below 90")
    shear_n = shear_stress_n_mm2 * section_mm2 / math.sin(math.radians(shear_deg))
    resultant_n = shear_n / math.cos(math.radians(lean_deg))
    off_rad = math.radians(friction_deg - rake_deg)
    return CircleForces(
        cutting_n=resultant_n * math.cos(off_rad), thrust_n=resultant_n * math.sin(off_rad)
    )


def friction_share(friction_n: float, cutting_n: float, ratio: float) -> float:
    """Return the share of the cutting energy spent in friction, F r / Fc [kalpakjian].

    Force along the rake face (N) at least zero, cutting force (N) and chip ratio above
    zero, else ValueError.

    >>> round(friction_share(70.9, 125.0, 5 / 9), 3)
    0.315
    """
    at_least_zero(friction_n=friction_n)
    positive(cutting_n=cutting_n, ratio=ratio)
    return friction_n * ratio / cutting_n


def strain_rate_s(
    speed_m_min: float, shear_deg: float, rake_deg: float, zone_mm: float
) -> float:
    """Return the shear strain rate, v cos g / (cos(phi - g) zone), per second [sharma].

    Speed in m/min and thickness of the shear zone in mm above zero, angles as for
    :func:`shear_strain`, else ValueError. The zone is a guess, often a tenth of the shear
    plane's length, and the rate with it.

    >>> round(strain_rate_s(120.0, 31.27, 10.0, 0.024466), -2)
    86400.0
    """
    positive(speed_m_min=speed_m_min, zone_mm=zone_mm)
    _check_shear(shear_deg, rake_deg)
    rake_rad = math.radians(rake_deg)
    slip_mm_s = (
        speed_m_min
        * 1000.0
        / 60.0
        * math.cos(rake_rad)
        / math.cos(math.radians(shear_deg) - rake_rad)
    )
    return slip_mm_s / zone_mm


def _check_shear(shear_deg: float, rake_deg: float) -> None:
    positive(shear_deg=shear_deg)
    within(-_RAKE_LIMIT_DEG, _RAKE_LIMIT_DEG, rake_deg=rake_deg)
    if shear_deg >= _SQUARE_DEG + rake_deg:
        raise ValueError("shear_deg must be below 90 + rake_deg")


def _check_friction(friction_deg: float, rake_deg: float) -> None:
    within(0.0, 89.0, friction_deg=friction_deg)
    within(-_RAKE_LIMIT_DEG, _RAKE_LIMIT_DEG, rake_deg=rake_deg)
