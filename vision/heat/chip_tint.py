"""The tint of one chip from its pixels.

Not in here: balancing colours (``vision.photo``), optics (``film``). Highlights are
kept: on metal they carry the metal's own colour, unlike the white glare of plastics
(G. Healey, JOSA A 6 (1989) 920); only clipped pixels are not to be trusted.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np

from vision.heat.film import curve_of, exposure_free, film_from_colours, films_near
from vision.heat.names import TINT_FILM_NM, names_of, tint_name
from vision.photo.colour import lab_from_linear
from vision.ranks import median, percentile
from vision.records import ChipTint, Measured

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import BoolMask, Float1, Linear3
    from vision.heat.film import FilmFix

__all__ = ["U_TAPPED", "colour_doubt", "tint_of"]

_LUMA = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
#: Share of the clip level above which a channel may have been cut, and share of white
#: below which noise and stray light outweigh the metal.
_CLIPPED, _DARK = 0.98, 0.006
_PIXELS_MAX, _PIXELS_MIN = 4000, 30
#: Share of a chip's pixels that may be darker than black before black is set anew.
_BLACKER = 0.02
#: Neighbouring pixels repeat each other: about so many make one independent sample.
_PIXELS_PER_SAMPLE = 25
#: Spots of a chip that are explained together, evenly from dark to bright.
_SPOTS = 60
#: Error of a channel on its own, as a share of full scale: noise, coding, stray light.
_U_CHANNEL = 0.003
#: No channel off, then each in turn, (4, 1, 3).
_CHANNELS_OFF = np.eye(4, 3, k=-1, dtype=np.float32)[:, None]
#: A chip's border is at most so many pixels away from nine tenths of a narrow one.
_NARROW_PX, _NARROW_RANK = 3.0, 90
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
#: With a neutral that a person pointed at: of unknown hue by some units, in one spot of the
#: light, and without a black that stray light could be told by. Ours, no source.
U_TAPPED = 8.0
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


def _pixels(linear: Linear3, mask: BoolMask) -> Linear3:
    """Return up to 4000 pixels, (N, 3), evenly drawn from the inside of the mask."""
    where = np.flatnonzero(_inner(mask))
    if len(where) < _PIXELS_MIN:
        where = np.flatnonzero(mask)
    if len(where) > _PIXELS_MAX:
        where = where[np.linspace(0, len(where) - 1, _PIXELS_MAX).astype(np.intp)]
    return linear.reshape(-1, 3)[where]


def _black(pixels: Linear3) -> float:
    """Return where black lies: below 0 if what was taken off as stray light was too much.

    A card printed in grey, or something pale on its black patch, looks like stray light;
    but nothing is darker than black.
    """
    if not len(pixels):
        return 0.0
    return min(percentile(pixels @ _LUMA, 100 * _BLACKER)[0], 0.0)


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


def _away(points: npt.NDArray[np.float64], place: npt.NDArray[np.float64]) -> Float1:
    """Return (N,) distances of (N, 2) points; a third of the time of ``hypot``."""
    x, y = (points - place).T
    return np.asarray(np.sqrt(x * x + y * y))


def _is_one_tint(points: npt.NDArray[np.float64], middle: npt.NDArray[np.float64]) -> bool:
    """Tell whether the median colour is one that the chip bears."""
    reach = _ONE_TINT + _ONE_TINT_CHROMA * float(np.hypot(*middle))
    return bool((_away(points, middle) <= reach).mean() >= _ONE_TINT_SHARE)


def _is_narrow(mask: BoolMask) -> bool:
    """Tell whether the chip is so few pixels across that none is free of paper."""
    depth = cv2.distanceTransform(mask.view(np.uint8), cv2.DIST_L2, 3)
    return percentile(depth[mask], _NARROW_RANK)[0] < _NARROW_PX


def _fix_of(
    pixels: Linear3,
    clip_level: Float1,
    *,
    family: str | None,
    u_colour: float,
    narrow: bool,
) -> FilmFix | None:
    """Read the film of a chip's pixels, (N, 3), taken together."""
    order = np.argsort(pixels @ _LUMA, kind="stable")
    some = pixels[
        order[np.linspace(0, len(order) - 1, min(len(order), _SPOTS)).astype(np.intp)]
    ]
    # A camera's channel that is cut at black says how dark it is at most.
    least = (_U_CHANNEL * clip_level).astype(np.float32)
    some = np.maximum(some, least)
    # As they are, and with each channel in turn off by its error.
    points, *off = exposure_free(lab_from_linear(some + least * _CHANNELS_OFF))
    return film_from_colours(
        points,
        np.sqrt(((off - points) ** 2).sum(axis=0)),
        family=family,
        u_colour=u_colour,
        luminance=median(some @ _LUMA),
        narrow=narrow,
    )


def _quartiles_nm(
    points: npt.NDArray[np.float64], family: str | None
) -> tuple[float, float] | None:
    """Return the quartiles of the films of single pixels, or ``None`` if few are films."""
    some = points[np.linspace(0, len(points) - 1, min(len(points), _SINGLES)).astype(np.intp)]
    films, distance = films_near(some, family=family)
    on = distance <= _NEAR
    if on.mean() < _SINGLES_SHARE:
        return None
    low, high = percentile(films[on], 25, 75)
    return low, high


def _share_tinted(points: npt.NDArray[np.float64], family: str | None, u: float) -> Measured:
    """Return the share of the visible surface as deep as pale straw or deeper."""
    curve = curve_of(family)
    clear, films = curve.points[0, 0], TINT_FILM_NM["steel" if family is None else family]
    bare, straw = clear[0], clear[int(np.searchsorted(curve.film_nm, films[1]))]
    border = float(np.hypot(*(straw - bare)))
    far = _away(points, bare)
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
    pixels = _pixels(linear, mask)
    black = _black(pixels)
    pixels = (pixels - np.float32(black)) / np.float32(1.0 - black)
    top = np.broadcast_to((np.asarray(clip_level, np.float64) - black) / (1.0 - black), 3)
    unclipped = (pixels < _CLIPPED * top).all(axis=1)
    pixels = pixels[unclipped & (pixels @ _LUMA >= _DARK)]
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
    fix = _fix_of(pixels, top, family=family, u_colour=u_colour, narrow=_is_narrow(mask))
    if fix is None:
        return unread
    if _is_one_tint(points, middle):
        return _tint(fix, typical, points, family, u_colour)
    quartiles = _quartiles_nm(points, family)
    return _tint(fix, typical, points, family, u_colour, quartiles_nm=quartiles)
