"""How far slender work gives way under the tool, by how it is held.

Not in here: the lathe, the tool and what is left on the diameter (``compliance``).
Slender-beam formulas for round work, F across the axis at the tool. E is in N/mm² (the
same as MPa), I in mm⁴. Source keys are listed in ``advisor.mechanics``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from advisor.mechanics._check import at_least_zero, positive

__all__ = [
    "Sag",
    "between_centres_largest_mm",
    "between_centres_mm",
    "between_centres_worst",
    "cantilever_mm",
    "chuck_centre_mm",
    "chuck_centre_worst",
    "second_moment_rectangle_mm4",
    "second_moment_round_mm4",
]

#: Where a bar in chuck and centre gives way most under the travelling tool, over its length.
_CHUCK_CENTRE_WORST: Final = 2.0 - math.sqrt(2.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sag:
    """Largest deflection under a tool that travels along the work.

    Attributes
    ----------
    at_mm : float, mm
        Where it happens, from the chuck or the head-side centre.
    deflection_mm : float, mm
        How far.
    """

    at_mm: float
    deflection_mm: float


def second_moment_round_mm4(diameter_mm: float) -> float:
    """Return I = pi D⁴ / 64 of a round bar in mm⁴; D in mm above zero, else ValueError.

    >>> round(second_moment_round_mm4(10.0), 2)
    490.87
    """
    positive(diameter_mm=diameter_mm)
    return math.pi * diameter_mm**4 / 64.0


def second_moment_rectangle_mm4(width_mm: float, height_mm: float) -> float:
    """Return I = b h³ / 12 of a bar bent over its height, mm⁴; both in mm above zero.

    >>> round(second_moment_rectangle_mm4(10.0, 10.0), 2)
    833.33
    """
    positive(width_mm=width_mm, height_mm=height_mm)
    return width_mm * height_mm**3 / 12.0


def cantilever_mm(
    force_n: float, load_mm: float, e_n_mm2: float, i_mm4: float, point_mm: float | None = None
) -> float:
    """Return how far a bar held at one end gives way, in mm.

    Parameters
    ----------
    force_n : float, N, >= 0
        Force across the bar.
    load_mm : float, mm, > 0
        Where it acts, from the chuck.
    e_n_mm2 : float, N/mm², > 0
        Young's modulus.
    i_mm4 : float, mm⁴, > 0
        Second moment of area.
    point_mm : float, mm, >= 0, optional
        Where the deflection is wanted; under the force when left out.

    Returns
    -------
    float
        Deflection in mm.

    Raises
    ------
    ValueError
        If a value is not finite or out of its range.

    Notes
    -----
    Not to be trusted for: bars shorter than about twice their diameter (shear is not in
    it) and jaws that grip at one spot. The chuck's own give is in :func:`machine_mm`.

    References
    ----------
    [bansal] 13.1, p. 557.

    Examples
    --------
    >>> round(cantilever_mm(50.0, 100.0, 207_000.0, second_moment_round_mm4(10.0)), 5)
    0.16402
    """
    _check_beam(force_n, load_mm, e_n_mm2, i_mm4)
    point = load_mm if point_mm is None else point_mm
    at_least_zero(point_mm=point)
    near, far = min(point, load_mm), max(point, load_mm)
    # Past the force the bar is straight; before it, the cubic. Both swap near and far.
    return force_n * near**2 * (3.0 * far - near) / (6.0 * e_n_mm2 * i_mm4)


def chuck_centre_mm(
    force_n: float, load_mm: float, length_mm: float, e_n_mm2: float, i_mm4: float
) -> float:
    """Return how far work in chuck and tail centre gives way under the tool, in mm.

    Parameters
    ----------
    force_n : float, N, >= 0
        Force across the bar.
    load_mm : float, mm, > 0 to ``length_mm``
        Where the tool stands, from the chuck.
    length_mm : float, mm, > 0
        From chuck to centre.
    e_n_mm2, i_mm4 : float
        As for :func:`cantilever_mm`.

    Returns
    -------
    float
        Deflection in mm.

    Raises
    ------
    ValueError
        If a value is not finite or out of its range.

    Notes
    -----
    Not to be trusted for: a centre that is loose or a chuck that gives; both are taken
    as rigid here, see :func:`machine_mm`.

    References
    ----------
    [roark] fixed-pinned beam.

    Examples
    --------
    >>> i_mm4 = second_moment_round_mm4(10.0)
    >>> round(chuck_centre_mm(50.0, 50.0, 100.0, 207_000.0, i_mm4), 6)
    0.004485
    """
    _check_supported(force_n, load_mm, length_mm, e_n_mm2, i_mm4)
    rest_mm = length_mm - load_mm
    shape = load_mm**3 * rest_mm**2 * (3.0 * length_mm + rest_mm)
    return force_n * shape / (12.0 * e_n_mm2 * i_mm4 * length_mm**3)


def chuck_centre_worst(force_n: float, length_mm: float, e_n_mm2: float, i_mm4: float) -> Sag:
    """Return the largest give of work in chuck and centre as the tool travels.

    Parameters, errors and limits as for :func:`chuck_centre_mm`; it is (2 - sqrt 2) of
    the length away from the chuck, so the work comes out as a barrel, fattest there.

    >>> sag = chuck_centre_worst(50.0, 100.0, 207_000.0, second_moment_round_mm4(10.0))
    >>> round(sag.at_mm, 2), round(sag.deflection_mm, 6)
    (58.58, 0.004828)
    """
    positive(length_mm=length_mm)
    at_mm = _CHUCK_CENTRE_WORST * length_mm
    return Sag(
        at_mm=at_mm, deflection_mm=chuck_centre_mm(force_n, at_mm, length_mm, e_n_mm2, i_mm4)
    )


def between_centres_mm(
    force_n: float, load_mm: float, length_mm: float, e_n_mm2: float, i_mm4: float
) -> float:
    """Return how far work between centres gives way under the tool, in mm.

    Parameters, errors and limits as for :func:`chuck_centre_mm`, with ``load_mm`` from
    the head-side centre. [bansal] 12.4, p. 526.

    >>> i_mm4 = second_moment_round_mm4(10.0)
    >>> round(between_centres_mm(50.0, 50.0, 100.0, 207_000.0, i_mm4), 6)
    0.010252
    """
    _check_supported(force_n, load_mm, length_mm, e_n_mm2, i_mm4)
    rest_mm = length_mm - load_mm
    return force_n * (load_mm * rest_mm) ** 2 / (3.0 * e_n_mm2 * i_mm4 * length_mm)


def between_centres_worst(
    force_n: float, length_mm: float, e_n_mm2: float, i_mm4: float
) -> Sag:
    """Return the largest give of work between centres as the tool travels: at mid-span.

    Parameters, errors and limits as for :func:`between_centres_mm`.

    >>> sag = between_centres_worst(50.0, 100.0, 207_000.0, second_moment_round_mm4(10.0))
    >>> sag.at_mm, round(sag.deflection_mm, 6)
    (50.0, 0.010252)
    """
    positive(length_mm=length_mm)
    at_mm = length_mm / 2.0
    return Sag(
        at_mm=at_mm,
        deflection_mm=between_centres_mm(force_n, at_mm, length_mm, e_n_mm2, i_mm4),
    )


def between_centres_largest_mm(
    force_n: float, load_mm: float, length_mm: float, e_n_mm2: float, i_mm4: float
) -> float:
    """Return the largest give anywhere on work between centres for one place of the tool.

    Off the middle, the work bends most not at the tool but on the longer side of it.
    Parameters, errors and limits as for :func:`between_centres_mm`. [bansal] 12.4, p. 526.

    >>> round(between_centres_largest_mm(5000.0, 3000.0, 5000.0, 2e5, 1e8), 4)
    0.6173
    """
    _check_supported(force_n, load_mm, length_mm, e_n_mm2, i_mm4)
    short_mm = min(load_mm, length_mm - load_mm)
    reach = (length_mm**2 - short_mm**2) ** 1.5
    return float(
        force_n * short_mm * reach / (9.0 * math.sqrt(3.0) * e_n_mm2 * i_mm4 * length_mm)
    )


def _check_beam(force_n: float, load_mm: float, e_n_mm2: float, i_mm4: float) -> None:
    at_least_zero(force_n=force_n)
    positive(load_mm=load_mm, e_n_mm2=e_n_mm2, i_mm4=i_mm4)


def _check_supported(
    force_n: float, load_mm: float, length_mm: float, e_n_mm2: float, i_mm4: float
) -> None:
    _check_beam(force_n, load_mm, e_n_mm2, i_mm4)
    positive(length_mm=length_mm)
    if load_mm > length_mm:
        raise ValueError("load_mm must be at most length_mm")
