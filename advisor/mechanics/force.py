"""Cutting force and its parts, by Kienzle's law with corrections.

Not in here: power and torque (``power``). Constants of metals are data and live
elsewhere; source keys are listed in ``advisor.mechanics``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from advisor.mechanics._check import positive, within

if TYPE_CHECKING:
    from collections.abc import Mapping

    from advisor.mechanics.section import ChipSection

__all__ = [
    "BAND_SHARE",
    "PROCESS_CORRECTION",
    "THRUST_SHARE",
    "TOOL_MATERIAL_CORRECTION",
    "WEAR_CORRECTION",
    "Corrections",
    "Force",
    "cutting_force",
    "rake_correction",
    "specific_force_n_mm2",
    "speed_correction",
    "thin_chip_factor",
]

#: About how far published constants for one metal lie apart, so that every force is a
#: band and not a number; our choice after laying tables side by side.
BAND_SHARE: Final = 0.3
#: Factors from memory of [paucksch]; carbide is the reference.
TOOL_MATERIAL_CORRECTION: Final[Mapping[str, float]] = MappingProxyType(
    {"carbide": 1.0, "hss": 1.2}
)
#: Sharp edge is the reference; 1.3 is the low end of [paucksch] for worn, from memory.
WEAR_CORRECTION: Final[Mapping[str, float]] = MappingProxyType(
    {"fresh": 1.0, "used": 1.15, "dull": 1.3}
)
#: External turning is the reference; [paucksch] from memory.
PROCESS_CORRECTION: Final[Mapping[str, float]] = MappingProxyType(
    {"external": 1.0, "boring": 1.2, "parting": 1.3}
)
#: Thrust (feed and passive force together) over cutting force; our choice inside the
#: ranges given from memory by [degner]. A dull edge pushes more than it cuts.
THRUST_SHARE: Final[Mapping[str, float]] = MappingProxyType(
    {"fresh": 0.5, "used": 0.65, "dull": 0.8}
)

_SPEED_REFERENCE_M_MIN: Final = 100.0
_SPEED_LOWEST_M_MIN: Final = 20.0
_RAKE_SHARE_PER_DEG: Final = 0.015
_RAKE_LIMIT_DEG: Final = 40.0
_TABLE_THICKNESS_MM: Final = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Corrections:
    """Factors on Kienzle's force; 1 is the reference state of the tables.

    Attributes
    ----------
    rake, tool_material, speed, wear, process : float, > 0
        See :func:`rake_correction`, :func:`speed_correction` and the tables of this
        module. The reference state is sharp carbide, rake +6 degrees on steel, about
        100 m/min, turning outside.

    Raises
    ------
    ValueError
        If a factor is not finite and above zero.

    Notes
    -----
    Not to be trusted for: products over about 2; the factors were never measured together.
    """

    rake: float = 1.0
    tool_material: float = 1.0
    speed: float = 1.0
    wear: float = 1.0
    process: float = 1.0

    def __post_init__(self) -> None:
        positive(
            rake=self.rake,
            tool_material=self.tool_material,
            speed=self.speed,
            wear=self.wear,
            process=self.process,
        )

    @property
    def product(self) -> float:
        """All factors multiplied."""
        return self.rake * self.tool_material * self.speed * self.wear * self.process


@dataclass(frozen=True, slots=True, kw_only=True)
class Force:
    """Force on the tool, from :func:`cutting_force`; all in N.

    Attributes
    ----------
    cutting_n : float
        Main force F_c, along the cutting speed; sets torque and power.
    feed_n : float
        F_f, along the axis. Negative when the edge pulls itself along.
    passive_n : float
        F_p, radial; bends the work. Negative when the edge pulls itself in.
    low_n, high_n : float
        Band of ``cutting_n``; the other parts share the same relative band at least.
    """

    cutting_n: float
    feed_n: float
    passive_n: float
    low_n: float
    high_n: float


_REFERENCE_STATE: Final = Corrections()


def specific_force_n_mm2(thickness_mm: float, kc11: float, mc: float) -> float:
    """Return the specific cutting force kc = kc1.1 h^-mc in N/mm².

    Parameters
    ----------
    thickness_mm : float, mm, > 0
        Chip thickness h.
    kc11 : float, N/mm², > 0
        Specific force at h = b = 1 mm.
    mc : float, 0 to 1
        Exponent; how much thin chips cost extra.

    Returns
    -------
    float
        N/mm², the same number as 1000 times the unit power in J/mm³.

    Raises
    ------
    ValueError
        If a value is not finite or out of its range.

    Notes
    -----
    Not to be trusted for: chips under 0.05 mm, where the true curve is steeper and this
    predicts too little, or over 2.5 mm.

    References
    ----------
    [kienzle1957]; law and constants as printed in [tabellenbuch].

    Examples
    --------
    >>> round(specific_force_n_mm2(0.2, 2220.0, 0.14), 1)
    2781.0
    """
    positive(thickness_mm=thickness_mm, kc11=kc11)
    within(0.0, 1.0, mc=mc)
    return float(kc11 * thickness_mm**-mc)


def cutting_force(
    section: ChipSection,
    kc11: float,
    mc: float,
    corrections: Corrections = _REFERENCE_STATE,
    *,
    thrust_share: float = THRUST_SHARE["fresh"],
    band_share: float = BAND_SHARE,
) -> Force:
    """Return the force of a turning cut and its parts.

    F_c = kc b h C with the effective section. The thrust, a share of F_c, lies in the
    reference plane normal to the chord of the engaged edge and is split by its angle.

    Parameters
    ----------
    section : ChipSection
        From :func:`advisor.mechanics.section.chip_section`.
    kc11, mc : float
        As for :func:`specific_force_n_mm2`.
    corrections : Corrections
        Reference state when left out.
    thrust_share : float, 0 to 2
        Thrust over cutting force, see ``THRUST_SHARE``.
    band_share : float, 0 to below 1
        Half width of the band.

    Returns
    -------
    Force
        All in N.

    Raises
    ------
    ValueError
        If a value is not finite or out of its range.

    Notes
    -----
    Not to be trusted for: a promise to within 30 %. Published constants of one metal
    differ as much (42CrMo4 even more); scale with what the own machine shows.

    References
    ----------
    [kienzle1957]; [ghosh] p. 220 for the split; [colwell1954] for its angle.

    Examples
    --------
    >>> from advisor.mechanics.section import chip_section
    >>> force = cutting_force(chip_section(0.2, 2.0, 90.0, 0.0), 2220.0, 0.14)
    >>> round(force.cutting_n, 1), round(force.low_n, 1), round(force.high_n, 1)
    (1112.4, 778.7, 1446.1)
    """
    within(0.0, 2.0, thrust_share=thrust_share)
    within(0.0, 0.99, band_share=band_share)
    specific = specific_force_n_mm2(section.thickness_mm, kc11, mc)
    cutting_n = specific * section.area_mm2 * corrections.product
    thrust_n = thrust_share * cutting_n
    k_eff_rad = math.radians(section.k_eff_deg)
    return Force(
        cutting_n=cutting_n,
        feed_n=thrust_n * math.sin(k_eff_rad),
        passive_n=thrust_n * math.cos(k_eff_rad),
        low_n=cutting_n * (1.0 - band_share),
        high_n=cutting_n * (1.0 + band_share),
    )


def rake_correction(rake_deg: float, reference_deg: float = 6.0) -> float:
    """Return the factor for a rake other than the table's: 1.5 % less a degree more.

    Parameters
    ----------
    rake_deg : float, degrees, -40 to 40
        Working rake angle.
    reference_deg : float, degrees, -40 to 40
        Rake behind the table: +6 for steel, +2 for cast iron.

    Returns
    -------
    float
        Factor on the force.

    Raises
    ------
    ValueError
        If an angle is not finite or out of range, or so far off that no force is left.

    References
    ----------
    [paucksch] from memory; toolmakers print 1 % a degree.

    Examples
    --------
    >>> round(rake_correction(16.0), 3)
    0.85
    """
    within(-_RAKE_LIMIT_DEG, _RAKE_LIMIT_DEG, rake_deg=rake_deg, reference_deg=reference_deg)
    factor = 1.0 - _RAKE_SHARE_PER_DEG * (rake_deg - reference_deg)
    if factor <= 0.0:
        raise ValueError("rake_deg is too far from reference_deg for this correction")
    return factor


def speed_correction(speed_m_min: float) -> float:
    """Return the factor for slow cutting, (100 / vc)^0.1 from 20 to 100 m/min.

    Held at its end values outside that range: the formula knows no built-up edge, and
    taking nothing off above 100 m/min errs to the safe side.

    Parameters
    ----------
    speed_m_min : float, m/min, > 0
        Cutting speed.

    Returns
    -------
    float
        Factor on the force, 1 to 1.175.

    Raises
    ------
    ValueError
        If the speed is not finite and above zero.

    References
    ----------
    [paucksch] from memory.

    Examples
    --------
    >>> round(speed_correction(30.0), 2)
    1.13
    """
    positive(speed_m_min=speed_m_min)
    held = min(max(speed_m_min, _SPEED_LOWEST_M_MIN), _SPEED_REFERENCE_M_MIN)
    return float((_SPEED_REFERENCE_M_MIN / held) ** 0.1)


def thin_chip_factor(
    thickness_mm: float, mc: float, table_thickness_mm: float = _TABLE_THICKNESS_MM
) -> float:
    """Return the factor on a handbook's unit power for another chip thickness.

    (table h / h)^mc; handbooks print unit power for one thickness, usually 0.25 mm.
    Thicknesses in mm above zero, ``mc`` 0 to 1, else ValueError.

    >>> round(thin_chip_factor(0.05, 0.25), 2)
    1.5
    """
    positive(thickness_mm=thickness_mm, table_thickness_mm=table_thickness_mm)
    within(0.0, 1.0, mc=mc)
    return float((table_thickness_mm / thickness_mm) ** mc)
