"""The tint of one chip from its pixels.

Not in here: balancing colours (``vision.photo``), optics (``film``). Highlights are
kept: on metal they carry the metal's own colour, unlike the white glare of plastics
(G. Healey, JOSA A 6 (1989) 920); only clipped pixels are not to be trusted.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np

from vision.heat.film import curve_of, exposure_free, film_from_colour, films_near
from vision.heat.names import TINT_FILM_NM, names_of, tint_name
from vision.photo.colour import lab_from_linear
from vision.ranks import median, percentile
from vision.records import ChipTint, Measured

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import BoolMask, Float1, Linear3
    from vision.heat.film import FilmFix

__all__ = ["colour_doubt", "tint_of"]

_LUMA = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
#: Share of the clip level above which a channel may have been cut, and share of white
#: below which noise and stray light outweigh the metal.
_CLIPPED, _DARK = 0.98, 0.012
_PIXELS_MAX, _PIXELS_MIN = 4000, 30
#: Neighbouring pixels repeat each other: about so many make one independent sample.
_PIXELS_PER_SAMPLE = 25
#: Pixels looked at one by one where a chip bears several tints, and the share of them
#: that must lie on the curve.
_SINGLES, _SINGLES_SHARE = 400, 0.5
#: Distance in a', b' at which a single pixel still counts as lying on the curve.
_NEAR = 0.2
#: A chip is of one tint if most pixels lie about its median: within this distance plus
#: this share of the median's own distance from grey.
_ONE_TINT, _ONE_TINT_CHROMA, _ONE_TINT_SHARE = 0.15, 0.25, 0.6
#: CIELAB units: an ordinary phone with a neutral in view (common experience with charts:
#: 3 to 10 for the whole colour difference).
_U_PHONE = 4.0
#: Paper mixes the lamps that it is lit by, a chip mirrors one or the other: twice what the
#: paper shows. From this residual on, CIEDE2000, colour is not to be trusted.
_MIXED_LAMPS, _RESIDUAL_MAX = 2.0, 5.0
#: Share of clearly blue pixels that makes a colourless chip burnt rather than bright.
_BLUE_B, _BLUE_SHARE = -0.2, 0.05


def colour_doubt(neutral_de00: float | None) -> float | None:
    """Return the standard uncertainty of a* and b* after balancing, or ``None``.

    Parameters
    ----------
    neutral_de00 : float or None
        How far the balanced paper is from neutral over the sheet, CIEDE2000, as
        ``Light`` has it; ``None`` if no neutral was found.

    Returns
    -------
    float or None
        CIELAB units. ``None``: colour cannot be trusted, so no tint is to be read.
    """
    if neutral_de00 is None or neutral_de00 > _RESIDUAL_MAX:
        return None
    return float(np.hypot(_U_PHONE, _MIXED_LAMPS * neutral_de00))


def _inner(mask: BoolMask) -> BoolMask:
    """Drop the pixels of the mask that touch its border; they are half paper."""
    cross = cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3))
    inner = cv2.erode(mask.view(np.uint8), cross, borderType=cv2.BORDER_CONSTANT, borderValue=0)
    return np.asarray(inner.view(np.bool_))


def _pixels(linear: Linear3, mask: BoolMask, clip_level: float | Float1) -> Linear3:
    """Return up to 4000 usable pixels, (N, 3), evenly drawn from the inside of the mask."""
    where = np.flatnonzero(_inner(mask))
    if len(where) < _PIXELS_MIN:
        where = np.flatnonzero(mask)
    if len(where) > _PIXELS_MAX:
        where = where[np.linspace(0, len(where) - 1, _PIXELS_MAX).astype(np.intp)]
    pixels = linear.reshape(-1, 3)[where]
    good = (pixels < _CLIPPED * np.asarray(clip_level)).all(axis=1) & (pixels @ _LUMA >= _DARK)
    return pixels[good]


def _middle(points: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return the median of each column of (N, 2)."""
    return np.array([median(side) for side in points.T])


def _lab_of(
    labs: npt.NDArray[np.float64], middle: npt.NDArray[np.float64]
) -> npt.NDArray[np.float64]:
    """Return the CIELAB of median lightness and a median exposure-free colour."""
    lightness = median(labs[:, 0])
    a, b = middle * (lightness + 16.0)
    return np.array([lightness, a, b])


def _triple(lab: npt.NDArray[np.float64]) -> tuple[float, float, float]:
    return float(lab[0]), float(lab[1]), float(lab[2])


def _u_of_median(labs: npt.NDArray[np.float64]) -> float:
    quarters = [percentile(side, 25, 75) for side in labs[:, 1:].T]
    sigma = max(high - low for low, high in quarters) / 1.35
    return float(1.25 * sigma / np.sqrt(max(1.0, len(labs) / _PIXELS_PER_SAMPLE)))


def _is_one_tint(points: npt.NDArray[np.float64], middle: npt.NDArray[np.float64]) -> bool:
    """Tell whether the median colour is one that the chip bears."""
    reach = _ONE_TINT + _ONE_TINT_CHROMA * float(np.hypot(*middle))
    return bool((np.hypot(*(points - middle).T) <= reach).mean() >= _ONE_TINT_SHARE)


def _fix_of_many(
    labs: npt.NDArray[np.float64], family: str | None, u_colour: float
) -> tuple[FilmFix, npt.NDArray[np.float64], tuple[float, float]] | None:
    """Read a chip of several tints, whose median colour may be none of them.

    Returns the fix and the colour of its middle film and the quartiles of its films in
    nm, or ``None`` if the single pixels are no oxide either.
    """
    some = labs[np.linspace(0, len(labs) - 1, min(len(labs), _SINGLES)).astype(np.intp)]
    films, distance = films_near(exposure_free(some), family=family)
    on = distance <= _NEAR
    if on.mean() < _SINGLES_SHARE:
        return None
    low, centre, high = percentile(films[on], 25, 50, 75)
    # An even number of pixels may put the middle between two tints: take the nearer one.
    centre = float(films[on][np.abs(films[on] - centre).argmin()])
    near = some[on & (np.abs(films - centre) <= max(4.0, 0.1 * centre))]
    alike = _lab_of(near, _middle(exposure_free(near)))
    fix = film_from_colour(alike, family=family, u_colour=u_colour)
    return None if fix is None else (fix, alike, (low, high))


def _share_tinted(points: npt.NDArray[np.float64], family: str | None, u: float) -> Measured:
    """Return the share of the visible surface as deep as pale straw or deeper."""
    curve = curve_of(family)
    bare, films = curve.points[2, 0], TINT_FILM_NM["steel" if family is None else family]
    straw = curve.points[2, int(np.searchsorted(curve.film_nm, films[1]))]
    border = float(np.hypot(*(straw - bare)))
    far = np.hypot(*(points - bare).T)
    share, fewest, most = (float((far > border + s * u).mean()) for s in (0.0, 1.0, -1.0))
    samples = max(1.0, len(points) / _PIXELS_PER_SAMPLE)
    # Two made-up samples, one of each kind, keep the doubt of "all" and "none" above zero.
    p = (share * samples + 1) / (samples + 2)
    sampling = np.sqrt(p * (1 - p) / (samples + 3))
    return Measured(value=share, u=float(np.hypot((most - fewest) / 2, sampling)))


def _burnt(
    names: tuple[str, ...], film: Measured, fix: FilmFix, points: npt.NDArray[np.float64]
) -> tuple[tuple[str, ...], Measured]:
    """Settle bright or grey by blue beside it: burnt chips seldom are grey all over."""
    blue = float((points[:, 1] < _BLUE_B).mean())
    if not {"bright", "grey"} <= set(names) or blue < _BLUE_SHARE:
        return names, film
    thick = max((f for f, _ in fix.stretches), key=lambda f: f.value)
    return tuple(n for n in names if n not in ("bright", "pale straw")), thick


def _tint(
    fix: FilmFix,
    colour: npt.NDArray[np.float64],
    points: npt.NDArray[np.float64],
    family: str | None,
    u_colour: float,
    *,
    quartiles_nm: tuple[float, float] | None = None,
) -> ChipTint:
    names, sure = names_of(fix, family)
    names, film = _burnt(names, fix.best, fix, points)
    range_nm = 0.0
    if quartiles_nm is not None:
        range_nm = (quartiles_nm[1] - quartiles_nm[0]) / 2
        ends = (tint_name(nm, family) for nm in quartiles_nm)
        names = tuple(dict.fromkeys((*names, *ends)))
    return ChipTint(
        name=names[0],
        sure=sure and len(names) == 1,
        candidates=names,
        film_nm=Measured(
            value=film.value, u=float(np.hypot(film.u, range_nm)), bound=film.bound
        ),
        lab=_triple(colour),
        share_tinted=_share_tinted(points, family, u_colour / (float(colour[0]) + 16.0)),
    )


def tint_of(
    linear: Linear3,
    mask: BoolMask,
    *,
    family: str | None,
    u_colour: float,
    clip_level: float | Float1 = 1.0,
) -> ChipTint:
    """Read the tint of a chip.

    Parameters
    ----------
    linear : (H, W, 3) float32
        Linear sRGB, balanced so that the sheet's white is 1.0.
    mask : (H, W) bool
        The chip. Its border pixels are left out.
    family : {"steel", "stainless", "titanium", "none"} or None
        As ``family_of`` gave it; ``None`` for a metal not named.
    u_colour : float, CIELAB units, > 0
        Standard uncertainty of a* and b* after balancing, see ``film_from_colour``.
    clip_level : float or (3,)
        Value in ``linear`` at which the camera cut each channel. The default, the
        sheet's white, is safe but loses glints brighter than paper.

    Returns
    -------
    ChipTint
        ``name`` is the likeliest candidate, ``sure`` if it stands alone. A chip of
        several tints is given by its middle film, with the tints at its quartiles as
        further candidates and half its quartile range within ``film_nm.u``. All but
        ``lab`` is empty where tint says nothing or the colour is none of an oxide film
        (rust, paint, a coloured reflection); ``lab`` too where fewer than 30 pixels
        could be used. ``share_tinted`` is of the visible surface and counts pale
        straw and deeper.

    Raises
    ------
    ValueError
        If picture and mask differ in size, or ``u_colour`` is not positive.

    Notes
    -----
    Not to be trusted for: chips under oil or dust, chips that mirror a hand or a
    coloured wall, dried oil (it is straw to the eye).
    """
    if linear.shape[:2] != mask.shape:
        raise ValueError("picture and mask must have the same size")
    pixels = _pixels(linear, mask, clip_level)
    if len(pixels) < _PIXELS_MIN:
        return ChipTint(
            name=None, sure=False, candidates=(), film_nm=None, lab=None, share_tinted=None
        )
    labs = lab_from_linear(pixels).astype(np.float64)
    points = exposure_free(labs)
    middle = _middle(points)
    typical = _lab_of(labs, middle)
    unread = ChipTint(
        name=None,
        sure=False,
        candidates=(),
        film_nm=None,
        lab=_triple(typical),
        share_tinted=None,
    )
    if family == "none":
        return unread
    if _is_one_tint(points, middle):
        u = float(np.hypot(u_colour, _u_of_median(labs)))
        fix = film_from_colour(typical, family=family, u_colour=u)
        return unread if fix is None else _tint(fix, typical, points, family, u)
    many = _fix_of_many(labs, family, u_colour)
    if many is None:
        return unread
    fix, colour, quartiles = many
    return _tint(fix, colour, points, family, u_colour, quartiles_nm=quartiles)
