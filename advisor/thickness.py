"""Thickness of a chip as a person measured it: by micrometer, by weight, by length.

Each way has its own meaning, and its own doubt: a micrometer touches the thickest place
across the chip, weight and length give the mean. So each is set against its own uncut
thickness, and only the same way is compared from pass to pass.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, pi, sqrt
from statistics import fmean, median_low, stdev
from typing import TYPE_CHECKING, Final, Literal, TypeAlias

from advisor.assess import same_settings
from advisor.orthogonal import shear_angle_deg, weighed_thickness_mm
from advisor.state import cut_state, setup_of
from advisor.tables import rule_value

if TYPE_CHECKING:
    from advisor.records import Case, ChipPiece, Cut, PassRecord
    from advisor.state import Setup

__all__ = [
    "ChipThickness",
    "Way",
    "by_length",
    "by_micrometer",
    "by_weight",
    "compression",
    "cut_for_piece_mm",
    "is_thicker",
    "same_before",
    "shear_angle",
    "thickness_in",
    "thickness_of",
]

Way: TypeAlias = Literal["micrometer", "weighed", "length"]
Pair: TypeAlias = tuple[float, float]
_SPREAD_OF_FEW: Final = 2  # readings from which a standard deviation can be taken
_TWO_U: Final = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ChipThickness:
    """Thickness of a chip with its standard uncertainty, mm, and how it was found."""

    mm: float
    u_mm: float
    way: Way


def by_micrometer(readings_mm: tuple[float, ...]) -> Pair:
    """Return mean and standard uncertainty of micrometer readings, mm.

    One reading says nothing of how the chip differs from place to place; a usual spread
    stands in for it.

    >>> value, u = by_micrometer((0.18, 0.19, 0.17))
    >>> round(value, 3), round(u, 4)
    (0.18, 0.0065)
    """
    mean = fmean(readings_mm)
    spread = rule_value("gauge", "place_share") * mean
    if len(readings_mm) >= _SPREAD_OF_FEW:
        # Few readings know their own spread badly: never less than half of the usual one.
        spread = max(stdev(readings_mm), spread / 2.0)
    return mean, hypot(spread / sqrt(len(readings_mm)), rule_value("gauge", "micrometer_mm"))


def by_weight(mass_g: float, *, density_g_cm3: float, length_mm: Pair, width_mm: Pair) -> Pair:
    """Return the mean thickness of a weighed piece and its uncertainty: m / (rho L b), mm.

    Parameters
    ----------
    mass_g : float, g, > 0
        Of one piece, or of several whose lengths are added.
    density_g_cm3 : float, g/cm³
    length_mm, width_mm : (value, u), mm
        Developed length along the chip; width of the flat strip.

    References
    ----------
    [shaw].

    Examples
    --------
    >>> t, u = by_weight(0.5, density_g_cm3=7.85, length_mm=(300, 3), width_mm=(1.0, 0.03))
    >>> round(t, 3), round(u, 3)
    (0.212, 0.007)
    """
    value = weighed_thickness_mm(
        mass_g, density_g_cm3=density_g_cm3, length_mm=length_mm[0], width_mm=width_mm[0]
    )
    shares = (
        rule_value("gauge", "scale_g") / mass_g,
        rule_value("gauge", "density_share"),
        length_mm[1] / length_mm[0],
        width_mm[1] / width_mm[0],
    )
    return value, value * hypot(*shares)


def by_length(cut_mm: float, length_mm: Pair) -> Pair:
    """Return the compression (chip over uncut thickness) from a whole chip's length.

    Parameters
    ----------
    cut_mm : float, mm
        Length on the work that the whole chip was cut from.
    length_mm : (value, u), mm
        Developed length of that chip.

    Returns
    -------
    (float, float)
        The same metal left, so thickness grows as length shrinks; what the chip spread
        sideways it did not grow in thickness. The middle of the usual side-spread is taken
        out, all of it is in the uncertainty.

    References
    ----------
    [shaw]; side-spread from memory [chip-ratio].
    """
    low, high = rule_value("gauge", "spread_low"), rule_value("gauge", "spread_high")
    middle = (low + high) / 2.0
    value = cut_mm / length_mm[0] / middle
    shares = (
        length_mm[1] / length_mm[0],
        rule_value("gauge", "cut_share"),
        (high - low) / sqrt(12.0) / middle,
    )
    return value, value * hypot(*shares)


def cut_for_piece_mm(piece: ChipPiece, cut: Cut) -> float | None:
    """Return the length on the work that a whole chip came from, as told or by its turns."""
    if piece.cut_mm is not None:
        return piece.cut_mm
    if piece.turns is None:
        return None
    middle = cut.diameter_mm - (cut.depth_mm if cut.direction == "along" else 0.0)
    if cut.direction == "bore":
        middle = cut.diameter_mm + cut.depth_mm
    return pi * middle * piece.turns


def _uncut_mm(setup: Setup, cut: Cut, way: Way) -> Pair | None:
    """Return the uncut thickness that a way answers to, and its doubt; None by hand feed."""
    if cut.feed_mm_rev is None or not cut.power_feed:
        return None
    section = cut_state(setup, cut).section
    by_edge = cut.depth_mm * cut.feed_mm_rev / section.edge_length_mm
    share = rule_value("gauge", "uncut_share")
    if way == "micrometer":
        return section.thickest_mm, share * section.thickest_mm
    if cut.direction in {"plunge", "part off"}:  # no nose: the blade's width is all the edge
        by_edge = section.thickness_mm
    doubt = abs(by_edge - section.thickness_mm) / sqrt(3.0)  # which mean is meant
    return section.thickness_mm, hypot(doubt, share * section.thickness_mm)


def thickness_of(setup: Setup, record: PassRecord) -> ChipThickness | None:
    """Return the thickness that was measured of a pass's chip, by the best way there is."""
    piece = record.chip
    if piece.readings_mm:
        value, u = by_micrometer(piece.readings_mm)
        return ChipThickness(mm=value, u_mm=u, way="micrometer")
    density = setup.metal.density_g_cm3
    if piece.mass_g is not None and piece.length_mm and piece.width_mm and density:
        value, u = by_weight(
            piece.mass_g,
            density_g_cm3=density.value,
            length_mm=piece.length_mm,
            width_mm=piece.width_mm,
        )
        return ChipThickness(mm=value, u_mm=u, way="weighed")
    cut_mm, uncut = cut_for_piece_mm(piece, record.cut), _uncut_mm(setup, record.cut, "length")
    if cut_mm is not None and piece.length_mm and uncut is not None:
        ratio, u = by_length(cut_mm, piece.length_mm)
        mm = ratio * uncut[0]
        return ChipThickness(
            mm=mm, u_mm=mm * hypot(u / ratio, uncut[1] / uncut[0]), way="length"
        )
    return None


def compression(setup: Setup, record: PassRecord) -> Pair | None:
    """Return chip over uncut thickness and its uncertainty; None where either is unknown.

    Notes
    -----
    Not to be trusted for: chips with a serrated back by micrometer, which touches the
    teeth; angles and radii that were assumed.
    """
    thick = thickness_of(setup, record)
    if thick is None:
        return None
    uncut = _uncut_mm(setup, record.cut, thick.way)
    if uncut is None:
        return None
    if thick.way == "length":  # the uncut thickness went in and comes out again
        cut_mm = cut_for_piece_mm(record.chip, record.cut)
        length = record.chip.length_mm
        return None if cut_mm is None or length is None else by_length(cut_mm, length)
    value = thick.mm / uncut[0]
    return value, value * hypot(thick.u_mm / thick.mm, uncut[1] / uncut[0])


def shear_angle(ratio: Pair, rake_deg: float) -> Pair:
    """Return the shear angle for a compression, with its uncertainty, degrees [merchant1945].

    >>> angle, u = shear_angle((2.5, 0.1), 10.0)
    >>> round(angle, 1), round(u, 1)
    (22.9, 0.9)
    """

    def angle(compressed: float, rake: float) -> float:
        return shear_angle_deg(1.0 / compressed, rake)

    value, u = ratio
    u_rake = rule_value("gauge", "rake_deg")
    by_ratio = (angle(value - u, rake_deg) - angle(value + u, rake_deg)) / 2.0
    by_rake = (angle(value, rake_deg + u_rake) - angle(value, rake_deg - u_rake)) / 2.0
    return angle(value, rake_deg), hypot(by_ratio, by_rake)


def same_before(case: Case, number: int) -> list[int]:
    """Return the passes at the settings of pass ``number``, back to the last look at the edge.

    Numbers count from 0, the latest comes first.
    """
    passes, out = case.passes, []
    for earlier in range(number - 1, -1, -1):
        if not same_settings(passes[earlier], passes[number]):
            break
        out.append(earlier)
        if passes[earlier].edge_looked_at != "not yet":
            break
    return out


def is_thicker(here: ChipThickness, before: list[ChipThickness]) -> bool:
    """Return whether a chip is thicker than those before by enough to point at the edge.

    By the usual sign and clear of the doubt of both; only the same way is compared.
    """
    known = [t for t in before if t.way == here.way]
    if not known:
        return False
    middle = median_low(t.mm for t in known)
    doubt = hypot(here.u_mm, max(t.u_mm for t in known))
    return (
        here.mm >= rule_value("chip", "thicker_is_a_sign") * middle
        and here.mm - middle > _TWO_U * doubt
    )


def thickness_in(case: Case, number: int) -> ChipThickness | None:
    """Return the thickness of the chip of one pass of a case."""
    record = case.passes[number]
    return thickness_of(setup_of(case, record), record)
