"""From colours back to an oxide thickness, with its doubt.

Not in here: pixels (``chip_tint``), tint names (``names``), degrees (``temperature``).
A chip mirrors whatever is above it, so its brightness says little: a' = a*/(L* + 16)
and b' = b*/(L* + 16) are matched, which stay the same when a colour is scaled (from
the definition of CIELAB, CIE 015:2018). Only one thing is asked of brightness: a dark
film cannot look much brighter than it would under a white sky.

All colours of a chip are explained together: one mean thickness, one evenness, one kind of
film, but a haze of white of its own on each spot. A hazy spot then says little and a clear
one much, whichever is the brighter.
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
    "film_from_colours",
    "films_near",
]

#: Film, metal, thickest film in nm, and what grows into the film. On steel and stainless the
#: second-order colours of theory are never seen (thick scale is grey), so their curves end
#: in the grey.
_SYSTEMS: dict[str, tuple[str, str, float, str | None]] = {
    "steel": ("fe3o4", "fe", 98.0, "fe2o3"),
    "stainless": ("stainless_oxide", "stainless", 95.0, "fe3o4"),
    "titanium": ("tio2", "ti", 145.0, None),
}
#: Steps of the curve, and of the answer, nm.
_COARSE_NM, _STEP_NM = 2.0, 0.5
#: Kinds of film: share of the second oxide, and unevenness within a spot. That hematite
#: grows on magnetite is known, how much of it is not; ours, no source.
_KINDS = ((0.0, 0.1), (0.2, 0.15))
_USUAL_SPREAD = 0.15
#: White that lies over a spot's colour, in units of its own light: rims that mirror the
#: lamp, a skin of oil, dust, paper that bleeds in. How likely it is falls by e with every
#: mean; which mean a chip has is not known. Narrow chips are mostly rim.
_HAZES = np.array([0.0, 0.08, 0.3, 1.0, 4.0])
_HAZE_MEANS, _HAZE_MEANS_NARROW = (0.05, 0.3, 2.0), (1.0, 3.0, 9.0)
#: How uneven a chip may be from spot to spot, as a share of its film, and how likely.
_UNEVEN = ((0.1, 0.5), (0.2, 0.4), (0.45, 0.1))
_LOG_UNEVEN = np.log([[chance] for _, chance in _UNEVEN])
#: A spot may be none of the film's: density of such colours in a', b'.
_STRAY = 0.1
#: Share of a colour's distance from grey by which it may be off, besides its own doubt:
#: films whose n and k are off, a camera that makes colours vivid.
_U_SHARE = 0.08
#: So many spots speak with voices of their own; the rest repeats errors common to all.
_VOICES, _VOICES_NARROW = 5.0, 1.2
#: Common doubt of a colour in a', b' for each CIELAB unit of doubt, and the doubt at which
#: the voices are as many as above.
_U_POINT, _U_USUAL = 1 / 110, 4.0
#: Farther than this many standard deviations from the curve under so many of the hazes a
#: spot is no oxide film, and from this share of such spots on the chip is none.
_OFF_CURVE, _OFF_HAZES, _OFF_SHARE = 3.0, 3, 0.5
#: Films whose n is off by up to 10 % stretch the curve along by a share of the thickness
#: (one standard deviation); more where the metal is not named.
_U_STRETCH, _U_STRETCH_UNKNOWN = 0.1, 0.2
#: Logarithm of luminance by which a chip may outshine its film under a white sky
#: (lamps, chips nearer to them), the standard deviation of that, and the light that
#: lifts the darkest films, in units of white. Ours, no source.
_SHINE, _U_SHINE, _LIFT = 0.1, 0.3, 0.03
#: Heat is about as likely in every 50 degrees, and film grows as exp(-E/RT): thickness
#: is then spread evenly over its logarithm, from about this many nm on.
_PRIOR_NM = 10.0
#: A stretch of the curve ends where it is this much less likely than its best, and a second
#: one counts from this share of the probability on: then one value with an error bar
#: cannot say it any more.
_STRETCH_ENDS, _RIVAL_SHARE = 0.06, 0.15
#: Hazes that do for single pixels.
_ROUGH_HAZES = (0, 1, 2)


@dataclass(frozen=True, slots=True)
class FilmCurve:
    """Colours of one metal by thickness.

    ``points[k, h, i]`` is (a', b') of a film of mean thickness ``film_nm[i]`` of the k-th
    kind under the h-th haze; ``luminance[i]`` the share of light that a clear film sends
    back. ``uneven[v]`` spreads a mean over the thicknesses of a chip's spots, ``smear``
    over what other n would make of it; their rows add up to 1.
    """

    film_nm: Float1
    points: npt.NDArray[np.float64]
    luminance: Float1
    uneven: npt.NDArray[np.float64]
    smear: npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmFix:
    """A thickness read off the curve.

    ``stretches`` are the pieces of the curve that the colours allow, each a thickness
    and its share of the probability, likeliest first; ``stray_share`` is the share of
    spots that are none of this metal's colours; ``probability[i]`` belongs to
    ``film_nm[i]`` and sums to 1.
    """

    stretches: tuple[tuple[Measured, float], ...]
    stray_share: float
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
    film, base, _, _ = _SYSTEMS[family]
    return film_lab(film, base, film_nm=np.asarray(film_nm, float), spread=_USUAL_SPREAD)


@cache
def curve_of(family: str | None) -> FilmCurve:
    """Return the colour curve of a metal family; without a name that of steel.

    Raises
    ------
    KeyError
        If the family has no curve (aluminium, copper alloys).
    """
    film, base, thickest, other = _SYSTEMS["steel" if family is None else family]
    film_nm = np.arange(0.0, thickest + _COARSE_NM, _COARSE_NM)
    labs = [
        film_lab(
            film,
            base,
            film_nm=film_nm,
            spread=spread,
            second=None if other is None else (other, share),
        )
        for share, spread in _KINDS
    ]
    stretch = _U_STRETCH if family is not None else _U_STRETCH_UNKNOWN
    return FilmCurve(
        film_nm=film_nm,
        points=np.stack([[exposure_free(_hazy(lab, h)) for h in _HAZES] for lab in labs]),
        luminance=((labs[0][:, 0] + 16.0) / 116.0) ** 3,
        uneven=np.stack([_spread_over(film_nm, film_nm * share) for share, _ in _UNEVEN]),
        smear=_spread_over(film_nm, film_nm * stretch),
    )


def _spread_over(film_nm: Float1, width_nm: Float1) -> npt.NDArray[np.float64]:
    """Return rows of normal distributions about each thickness, each adding up to 1."""
    width = np.maximum(width_nm, 0.5 * _COARSE_NM)[:, None]
    rows = np.exp(-0.5 * ((film_nm[None, :] - film_nm[:, None]) / width) ** 2)
    return np.asarray(rows / rows.sum(axis=1, keepdims=True))


def _hazy(lab: npt.NDArray[np.float64], haze: float) -> npt.NDArray[np.float64]:
    """Return colours, (N, 3) CIELAB, with white added; ``haze`` in units of white."""
    fy = (lab[:, 0] + 16.0) / 116.0
    f = np.stack([fy + lab[:, 1] / 500.0, fy, fy - lab[:, 2] / 200.0])
    x, y, z = np.cbrt(np.maximum(f, 0.0) ** 3 + haze)
    return np.stack([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)], axis=-1)


@cache
def _haze_shares(*, narrow: bool) -> npt.NDArray[np.float64]:
    """Return how likely each haze is, one row for each mean that a chip may have."""
    means = np.array(_HAZE_MEANS_NARROW if narrow else _HAZE_MEANS)[:, None]
    shares = np.exp(-_HAZES[None, :] / means) * np.gradient(_HAZES)[None, :]
    return np.asarray(shares / shares.sum(axis=1, keepdims=True))


def _likelihood(
    curve: FilmCurve, points: npt.NDArray[np.float64], variance: npt.NDArray[np.float64]
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.bool_]]:
    """Return densities (N, kinds, hazes, films) of colours, and which are none of a film."""
    squares = np.zeros((len(points), *curve.points.shape[:3]), np.float32)
    for side in range(2):
        scale = 1.0 / np.sqrt(variance[:, side])
        reach = (points[:, side] * scale).astype(np.float32)[:, None, None, None]
        place = curve.points[..., side].astype(np.float32)[None]
        squares += (reach - place * scale.astype(np.float32)[:, None, None, None]) ** 2
    clear = squares[:, :, :_OFF_HAZES].reshape(len(points), -1)
    stray = clear.min(axis=1) > _OFF_CURVE**2
    root = np.sqrt(variance.prod(axis=1)).astype(np.float32)[:, None, None, None]
    return np.exp(-0.5 * squares) / root, stray


def film_from_colours(
    points: npt.NDArray[np.float64],
    u_points: npt.NDArray[np.float64],
    *,
    family: str | None,
    u_colour: float,
    luminance: float,
    narrow: bool = False,
) -> FilmFix | None:
    """Return the oxide thickness that explains the colours of a chip's spots best.

    Parameters
    ----------
    points : (N, 2) float64
        a', b' of spots of one chip, D65, white-balanced to a neutral in the same light.
        Some 60, dark and bright ones alike, are enough.
    u_points : (N, 2) float64
        Standard uncertainty of each that is its own: noise, coding, stray light.
    family : {"steel", "stainless", "titanium"} or None
        ``None`` (metal not named) uses the curve of steel with more doubt.
    u_colour : float, CIELAB units, > 0
        Standard uncertainty of a* and b* that all spots share: about 2 with a good
        neutral in even light, 4 on an ordinary phone photo, more without a card.
    luminance : float
        Middle luminance of the spots, paper is 1.
    narrow : bool
        The chip is so few pixels across that paper bleeds into all of it.

    Returns
    -------
    FilmFix or None
        ``None`` if most colours are no interference colours of this metal: rust, paint,
        dried oil, a coloured reflection.

    Raises
    ------
    KeyError
        If the family has no curve.
    ValueError
        If ``u_colour`` is not positive, or a colour is not finite, or there is none.

    Notes
    -----
    A chip has one mean film, 10 to 45 % uneven from spot to spot, of pure or mixed oxide;
    each spot lies under a haze of white of its own. Errors that all spots share are kept
    in by letting only a few spots' worth of evidence count. Where the curve meets itself
    (bright and grey; first and second yellow of titanium) there is more than one stretch.
    Not to be trusted for: stains that happen to have the colour of straw (rust water,
    sulphurised oil), chips that mirror two lamps of different colour.
    """
    if not (u_colour > 0 and len(points) and np.isfinite(points).all()):
        raise ValueError("need finite colours and a positive uncertainty")
    curve = curve_of(family)
    far = (points**2).sum(axis=1, keepdims=True)
    variance = (u_colour * _U_POINT) ** 2 + _U_SHARE**2 * far + u_points**2
    density, stray = _likelihood(curve, points, variance)
    if stray.mean() > _OFF_SHARE:
        return None
    most = _VOICES_NARROW if narrow else _VOICES
    voices = min(max(most * min(_U_USUAL / u_colour, 1.0) ** 2, 1.0), float(len(points)))
    under = np.einsum("nkhi,mh->mkni", density, _haze_shares(narrow=narrow).astype(np.float32))
    # Its axes: means, kinds, unevennesses, spots, films.
    told = under.astype(np.float64)[:, :, None] @ curve.uneven.swapaxes(1, 2)
    told += _STRAY
    np.log(told, out=told)
    fits = told.mean(axis=3) * voices + _LOG_UNEVEN
    chance = np.exp(fits - fits.max()).sum(axis=(0, 1, 2)) / (curve.film_nm + _PRIOR_NM)
    ratio = max(luminance, 1e-6) / (curve.luminance + _LIFT)
    chance *= np.exp(-0.5 * (np.maximum(np.log(ratio) - _SHINE, 0.0) / _U_SHINE) ** 2)
    return _fix(curve, chance @ curve.smear, float(stray.mean()))


def _fix(curve: FilmCurve, chance: Float1, stray_share: float) -> FilmFix:
    """Part a distribution over the curve into stretches, each with middle and doubt."""
    film_nm = np.arange(0.0, curve.film_nm[-1] + _STEP_NM / 2, _STEP_NM)
    fine = np.interp(film_nm, curve.film_nm, chance)
    fine /= fine.sum()
    stretches: list[tuple[Measured, float]] = []
    for run in _runs(fine):
        share = float(fine[run].sum())
        value = float(np.interp(0.5, np.cumsum(fine[run]) / share, film_nm[run]))
        mean_square = float(fine[run] @ (film_nm[run] - value) ** 2) / share
        stretches.append((Measured(value=value, u=max(mean_square**0.5, _STEP_NM)), share))
    told = sum(share for _, share in stretches)
    shares = sorted(((fix, share / told) for fix, share in stretches), key=lambda s: -s[1])
    return FilmFix(
        stretches=tuple(pair for pair in shares if pair[1] >= _RIVAL_SHARE),
        stray_share=stray_share,
        film_nm=film_nm,
        probability=fine,
    )


def _runs(chance: Float1) -> list[slice]:
    """Return the runs of a distribution that are not far below its best."""
    inside = np.concatenate([[False], chance > _STRETCH_ENDS * chance.max(), [False]])
    edges = np.flatnonzero(np.diff(inside.astype(np.int8)))
    return [slice(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def films_near(points: npt.NDArray[np.float64], *, family: str | None) -> tuple[Float1, Float1]:
    """Return for many (a', b') the nearest thickness in nm and the distance to it.

    Parameters
    ----------
    points : (N, 2) float64
    family : as in :func:`film_from_colours`

    Returns
    -------
    (N,) nm in steps of 2, (N,) distance in the units of a', b'
        Pure oxide, under three hazes; no doubt is worked out.
    """
    curve = curve_of(family)
    coarse = curve.points[0, list(_ROUGH_HAZES)].reshape(-1, 2)
    films = np.tile(curve.film_nm, len(_ROUGH_HAZES))
    distance = np.hypot(*(points[:, None, :] - coarse[None, :, :]).transpose(2, 0, 1))
    nearest = distance.argmin(axis=1)
    return films[nearest], distance[np.arange(len(points)), nearest]
