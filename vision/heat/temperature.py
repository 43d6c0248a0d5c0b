"""What a film says about how hot a chip was, in steps of 50 degrees and no finer.

Two statements: *at least* is the temperature of furnace and handbook tables, which hold
for minutes to an hour, so a chip that was hot for a second was hotter; *likely* comes
from growth laws for 0.3 to 3 s, untested on chips. Both are about the body of the chip
in free air, not about the cutting edge, where no air reaches.
"""

from __future__ import annotations

from math import ceil, floor
from typing import TYPE_CHECKING

import numpy as np

from vision.heat.kinetics import IRON_SCALE, IRON_TEMPER, TITANIUM, ParabolicLaw
from vision.heat.names import tint_band_nm
from vision.records import Temperature

if TYPE_CHECKING:
    from vision.records import Measured

__all__ = ["HOT_SECONDS", "basis_of", "likely_c", "table_c", "temperature_of"]

#: How long a chip stays near its peak, s: worked out for chips of 0.1-0.4 mm that cool
#: in still air with 50 W/(m² K), an estimate; under flood coolant far shorter.
HOT_SECONDS = (0.3, 3.0)

#: The table behind the second steel law gives no time: 300 to 600 s are assumed.
_TEMPER_SECONDS = 600.0
_TEMPER_SHORTER = ParabolicLaw(
    k0_m2_s=IRON_TEMPER.k0_m2_s * _TEMPER_SECONDS / 300.0,
    energy_j_mol=IRON_TEMPER.energy_j_mol,
)
#: Titanium alloys differ: the rate may be three times higher or lower.
_LAWS: dict[str, tuple[ParabolicLaw, ...]] = {
    "steel": (IRON_SCALE, IRON_TEMPER, _TEMPER_SHORTER),
    "titanium": tuple(
        ParabolicLaw(TITANIUM.k0_m2_s * f, TITANIUM.energy_j_mol) for f in (1 / 3, 3.0)
    ),
}

#: Film in nm and °C of the table that names its colour. Steel: mean of five handbooks
#: (The Working of Steel, 1922) and Dooley; minutes, time not stated. Stainless: leaflets
#: on heat tint, one hour; its two blues are one band. Titanium: the cooler of two
#: published tables (half an hour; not stated).
_TABLES: dict[str, tuple[tuple[float, float], ...]] = {
    "steel": (
        *((12, 221), (20, 237), (26, 248), (31, 260), (38, 273), (47, 288)),
        *((58, 300), (70, 317), (98, 331)),
    ),
    "stainless": (
        *((11, 290), (19, 340), (25, 370), (29, 390), (34, 420), (39, 450), (46, 500)),
        *((55, 500), (66, 600)),
    ),
    "titanium": ((10, 300), (18, 385), (37, 412), (44, 440), (88, 510), (135, 565)),
}

_ROUND_C = 50.0

_PLACE = (
    "This is the chip's own heat in free air, not the edge's. Oil and coolant keep chips "
    "bright however hot the cut: there a bright chip proves nothing."
)
_BASIS: dict[str | None, str] = {
    "steel": (
        "Read from the oxide film on plain and low-alloy steel. At least: handbook table, "
        "for minutes of heat. Likely: growth laws of iron oxide for a chip hot for about a "
        "second, dry; not tested on chips, and less sure for free-cutting steel and cast "
        "iron. "
    ),
    "stainless": (
        "Read from the oxide film on chromium-nickel steel. At least: furnace table, for an "
        "hour of heat. The chip was hotter, common guesses say 150 to 300 degrees, but no "
        "law is known for a second. "
    ),
    "titanium": (
        "Read from the oxide film on titanium. At least: furnace tables, for about half an "
        "hour. Likely: a growth law measured at 650 to 850 °C, for a chip hot for about a "
        "second, dry; not tested on chips. Hot fine titanium chips can catch fire: keep the "
        "tray clear. "
    ),
    None: (
        "The metal is not named, so the tint is named as on steel and no temperature is given. "
    ),
}


def table_c(film_nm: float, family: str) -> float | None:
    """Return the table's temperature in °C for a film, ``None`` for thinner than it names.

    Raises
    ------
    KeyError
        If the family has no table.
    """
    films, degrees = np.array(_TABLES[family]).T
    return float(np.interp(film_nm, films, degrees)) if film_nm >= films[0] else None


def likely_c(film_nm: float, family: str, seconds: float) -> tuple[float, float]:
    """Return the lowest and highest temperature in °C by the laws of a family.

    Parameters
    ----------
    film_nm : float, nm, > 0
    family : {"steel", "titanium"}
    seconds : float, s, > 0
        Time near the peak.

    Raises
    ------
    KeyError
        If no law is known for the family.

    Notes
    -----
    Not to be trusted for: titanium below 450 °C, where growth is not parabolic.
    """
    degrees = [law.temperature_c(film_nm, seconds) for law in _LAWS[family]]
    return min(degrees), max(degrees)


def _down(degrees: float | None) -> float | None:
    return None if degrees is None else _ROUND_C * floor(degrees / _ROUND_C)


def temperature_of(film: Measured, family: str | None) -> Temperature | None:
    """Return how hot a chip was, from its film.

    Parameters
    ----------
    film : Measured, nm
        One standard uncertainty to either side enters.
    family : {"steel", "stainless", "titanium"}, another word or None

    Returns
    -------
    Temperature or None
        Rounded outward to 50 °C. ``None`` for families without a table and for a metal
        not named. A bright chip has no lower bound, only a
        highest likely temperature, that of the palest film one would see;
        a film known only from below has no upper one. Stainless has ``at_least`` alone.

    Notes
    -----
    Not to be trusted for: chips cut under oil or coolant, chips from a hot heap (they
    stay hot longer and look hotter), the temperature of the edge.
    """
    if family is None or family not in _TABLES:
        return None
    palest = tint_band_nm("bright", family)[1]
    thin, thick = film.value - film.u, max(film.value + film.u, palest)
    tinted = thin >= palest
    low = high = None
    if family in _LAWS:
        if tinted:
            low = likely_c(thin, family, max(HOT_SECONDS))[0]
        if film.bound is None:
            high = likely_c(thick, family, min(HOT_SECONDS))[1]
    return Temperature(
        at_least=_down(table_c(thin, family)),
        likely_low=_down(low),
        likely_high=None if high is None else _ROUND_C * ceil(high / _ROUND_C),
    )


def basis_of(family: str | None) -> str:
    """Return in plain words what a temperature rests on and what it does not say."""
    return _BASIS[family if family in _TABLES else None] + _PLACE
