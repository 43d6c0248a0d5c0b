"""The colours of a metal's tints in order, to lay a measured colour beside them.

Not in here: drawing. Colours are computed (15 % spread, D65, a perfect white mirror), so
they show the order and the hue of tints, not how bright a chip looks on a photo.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from vision.heat.film import colours_of
from vision.heat.names import TINT_FILM_NM, tint_band_nm
from vision.terms import TINTS

__all__ = ["Rung", "ladder_of"]

#: The thickest band has no end of its own: it is drawn as wide as it reaches down.
_SHADES = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Rung:
    """One tint: its name, the films that bear it in nm, and colours from thin to thick.

    ``shades`` are CIELAB triples at even steps of the film, the first at ``from_nm`` and
    the last at ``to_nm``.
    """

    name: str
    from_nm: float
    to_nm: float
    shades: tuple[tuple[float, float, float], ...]


@cache
def ladder_of(family: str) -> tuple[Rung, ...]:
    """Return the tints of a metal family from bright on.

    Raises
    ------
    KeyError
        If the family has no tints.

    Examples
    --------
    >>> [rung.name for rung in ladder_of("steel")][:3]
    ['bright', 'pale straw', 'straw']
    """
    rungs = []
    for name, film_nm in zip(TINTS, TINT_FILM_NM[family], strict=False):
        low, high = tint_band_nm(name, family)
        if high == float("inf"):
            high = 2.0 * film_nm - low
        step = (high - low) / (_SHADES - 1)
        labs = colours_of(family, [low + k * step for k in range(_SHADES)])
        shades = tuple((float(a), float(b), float(c)) for a, b, c in labs)
        rungs.append(Rung(name=name, from_nm=low, to_nm=high, shades=shades))
    return tuple(rungs)
