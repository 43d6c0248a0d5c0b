"""Speed, time, removal, power and torque: what a cut asks of spindle and motor.

The plain shop formulas, without any law of force. Source keys are listed in
``advisor.mechanics``.
"""

from __future__ import annotations

import math
from typing import Final

from advisor.mechanics._check import at_least_zero, positive, within

__all__ = [
    "force_from_power_n",
    "machining_time_min",
    "motor_power_w",
    "power_w",
    "removal_mm3_s",
    "removal_turned_mm3_s",
    "speed_m_min",
    "spindle_power_w",
    "spindle_rev_min",
    "torque_available_nm",
    "torque_nm",
    "unit_power_hp_min_in3",
    "unit_power_j_mm3",
]

#: 550 ft lbf/s for a cubic inch a minute; foot, pound-force and inch are exact.
_J_MM3_PER_HP_MIN_IN3: Final = 550.0 * 0.3048 * 4.4482216152605 * 60.0 / 25.4**3


def speed_m_min(spindle_rev_min: float, diameter_mm: float) -> float:
    """Return the cutting speed pi D n / 1000 in m/min [tabellenbuch].

    ``spindle_rev_min`` (rev/min) and ``diameter_mm`` (mm) are at least zero, else
    ValueError: at the centre of a face the speed is indeed zero.

    >>> round(speed_m_min(50.0, 550.0), 2)
    86.39
    """
    at_least_zero(spindle_rev_min=spindle_rev_min, diameter_mm=diameter_mm)
    return math.pi * diameter_mm * spindle_rev_min / 1000.0


def spindle_rev_min(speed_m_min: float, diameter_mm: float) -> float:
    """Return the spindle speed 1000 vc / (pi D) in rev/min [tabellenbuch].

    ``speed_m_min`` (m/min) is at least zero, ``diameter_mm`` (mm) above zero, else
    ValueError. The machine's and the chuck's own limits come first.

    >>> round(spindle_rev_min(30.0, 25.0), 2)
    381.97
    """
    at_least_zero(speed_m_min=speed_m_min)
    positive(diameter_mm=diameter_mm)
    return 1000.0 * speed_m_min / (math.pi * diameter_mm)


def machining_time_min(
    length_mm: float, spindle_rev_min: float, feed_mm_rev: float, passes: int = 1
) -> float:
    """Return the time under feed, L i / (n f), in minutes [tabellenbuch].

    ``length_mm`` includes run-in and run-out and is at least zero; the rest is above
    zero, else ValueError. Setting, measuring and going back are not in it.

    >>> round(machining_time_min(152.4, 400.0, 0.508), 2)
    0.75
    """
    at_least_zero(length_mm=length_mm)
    positive(spindle_rev_min=spindle_rev_min, feed_mm_rev=feed_mm_rev, passes=passes)
    return length_mm * passes / (spindle_rev_min * feed_mm_rev)


def removal_mm3_s(speed_m_min: float, depth_mm: float, feed_mm_rev: float) -> float:
    """Return the removal rate ap f vc in mm³/s, with the speed at the outer diameter.

    Speed in m/min (at least zero), depth in mm and feed in mm/rev (above zero), else
    ValueError. Too large by ap/D; :func:`removal_turned_mm3_s` has no such error.

    >>> round(removal_mm3_s(108.0, 2.6, 0.30))
    1404
    """
    at_least_zero(speed_m_min=speed_m_min)
    positive(depth_mm=depth_mm, feed_mm_rev=feed_mm_rev)
    return depth_mm * feed_mm_rev * speed_m_min * 1000.0 / 60.0


def removal_turned_mm3_s(
    diameter_mm: float, depth_mm: float, feed_mm_rev: float, spindle_rev_min: float
) -> float:
    """Return the exact removal rate pi (D - ap) ap f n of turning outside, in mm³/s.

    ``diameter_mm`` is the one before the cut; the depth (mm, on the side) is at most half
    of it, feed in mm/rev and spindle speed in rev/min are above zero, else ValueError.
    [kalpakjian] p. 600.

    >>> round(removal_turned_mm3_s(75.0, 5.0, 0.5, 400.0), 1)
    3665.2
    """
    positive(diameter_mm=diameter_mm, depth_mm=depth_mm, feed_mm_rev=feed_mm_rev)
    positive(spindle_rev_min=spindle_rev_min)
    if depth_mm > diameter_mm / 2.0:
        raise ValueError("depth_mm must be at most half of diameter_mm")
    mean_circle_mm = math.pi * (diameter_mm - depth_mm)
    return mean_circle_mm * depth_mm * feed_mm_rev * spindle_rev_min / 60.0


def power_w(force_n: float, speed_m_min: float) -> float:
    """Return the cutting power Fc vc / 60 in W [tabellenbuch].

    Force in N and speed in m/min, both at least zero, else ValueError.

    >>> round(power_w(1559.0, 100.0), 1)
    2598.3
    """
    at_least_zero(force_n=force_n, speed_m_min=speed_m_min)
    return force_n * speed_m_min / 60.0


def force_from_power_n(power_w: float, speed_m_min: float) -> float:
    """Return the cutting force that a power carries at a speed, in N.

    Power in W at least zero, speed in m/min above zero, else ValueError.

    >>> round(force_from_power_n(2598.33, 100.0))
    1559
    """
    at_least_zero(power_w=power_w)
    positive(speed_m_min=speed_m_min)
    return power_w * 60.0 / speed_m_min


def motor_power_w(power_w: float, efficiency: float) -> float:
    """Return the motor power behind a cutting power, Pc / eta, in W [tabellenbuch].

    Power in W at least zero, efficiency above 0 to 1, else ValueError.

    >>> round(motor_power_w(41667.0, 0.75))
    55556
    """
    at_least_zero(power_w=power_w)
    _check_efficiency(efficiency)
    return power_w / efficiency


def spindle_power_w(motor_power_w: float, efficiency: float) -> float:
    """Return what a motor leaves at the spindle, P1 eta, in W [tabellenbuch].

    Power in W at least zero, efficiency above 0 to 1, else ValueError.

    >>> round(spindle_power_w(40_000.0, 0.7))
    28000
    """
    at_least_zero(motor_power_w=motor_power_w)
    _check_efficiency(efficiency)
    return motor_power_w * efficiency


def torque_nm(force_n: float, diameter_mm: float) -> float:
    """Return the torque at the spindle, Fc D / 2000, in N m [tabellenbuch].

    Force in N and diameter in mm, both at least zero, else ValueError.

    >>> round(torque_nm(409.9, 20.0), 2)
    4.1
    """
    at_least_zero(force_n=force_n, diameter_mm=diameter_mm)
    return force_n * diameter_mm / 2000.0


def torque_available_nm(power_w: float, efficiency: float, rated_rev_min: float) -> float:
    """Return the torque a drive gives at the spindle at its rated speed, in N m.

    P eta / (2 pi n). Below the rated speed an electronically driven motor holds this
    torque at best; only gears or pulleys raise it.

    Parameters
    ----------
    power_w : float, W, >= 0
        Rated motor power.
    efficiency : float, above 0 to 1
        Of belt and gears.
    rated_rev_min : float, rev/min, > 0
        Spindle speed at which the motor runs at its rated speed.

    Returns
    -------
    float
        Torque in N m.

    Raises
    ------
    ValueError
        If a value is not finite or out of its range.

    Notes
    -----
    Not to be trusted for: slipping belts, hot motors and power printed on cheap drives.

    References
    ----------
    [mechanics] power is torque times angular speed.

    Examples
    --------
    >>> round(torque_available_nm(550.0, 0.75, 1000.0), 2)
    3.94
    """
    positive(rated_rev_min=rated_rev_min)
    return spindle_power_w(power_w, efficiency) / (2.0 * math.pi * rated_rev_min / 60.0)


def unit_power_j_mm3(unit_power_hp_min_in3: float) -> float:
    """Return a handbook's unit power in W s/mm³ (J/mm³, kN/mm²) from hp min/in³.

    The input is at least zero, else ValueError.

    >>> round(unit_power_j_mm3(1.0), 4)
    2.7303
    """
    at_least_zero(unit_power_hp_min_in3=unit_power_hp_min_in3)
    return unit_power_hp_min_in3 * _J_MM3_PER_HP_MIN_IN3


def unit_power_hp_min_in3(unit_power_j_mm3: float) -> float:
    """Return unit power in hp min/in³ from W s/mm³; the way back of the function above.

    The input is at least zero, else ValueError.

    >>> round(unit_power_hp_min_in3(2.7303), 3)
    1.0
    """
    at_least_zero(unit_power_j_mm3=unit_power_j_mm3)
    return unit_power_j_mm3 / _J_MM3_PER_HP_MIN_IN3


def _check_efficiency(efficiency: float) -> None:
    positive(efficiency=efficiency)
    within(0.0, 1.0, efficiency=efficiency)
