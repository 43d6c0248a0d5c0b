"""From a colour back to an oxide thickness, with its doubt.

Not in here: pixels (``chip_tint``), tint names (``names``), degrees (``temperature``).
A chip mirrors whatever is above it, so its brightness says little: a' = a*/(L* + 16)
and b' = b*/(L* + 16) are matched, which stay the same when a colour is scaled (from
the definition of CIELAB, CIE 015:2018). Only one thing is asked of brightness: a dark
film cannot look much brighter than it would under a white sky.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from vision.heat.optics import film_lab
from vision.records import Measured

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import Float1

__all__ = [
    "FilmCurve",
    "FilmFix",
    "colours_of",
    "curve_of",
    "exposure_free",
    "film_from_colour",
    "films_near",
]

#: Film, metal and thickest film in nm. On steel and stainless the second-order colours
#: of theory are never seen (thick scale is grey), so their curves end in the grey.
_SYSTEMS: dict[str, tuple[str, str, float]] = {
    "steel": ("fe3o4", "fe", 98.0),
    "stainless": ("stainless_oxide", "stainless", 95.0),
    "titanium": ("tio2", "ti", 145.0),
}
_STEP_NM = 0.5
#: Thickness spreads that a chip may have, and how likely: 15 % give or take 10 %.
_SPREADS = (0.0, 0.075, 0.15, 0.225, 0.3)
_SPREAD_MEAN, _SPREAD_U = 0.15, 0.10
#: White that lies over the film's colour, in units of white: rims that mirror the lamp, a
#: skin of oil, dust. How likely it is falls by e with every ``_HAZE_MEAN``; chosen on
#: rendered training scenes, real chips may have less.
_HAZES = (0.0, 0.01, 0.025, 0.05, 0.1, 0.2, 0.4)
_HAZE_MEAN = 0.3
#: Curves that do for single pixels: spread 15 %, haze 0, 0.05 and 0.2.
_ROUGH = tuple(_SPREADS.index(0.15) * len(_HAZES) + _HAZES.index(h) for h in (0.0, 0.05, 0.2))

#: Films whose n and k are off by up to 10 % move the curve sideways by this much, plus
#: a share of the distance from grey, and stretch it along by a share of the thickness
#: (worked out with :mod:`vision.heat.optics`; one standard deviation).
_U_CURVE, _U_CURVE_SHARE, _U_STRETCH = 0.015, 0.06, 0.06
#: Farther from the curve than this many standard deviations is no oxide film. Of films
#: with n and k off by up to 10 % and colours off by ``u_colour`` one in 200 is farther.
_OFF_CURVE = 2.0
#: Logarithm of luminance by which a chip may outshine its film under a white sky
#: (lamps, chips nearer to them), the standard deviation of that, and the light that
#: lifts the darkest films, in units of white. Ours, no source.
_SHINE, _U_SHINE, _LIFT = 0.1, 0.3, 0.03
#: Heat is about as likely in every 50 degrees, and film grows as exp(-E/RT): thickness
#: is then spread evenly over its logarithm, from about this many nm on.
_PRIOR_NM = 10.0
#: A second stretch of the curve counts from this share of the probability on: then one
#: value with an error bar cannot say it any more.
_RIVAL_SHARE = 0.15
#: The metal is not named: its curve may be another one.
_U_STRETCH_UNKNOWN = 0.15


@dataclass(frozen=True, slots=True)
class FilmCurve:
    """Colours of one metal by thickness.

    ``points[s, i]`` is (a', b') and ``luminance[s, i]`` the share of light sent back by
    a film of mean thickness ``film_nm[i]`` with the s-th pair of spread and haze;
    ``penalty[s]`` is what that pair costs, as a square of standard deviations.
    """

    film_nm: Float1
    points: npt.NDArray[np.float64]
    luminance: npt.NDArray[np.float64]
    penalty: Float1
    smear: npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmFix:
    """A thickness read off the curve.

    ``stretches`` are the pieces of the curve that the colour allows, each a thickness
    and its share of the probability, likeliest first; ``misfit`` is the distance from
    the curve in standard deviations; ``probability[i]`` belongs to ``film_nm[i]`` and
    sums to 1.
    """

    stretches: tuple[tuple[Measured, float], ...]
    misfit: float
    film_nm: Float1
    probability: Float1

    @property
    def best(self) -> Measured:
        """Return the likeliest thickness.

        Where films of two thicknesses have this colour, the thinner one is given with
        bound ``"at_least"``.
        """
        if len(self.stretches) == 1:
            return self.stretches[0][0]
        thinnest = min((film for film, _ in self.stretches), key=lambda film: film.value)
        return Measured(value=thinnest.value, u=thinnest.u, bound="at_least")

    def share(self, low_nm: float, high_nm: float) -> float:
        """Return the probability that the film lies in [low_nm, high_nm)."""
        inside = (self.film_nm >= low_nm) & (self.film_nm < high_nm)
        return float(self.probability[inside].sum())


def exposure_free(lab: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Return (..., 2) coordinates a', b' of (..., 3) CIELAB colours.

    Examples
    --------
    >>> exposure_free([84.0, 10.0, -20.0]).tolist()
    [0.1, -0.2]
    """
    colours = np.asarray(lab, dtype=np.float64)
    return np.asarray(colours[..., 1:] / (colours[..., :1] + 16.0))


def colours_of(family: str, film_nm: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Return the usual colours, (N, 3) CIELAB, of films of a metal family (spread 15 %).

    Raises
    ------
    KeyError
        If the family has no curve.
    """
    film, base, _ = _SYSTEMS[family]
    return film_lab(film, base, film_nm=np.asarray(film_nm, float), spread=_SPREAD_MEAN)


@cache
def curve_of(family: str | None) -> FilmCurve:
    """Return the colour curve of a metal family; without a name that of steel.

    Raises
    ------
    KeyError
        If the family has no curve (aluminium, copper alloys).
    """
    film, base, thickest = _SYSTEMS["steel" if family is None else family]
    film_nm = np.arange(0.0, thickest + _STEP_NM / 2, _STEP_NM)
    clean = [film_lab(film, base, film_nm=film_nm, spread=s) for s in _SPREADS]
    labs = [_hazy(lab, haze) for lab in clean for haze in _HAZES]
    stretch = _U_STRETCH if family is not None else _U_STRETCH_UNKNOWN
    width = np.maximum(stretch * film_nm, _STEP_NM)[:, None]
    smear = np.exp(-0.5 * ((film_nm[None, :] - film_nm[:, None]) / width) ** 2)
    uneven = ((np.array(_SPREADS) - _SPREAD_MEAN) / _SPREAD_U) ** 2
    penalty = np.add.outer(uneven, 2.0 * np.array(_HAZES) / _HAZE_MEAN).ravel()
    return FilmCurve(
        film_nm=film_nm,
        points=exposure_free(np.stack(labs)),
        luminance=_luminance(np.stack(labs)[..., 0]),
        penalty=penalty,
        smear=smear / smear.sum(axis=1, keepdims=True),
    )


def _hazy(lab: npt.NDArray[np.float64], haze: float) -> npt.NDArray[np.float64]:
    """Return colours, (N, 3) CIELAB, with white added; ``haze`` in units of white."""
    fy = (lab[:, 0] + 16.0) / 116.0
    f = np.stack([fy + lab[:, 1] / 500.0, fy, fy - lab[:, 2] / 200.0])
    x, y, z = np.cbrt(np.maximum(f, 0.0) ** 3 + haze)
    return np.stack([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)], axis=-1)


def _luminance(lightness: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return Y / Yn of L* (the straight part near black is of no use here)."""
    return ((lightness + 16.0) / 116.0) ** 3


def _misfit2(curve: FilmCurve, colour: Float1, u_colour: float) -> npt.NDArray[np.float64]:
    """Return squared distances from all points of the curve in standard deviations."""
    point = exposure_free(colour)
    squares = ((curve.points - point) ** 2).sum(axis=2)
    squares /= _u_point(point, float(colour[0]), u_colour) ** 2
    ratio = _luminance(colour[:1]) / (curve.luminance + _LIFT)
    shine = np.maximum(np.log(ratio) - _SHINE, 0.0) / _U_SHINE
    return np.asarray(squares + shine**2)


def _u_point(point: Float1, lightness: float, u_colour: float) -> float:
    curve = _U_CURVE + _U_CURVE_SHARE * float(np.hypot(*point))
    return float(np.hypot(u_colour / (lightness + 16.0), curve))


def _stretches(chance: Float1) -> list[slice]:
    """Return runs of the curve that the colour allows (within 2.8 standard deviations)."""
    inside = np.concatenate([[False], chance > 0.02 * chance.max(), [False]])
    edges = np.flatnonzero(np.diff(inside.astype(np.int8)))
    return [slice(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def film_from_colour(
    lab: npt.ArrayLike, *, family: str | None, u_colour: float
) -> FilmFix | None:
    """Return the oxide thickness whose interference colour comes nearest.

    Parameters
    ----------
    lab : (3,) float
        CIELAB, D65, white-balanced to a neutral in the same light.
    family : {"steel", "stainless", "titanium"} or None
        ``None`` (metal not named) uses the curve of steel with more doubt.
    u_colour : float, CIELAB units, > 0
        Standard uncertainty of the colour in each of a* and b*: about 2 with a good
        neutral in even light, 5 on an ordinary phone photo, more without a neutral.

    Returns
    -------
    FilmFix or None
        ``None`` if the colour is no interference colour of this metal: rust, paint,
        dried oil, a coloured reflection.

    Raises
    ------
    KeyError
        If the family has no curve.
    ValueError
        If ``u_colour`` is not positive or the colour is not finite.

    Notes
    -----
    The film may be uneven and lie under a haze of white: of the curves for a spread of 0
    to 30 % and a haze of 0 to 0.4 the one that fits best counts, with 15 % and no haze
    preferred. Where the curve meets itself (bright and grey;
    first and second yellow of titanium) there is more than one stretch.
    Not to be trusted for: stains that happen to have the colour of straw (rust water,
    sulphurised oil), chips that mirror two lamps of different colour.

    Examples
    --------
    >>> fix = film_from_colour([60.9, -0.4, 20.3], family="steel", u_colour=2.0)
    >>> fix.best.value
    20.0
    """
    colour = np.asarray(lab, dtype=np.float64)
    if not (u_colour > 0 and np.isfinite(colour).all()):
        raise ValueError("need a finite colour and a positive uncertainty")
    curve = curve_of(family)
    squares = _misfit2(curve, colour, u_colour)
    chi2 = (squares + curve.penalty[:, None]).min(axis=0)
    misfit = float(np.sqrt(chi2.min()))
    if misfit > _OFF_CURVE:
        return None
    chance = np.exp(-0.5 * (chi2 - chi2.min())) / (curve.film_nm + _PRIOR_NM)
    runs = sorted(_stretches(chance), key=lambda run: -float(chance[run].sum()))
    total = np.zeros_like(chance)
    stretches: list[tuple[Measured, float]] = []
    for run in runs:
        alone = np.zeros_like(chance)
        alone[run] = chance[run]
        smeared = alone @ curve.smear
        total += smeared
        value = float(curve.film_nm[run][int(chi2[run].argmin())])
        mean_square = float((smeared * (curve.film_nm - value) ** 2).sum() / smeared.sum())
        fix = Measured(value=value, u=max(mean_square**0.5, _STEP_NM))
        stretches.append((fix, float(smeared.sum())))
    sum_of_all = float(total.sum())
    shares = [(fix, weight / sum_of_all) for fix, weight in stretches]
    return FilmFix(
        stretches=tuple(pair for pair in shares if pair[1] >= _RIVAL_SHARE),
        misfit=misfit,
        film_nm=curve.film_nm,
        probability=total / sum_of_all,
    )


def films_near(points: npt.NDArray[np.float64], *, family: str | None) -> tuple[Float1, Float1]:
    """Return for many (a', b') the nearest thickness in nm and the distance to it.

    Parameters
    ----------
    points : (N, 2) float64
    family : as in :func:`film_from_colour`

    Returns
    -------
    (N,) nm in steps of 2, (N,) distance in the units of a', b'
        Spread 15 %, haze free in three steps; no doubt is worked out.
    """
    curve = curve_of(family)
    coarse = curve.points[list(_ROUGH), ::4].reshape(-1, 2)
    films = np.tile(curve.film_nm[::4], len(_ROUGH))
    distance = np.hypot(*(points[:, None, :] - coarse[None, :, :]).transpose(2, 0, 1))
    nearest = distance.argmin(axis=1)
    return films[nearest], distance[np.arange(len(points)), nearest]
