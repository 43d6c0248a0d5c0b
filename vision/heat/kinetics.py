"""How fast oxide grows on hot metal: parabolic laws, time shift, time spent hot.

Not in here: what a tint says about a chip (``temperature``). Laws and their data are
named at each constant. All of them were measured for minutes to hours; that they hold
for a second is assumed, not shown.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, inf, log, sqrt

__all__ = [
    "IRON_SCALE",
    "IRON_TEMPER",
    "TITANIUM",
    "ParabolicLaw",
    "activation_energy_j_mol",
    "same_film_c",
    "seconds_at_peak",
    "titania_nm",
]

#: Gas constant, J/(mol K), exact in the SI of 2019.
_R = 8.31446261815324
_KELVIN = 273.15
#: Density of grown titanium dioxide, g/cm³, between anatase and rutile; ours.
_TITANIA_G_CM3 = 4.0
#: Molar masses, g/mol: TiO2, and the two O in it (IUPAC).
_TITANIA_G_MOL, _OXYGEN_G_MOL = 79.866, 31.998


@dataclass(frozen=True, slots=True)
class ParabolicLaw:
    """Film growth d² = K0 exp(-Ea / RT) t, with K0 in m²/s and Ea in J/mol."""

    k0_m2_s: float
    energy_j_mol: float

    def film_nm(self, temperature_c: float, seconds: float) -> float:
        """Return the thickness in nm after ``seconds`` at ``temperature_c``."""
        kelvin = temperature_c + _KELVIN
        rate = self.k0_m2_s * exp(-self.energy_j_mol / (_R * kelvin))
        return 1e9 * sqrt(rate * seconds)

    def temperature_c(self, film_nm: float, seconds: float) -> float:
        """Return the temperature in °C at which ``seconds`` grow a film of ``film_nm``.

        Raises
        ------
        ValueError
            If thickness or time is not positive.
        """
        if film_nm <= 0 or seconds <= 0:
            raise ValueError("thickness and time must be positive")
        ratio = log(self.k0_m2_s * seconds / (film_nm * 1e-9) ** 2)
        return self.energy_j_mol / (_R * ratio) - _KELVIN if ratio > 0 else inf


#: Iron to FeO: k0 2.67e-4 m²/s in dX/dt = k0 exp(-20319 K / T) / X, so K0 is twice that
#: (Mi et al., Combust. Flame 240 (2022) 112011, after Païdassi; data 700-1250 °C). Used
#: here 200-300 degrees below its data.
IRON_SCALE = ParabolicLaw(k0_m2_s=5.34e-4, energy_j_mol=20319.0 * _R)

#: Iron as the temper table has it (means of five handbooks, The Working of Steel, 1922)
#: with computed thicknesses: Ea 96.73 kJ/mol and ln(K0 t0) = -13.054 with m². The table
#: does not say its time t0; 600 s is assumed.
IRON_TEMPER = ParabolicLaw(k0_m2_s=exp(-13.054) / 600.0, energy_j_mol=96.73e3)

#: Ti-6Al-4V in dry air, 650-850 °C, 50 h (Mohamed et al., Chem. Pap. 76 (2022) 1627, from
#: the abstract); K0 fitted to its three rates with TiO2 of 4.0 g/cm³.
TITANIUM = ParabolicLaw(k0_m2_s=6.134e-6, energy_j_mol=191.745e3)


def activation_energy_j_mol(
    *, rate_1: float, at_1_c: float, rate_2: float, at_2_c: float
) -> float:
    """Return the activation energy that two rate constants of one unit imply.

    Examples
    --------
    >>> round(activation_energy_j_mol(rate_1=1, at_1_c=600, rate_2=10, at_2_c=700))
    162674
    """
    inverse = 1 / (at_1_c + _KELVIN) - 1 / (at_2_c + _KELVIN)
    return _R * log(rate_2 / rate_1) / inverse


def titania_nm(oxygen_ug_cm2: float) -> float:
    """Return the thickness in nm of TiO2 that holds an oxygen gain in µg/cm²."""
    oxide_ug_cm2 = oxygen_ug_cm2 * _TITANIA_G_MOL / _OXYGEN_G_MOL
    return oxide_ug_cm2 * 10.0 / _TITANIA_G_CM3


def same_film_c(temperature_c: float, *, time_ratio: float, energy_j_mol: float) -> float:
    """Return the temperature that grows the same film ``time_ratio`` times as fast.

    Parameters
    ----------
    temperature_c : float, °C
        Of the slow heating.
    time_ratio : float, > 0
        Time of the slow heating over that of the fast one.
    energy_j_mol : float, J/mol

    Examples
    --------
    >>> round(same_film_c(300.0, time_ratio=600.0, energy_j_mol=169e3))
    426
    """
    kelvin = 1 / (1 / (temperature_c + _KELVIN) - _R / energy_j_mol * log(time_ratio))
    return kelvin - _KELVIN


def seconds_at_peak(
    *, time_constant_s: float, peak_c: float, air_c: float, energy_j_mol: float
) -> float:
    """Return how long a cooling chip would have to stay at its peak to oxidise as much.

    First term of the integral of exp(-Ea / RT) over exponential cooling; within some
    2 % of the full integral for metals cooling from 500 °C and more.

    Parameters
    ----------
    time_constant_s : float, s
        rho c s / (2 h) of a chip of thickness s that cools on both faces.
    peak_c, air_c : float, °C
    energy_j_mol : float, J/mol
    """
    peak = peak_c + _KELVIN
    return time_constant_s * _R * peak**2 / (energy_j_mol * (peak_c - air_c))
