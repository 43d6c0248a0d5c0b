"""Which curve a metal follows, and the trade's name for a film of a given thickness.

Not in here: degrees (``temperature``). The thicknesses are those at which the computed
colour, spread 15 %, looks like the name of the temper tables (steel: means of older
handbooks as read in *The Working of Steel*, 1922; stainless: leaflets on heat tint;
titanium: welding and anodising scales). Names part halfway between neighbours.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from vision.terms import TINTS

if TYPE_CHECKING:
    from vision.heat.film import FilmFix

__all__ = ["FAMILIES", "TINT_FILM_NM", "family_of", "names_of", "tint_band_nm", "tint_name"]

#: "none" are metals whose tint says nothing about heat: oxide on aluminium shows no
#: colour, copper alloys are yellow by themselves.
FAMILIES: tuple[str, ...] = ("none", "stainless", "steel", "titanium")

#: Names by which people call the metals, and the designations of UNS and EN. Grey iron
#: follows the steel curve only by resemblance: its temper table was never published.
_METALS: dict[str, tuple[str, ...]] = {
    "steel": (
        *(
            "1018",
            "G10180",
            "C15",
            "C15E",
            "1.1141",
            "1.0401",
            "S235JR",
            "1.0038",
            "mild steel",
        ),
        *("12L14", "G12144", "11SMnPb30", "1.0718", "11SMnPb37", "1.0737"),
        *("1045", "G10450", "C45", "C45E", "1.1191", "1.0503"),
        *("4140", "G41400", "42CrMo4", "42CrMoS4", "1.7225", "1.7227"),
        *("O1", "T31501", "100MnCrW4", "95MnWCr5", "1.2510", "steel"),
        *("grey iron", "gray iron", "cast iron", "EN-GJL-250", "EN-JL1040", "5.1301"),
        *("0.6025", "GG25", "F12401"),
    ),
    "stainless": (
        *("303", "S30300", "X8CrNiS18-9", "X10CrNiS18-9", "1.4305", "stainless"),
        *("304", "S30400", "X5CrNi18-10", "1.4301", "304L", "S30403", "1.4307", "X2CrNi18-9"),
        *("316", "S31600", "X5CrNiMo17-12-2", "1.4401", "316L", "S31603", "1.4404"),
        *("X2CrNiMo17-12-2", "18-8", "stainless steel"),
    ),
    "titanium": (
        *("Ti grade 2", "titanium grade 2", "Ti2", "R50400", "3.7035", "cp titanium"),
        *("Ti-6Al-4V", "Ti64", "Ti grade 5", "titanium grade 5", "R56400", "R56407"),
        *("3.7164", "3.7165", "titanium"),
    ),
    "none": (
        *("6061", "6061-T6", "A96061", "EN AW-6061", "AlMg1SiCu", "3.3211", "aluminium"),
        *("C360", "C36000", "CuZn36Pb3", "CW603N", "CuZn39Pb3", "CW614N", "2.0401", "brass"),
        *("bronze", "C93200", "SAE 660", "CuSn7Zn4Pb7-C", "CC493K", "2.1090", "aluminum"),
    ),
}

#: Film in nm at which the colour is most itself, in the order of ``TINTS``.
TINT_FILM_NM: dict[str, tuple[float, ...]] = {
    "steel": (0, 12, 20, 26, 31, 38, 47, 58, 70, 85),
    "stainless": (0, 11, 19, 25, 29, 36, 46, 55, 66, 80),
    "titanium": (0, 10, 18, 25, 30, 37, 44, 52, 65, 80, 112, 135),
}

#: The names given hold together at least this share of the probability, and no name stands
#: there with less than the second figure.
_TOLD, _CANDIDATE = 0.7, 0.1
#: Bright stays possible longer: skin, oil and warm walls mirrored in bare metal look like
#: pale straw, and to call a cool chip hot is the worse mistake. Beside pale straw it stays
#: until it is as good as ruled out.
_BRIGHT_TOO, _BRIGHT_BESIDE_PALE = 0.008, 0.0005
#: ... and goes before pale straw where it is at least so likely beside it: many chips are bare.
_BRIGHT_FIRST = 0.6
#: Titanium's second yellow looks like its straw; only how even a chip is tells them apart.
_SECOND_TOO = 0.001
#: Only oxide films look like these; straw and brown are also the colours of brass,
#: bronze and old oil, and a metal that nobody named may be brass.
_UNMISTAKABLE = ("purple", "dark blue", "blue", "light blue")


def _plain(name: str) -> str:
    return re.sub(r"[^a-z0-9]", "", name.casefold())


_FAMILY_BY_NAME = {_plain(n): family for family, names in _METALS.items() for n in names}


def family_of(metal: str | None) -> str | None:
    """Return the family of a metal's tints, or ``None`` for a metal not known here.

    Parameters
    ----------
    metal : str or None
        A usual name, UNS or EN designation; case, blanks and dashes do not matter.

    Returns
    -------
    {"steel", "stainless", "titanium", "none"} or None

    Notes
    -----
    Not to be trusted for: free-cutting steel and grey iron, which are counted as steel
    though the temper tables were made for plain carbon steel.

    Examples
    --------
    >>> family_of("Ti-6Al-4V"), family_of("c45 e"), family_of("6061"), family_of("oak")
    ('titanium', 'steel', 'none', None)
    """
    return None if metal is None else _FAMILY_BY_NAME.get(_plain(metal))


def _scale(family: str | None) -> tuple[float, ...]:
    return TINT_FILM_NM["steel" if family is None else family]


def tint_band_nm(name: str, family: str | None) -> tuple[float, float]:
    """Return the thicknesses in nm, from and to, that bear a tint's name.

    Examples
    --------
    >>> tint_band_nm("straw", "steel")
    (16.0, 23.0)
    """
    films, k = _scale(family), TINTS.index(name)
    low = (films[k - 1] + films[k]) / 2 if k else 0.0
    high = (films[k] + films[k + 1]) / 2 if k + 1 < len(films) else float("inf")
    return low, high


def tint_name(film_nm: float, family: str | None) -> str:
    """Return the tint name of a film thickness in nm.

    Raises
    ------
    KeyError
        If the family has no tints.

    Examples
    --------
    >>> tint_name(0, "steel"), tint_name(60, "titanium"), tint_name(112, "titanium")
    ('bright', 'light blue', 'second yellow')
    """
    for name in TINTS[: len(_scale(family))]:
        if film_nm < tint_band_nm(name, family)[1]:
            return name
    raise ValueError(f"{film_nm} is no thickness")


def names_of(fix: FilmFix, family: str | None) -> tuple[tuple[str, ...], bool]:
    """Return the tint names that a film may bear, likeliest first, and whether one is sure.

    Parameters
    ----------
    fix : FilmFix
        As ``film_from_colours`` returned it for the same family.
    family : str or None

    Returns
    -------
    names : tuple of str
        One name, or two or three where the doubt spans a border or where the curve
        meets itself: ``bright`` or ``grey``; on titanium ``straw`` or ``second yellow``.
    sure : bool
        Exactly one name. For a metal that nobody named only purple and blue are sure:
        straw may be bare brass, bright may be aluminium.
    """
    names = TINTS[: len(_scale(family))]
    shares = {name: fix.share(*tint_band_nm(name, family)) for name in names}
    rivals = {tint_name(film.value, family) for film, _ in fix.stretches}
    ranked = sorted(names, key=lambda name: -shares[name])
    if ranked[0] == "pale straw" and shares["bright"] >= _BRIGHT_FIRST * shares["pale straw"]:
        ranked = ["bright", *(name for name in ranked if name != "bright")]
    likely, told = set[str](), 0.0
    for name in ranked:
        if likely and (told >= _TOLD or shares[name] < _CANDIDATE):
            break
        likely.add(name)
        told += shares[name]
    if shares["bright"] >= (_BRIGHT_BESIDE_PALE if "pale straw" in likely else _BRIGHT_TOO):
        likely.add("bright")
    if likely & {"straw", "dark straw"} and shares.get("second yellow", 0.0) >= _SECOND_TOO:
        likely.add("second yellow")
    if len(fix.stretches) > 1:
        likely |= rivals
    near = tuple(name for name in ranked if name in likely)
    sure = len(near) == 1 and (family is not None or near[0] in _UNMISTAKABLE)
    return near, sure
