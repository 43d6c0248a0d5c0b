"""What the edge suffers: life by Taylor, mean heat by Cook.

Rules to compare cuts with, not promises. Source keys are listed in ``advisor.mechanics``.
"""

from __future__ import annotations

from advisor.mechanics._check import positive, within

__all__ = [
    "cook_rise_k",
    "taylor_life_min",
]


def taylor_life_min(
    speed_m_min: float, known_speed_m_min: float, known_life_min: float, exponent: float
) -> float:
    """Return the edge life at another speed by Taylor's v T^n = C, in minutes.

    Parameters
    ----------
    speed_m_min, known_speed_m_min : float, m/min, > 0
        Speed asked about, and the one whose life is known.
    known_life_min : float, min, > 0
        Life at the known speed.
    exponent : float, above 0 to 1
        Taylor's n: about 0.125 for HSS, 0.25 and more for carbide.

    Returns
    -------
    float
        Life in minutes.

    Raises
    ------
    ValueError
        If a value is not finite or out of its range.

    Notes
    -----
    Not to be trusted for: speeds in the range of built-up edge, or far from the known one.

    References
    ----------
    [kalpakjian] p. 555; [sharma] example 14.1.

    Examples
    --------
    >>> taylor_life_min(50.0, 100.0, 15.0, 0.5)
    60.0
    """
    positive(speed_m_min=speed_m_min, known_speed_m_min=known_speed_m_min)
    positive(known_life_min=known_life_min, exponent=exponent)
    within(0.0, 1.0, exponent=exponent)
    return float(known_life_min * (known_speed_m_min / speed_m_min) ** (1.0 / exponent))


def cook_rise_k(
    unit_power_j_mm3: float,
    heat_capacity_j_mm3_k: float,
    speed_m_min: float,
    thickness_mm: float,
    diffusivity_mm2_s: float,
) -> float:
    """Return Cook's mean temperature rise where the chip rubs the tool, in K.

    0.4 U / (rho c) (v h / K)^0.333.

    Parameters
    ----------
    unit_power_j_mm3 : float, J/mm³, > 0
        Cutting force over section of the uncut chip.
    heat_capacity_j_mm3_k : float, J/(mm³ K), > 0
        Density times specific heat of the work.
    speed_m_min : float, m/min, > 0
        Cutting speed.
    thickness_mm : float, mm, > 0
        Chip thickness h.
    diffusivity_mm2_s : float, mm²/s, > 0
        Of the work.

    Returns
    -------
    float
        Rise in K over the surroundings.

    Raises
    ------
    ValueError
        If a value is not finite and above zero.

    Notes
    -----
    Not to be trusted for: a temperature. It ranks cuts in one metal; titanium comes out
    some hundred kelvin too hot, and coolant is not in it.

    References
    ----------
    [cook1973]; exponent and worked example from [groover], from memory.

    Examples
    --------
    >>> round(cook_rise_k(1.038, 0.003, 100.0, 0.5, 50.0))
    353
    """
    positive(unit_power_j_mm3=unit_power_j_mm3, heat_capacity_j_mm3_k=heat_capacity_j_mm3_k)
    positive(speed_m_min=speed_m_min, thickness_mm=thickness_mm)
    positive(diffusivity_mm2_s=diffusivity_mm2_s)
    flow = speed_m_min * 1000.0 / 60.0 * thickness_mm / diffusivity_mm2_s
    return float(0.4 * unit_power_j_mm3 / heat_capacity_j_mm3_k * flow**0.333)
