"""Cutting force, power and torque on plain floats.

Kienzle's law with the usual corrections. Forces from tables are good to about a third
either way, so whoever compares them with a limit takes the band, not the middle.
"""

from __future__ import annotations

import math

__all__ = [
    "cutting_force_n",
    "cutting_power_w",
    "cutting_speed_m_min",
    "power_law_force_n",
    "rake_factor",
    "removal_mm3_min",
    "specific_force_n_mm2",
    "speed_factor",
    "spindle_speed_rev_min",
    "spindle_torque_n_m",
    "split_thrust_n",
    "torque_at_power_n_m",
    "turning_time_s",
    "unit_power_w_s_mm3",
]

#: Cutting speed of the German reference tables, m/min [paucksch, memory].
REFERENCE_SPEED_M_MIN = 100.0
#: Lowest speed at which the speed correction was given, m/min [paucksch, memory].
LOWEST_SPEED_M_MIN = 20.0
#: W s/mm3 in one hp min/in3: 745.69987 W x 60 s / 25.4^3 mm3.
W_S_MM3_PER_HP_MIN_IN3 = 745.69987158227022 * 60.0 / 25.4**3


def cutting_speed_m_min(spindle_rev_min: float, diameter_mm: float) -> float:
    """Return pi D n / 1000, m/min.

    >>> round(cutting_speed_m_min(1000, 9.525), 1)
    29.9
    """
    return math.pi * diameter_mm * spindle_rev_min / 1000.0


def spindle_speed_rev_min(speed_m_min: float, diameter_mm: float) -> float:
    """Return the spindle speed that gives a cutting speed on a diameter, rev/min."""
    return 1000.0 * speed_m_min / (math.pi * diameter_mm)


def turning_time_s(length_mm: float, spindle_rev_min: float, feed_mm_rev: float) -> float:
    """Return the time of one pass, s."""
    return 60.0 * length_mm / (spindle_rev_min * feed_mm_rev)


def removal_mm3_min(
    diameter_mm: float, depth_mm: float, feed_mm_rev: float, spindle_rev_min: float
) -> float:
    """Return the volume cut each minute, mm³/min, on the mean diameter of the cut."""
    return math.pi * (diameter_mm - depth_mm) * depth_mm * feed_mm_rev * spindle_rev_min


def specific_force_n_mm2(kc11_n_mm2: float, mc: float, thickness_mm: float) -> float:
    """Return kc = kc1.1 h^-mc, N/mm² [kienzle1957].

    Notes
    -----
    Not to be trusted for: chips under about 0.05 mm thick, where the true curve is
    steeper and this falls short.
    """
    return float(kc11_n_mm2 * thickness_mm**-mc)


def rake_factor(rake_deg: float, reference_deg: float) -> float:
    """Return the correction for rake, 1.5 % a degree, held between 0.7 and 1.3 [paucksch]."""
    return min(max(1.0 - 0.015 * (rake_deg - reference_deg), 0.7), 1.3)


def speed_factor(speed_m_min: float) -> float:
    """Return the correction for slow cutting, (100 / vc)^0.1 in 20-100 m/min [paucksch]."""
    speed = min(max(speed_m_min, LOWEST_SPEED_M_MIN), REFERENCE_SPEED_M_MIN)
    return float((REFERENCE_SPEED_M_MIN / speed) ** 0.1)


def cutting_force_n(
    thickness_mm: float, width_mm: float, *, kc11_n_mm2: float, mc: float, factor: float = 1.0
) -> float:
    """Return Kienzle's main cutting force, N.

    Parameters
    ----------
    thickness_mm, width_mm : float, mm, > 0
        Section of the uncut chip.
    kc11_n_mm2, mc : float
        Main value (at h = b = 1 mm) and exponent of the metal.
    factor : float
        Product of the corrections.

    References
    ----------
    [kienzle1957]; constants of the metals in ``advisor/data/materials.toml``.

    Examples
    --------
    >>> round(cutting_force_n(0.2, 2.0, kc11_n_mm2=2220, mc=0.14), 1)
    1112.4
    """
    return specific_force_n_mm2(kc11_n_mm2, mc, thickness_mm) * thickness_mm * width_mm * factor


def power_law_force_n(
    constant: float,
    *,
    feed_mm_rev: float,
    depth_mm: float,
    feed_exponent: float,
    depth_exponent: float,
) -> float:
    """Return a force from a fitted power law of feed and depth, N [sharma]."""
    return float(constant * feed_mm_rev**feed_exponent * depth_mm**depth_exponent)


def split_thrust_n(thrust_n: float, angle_deg: float) -> tuple[float, float]:
    """Return feed force and radial (passive) force of a thrust normal to the edge, N."""
    angle = math.radians(angle_deg)
    return thrust_n * math.sin(angle), thrust_n * math.cos(angle)


def cutting_power_w(force_n: float, speed_m_min: float) -> float:
    """Return the power at the edge, Fc vc / 60, W."""
    return force_n * speed_m_min / 60.0


def spindle_torque_n_m(force_n: float, diameter_mm: float) -> float:
    """Return the torque that a cutting force puts on the spindle, Fc D / 2000, N m."""
    return force_n * diameter_mm / 2000.0


def torque_at_power_n_m(power_w: float, spindle_rev_min: float) -> float:
    """Return the torque of a power at a speed, N m."""
    return power_w / (2.0 * math.pi * spindle_rev_min / 60.0)


def unit_power_w_s_mm3(power_w: float, removal_mm3_s: float) -> float:
    """Return power for each volume rate, W s/mm³, the same number as J/mm³ or kN/mm²."""
    return power_w / removal_mm3_s
