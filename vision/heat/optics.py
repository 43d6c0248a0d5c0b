"""Colour of a thin oxide film on metal: reflectance of one layer, then CIELAB.

Not in here: going back from a colour to a thickness (``film``), names, degrees.
Sources: M. Born and E. Wolf, *Principles of Optics*, one film on a substrate (from
memory, checked against an open library in the tests); CIE 015:2018 for XYZ and CIELAB;
n and k as listed at the head of ``vision/data/optics.csv``.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import Float1

__all__ = [
    "MATERIALS",
    "STAINLESS_OXIDE_INDEX",
    "WAVES_NM",
    "film_lab",
    "lab_from_xyz",
    "mixed_index",
    "reflectance",
    "refractive_index",
    "spread_thicknesses",
    "xyz_from_reflectance",
]

#: Wavelengths of all spectra here, nm.
WAVES_NM: Float1 = np.arange(380.0, 781.0, 5.0)

#: Oxide on 18-8 steel: a guess that brackets published films (n 2.2 to 2.6); no source.
STAINLESS_OXIDE_INDEX = 2.45 + 0.07j
#: Shares of the dielectric functions of Fe, Cr, Ni for an 18-8 steel; ours, no source.
_STAINLESS_MIX = {"fe": 0.74, "cr": 0.18, "ni": 0.08}

#: Names that :func:`refractive_index` knows.
MATERIALS: tuple[str, ...] = (
    "tio2",
    "rutile_o",
    "rutile_e",
    "ti",
    "fe",
    "fe3o4",
    "fe2o3",
    "cr",
    "ni",
    "stainless",
    "stainless_oxide",
)

#: Thickness is never the same all over a chip: standard deviation as a share of it.
_SPREAD_STEPS, _SPREAD_REACH = 21, 2.5
_LAB_EPSILON, _LAB_KAPPA = (6 / 29) ** 3, 841 / 108


@cache
def _table(name: str) -> dict[str, Float1]:
    text = files("vision.data").joinpath(name).read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    rows = np.array([[float(x) for x in line.split(",")] for line in lines[1:]])
    return dict(zip(lines[0].split(","), rows.T, strict=True))


def refractive_index(material: str) -> npt.NDArray[np.complex128]:
    """Return n + ik of a material at :data:`WAVES_NM`.

    Parameters
    ----------
    material : str
        One of :data:`MATERIALS`.

    Returns
    -------
    (81,) complex128
        Straight lines between the table's 20 nm steps; against finer data this moves
        the colour of a film by at most 1 unit of CIELAB.

    Raises
    ------
    KeyError
        If the material is not in the table.

    Notes
    -----
    Not to be trusted for: ``stainless``, a mix of pure metals by share, and
    ``stainless_oxide``, one constant for a layered film that nobody measured here.
    """
    if material == "stainless_oxide":
        return np.full(WAVES_NM.shape, STAINLESS_OXIDE_INDEX)
    if material == "stainless":
        parts = (share * refractive_index(m) ** 2 for m, share in _STAINLESS_MIX.items())
        return np.asarray(np.sqrt(sum(parts)), dtype=np.complex128)
    table = _table("optics.csv")
    n = np.interp(WAVES_NM, table["nm"], table[f"{material}_n"])
    return np.asarray(n + 1j * np.interp(WAVES_NM, table["nm"], table[f"{material}_k"]))


def mixed_index(material: str, other: str | None, share: float) -> npt.NDArray[np.complex128]:
    """Return n + ik of two substances grown together, at :data:`WAVES_NM`.

    Parameters
    ----------
    material, other : str
        Names of :data:`MATERIALS`; without ``other`` the first alone.
    share : float, 0 to 1
        Share of volume of ``other``.

    Notes
    -----
    Dielectric functions are added by volume, the simplest rule of mixture; real films lie
    in layers. Not to be trusted for: grains as large as a wavelength.
    """
    if other is None or share <= 0:
        return refractive_index(material)
    first, second = refractive_index(material) ** 2, refractive_index(other) ** 2
    return np.asarray(np.sqrt((1 - share) * first + share * second), dtype=np.complex128)


def reflectance(
    film_index: npt.ArrayLike,
    base_index: npt.ArrayLike,
    *,
    film_nm: npt.ArrayLike,
    wave_nm: npt.ArrayLike,
    angle_deg: float = 0.0,
    polarisation: Literal["mean", "s", "p"] = "mean",
) -> npt.NDArray[np.float64]:
    """Return the share of light that a film on metal sends back in air.

    Airy's sum over all reflections inside one layer with plane, parallel faces.

    Parameters
    ----------
    film_index, base_index : complex, broadcastable
        n + ik (k not negative) of film and metal.
    film_nm : float, broadcastable, nm, >= 0
    wave_nm : float, broadcastable, nm
        Wavelength in air.
    angle_deg : float, degrees, [0, 90)
        Between the light and the normal of the surface.
    polarisation : {"mean", "s", "p"}
        ``mean`` is unpolarised light.

    Returns
    -------
    ndarray of float64, 0 to 1

    Notes
    -----
    Not to be trusted for: rough or scaly films, or films thicker than some 300 nm,
    which scatter rather than interfere.

    Examples
    --------
    >>> round(float(reflectance(2.4, 2.6 + 3.6j, film_nm=50, wave_nm=550)), 4)
    0.1376
    """
    if polarisation == "mean" and angle_deg:
        both = [
            reflectance(
                film_index,
                base_index,
                film_nm=film_nm,
                wave_nm=wave_nm,
                angle_deg=angle_deg,
                polarisation=one,
            )
            for one in ("s", "p")
        ]
        return np.asarray((both[0] + both[1]) / 2)
    n1 = np.asarray(film_index, dtype=np.complex128)
    n2 = np.asarray(base_index, dtype=np.complex128)
    sine = np.sin(np.radians(angle_deg))
    cosines = [np.sqrt(1 - (sine / n) ** 2 + 0j) for n in (np.complex128(1), n1, n2)]
    indices = (np.complex128(1), n1, n2)
    if polarisation == "p":
        y0, y1, y2 = (n / c for n, c in zip(indices, cosines, strict=True))
    else:
        y0, y1, y2 = (n * c for n, c in zip(indices, cosines, strict=True))
    top, bottom = (y0 - y1) / (y0 + y1), (y1 - y2) / (y1 + y2)
    turn = np.exp(4j * np.pi * n1 * cosines[1] * np.asarray(film_nm) / np.asarray(wave_nm))
    return np.asarray(np.abs((top + bottom * turn) / (1 + top * bottom * turn)) ** 2)


def xyz_from_reflectance(spectrum: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Return XYZ under D65, 2-degree observer; a perfect white has Y = 100.

    Parameters
    ----------
    spectrum : (..., 81) float
        Reflectance at :data:`WAVES_NM`.

    Returns
    -------
    (..., 3) float64
    """
    eye = _table("observer.csv")
    weights = np.stack([eye[k] * eye["d65"] for k in ("x", "y", "z")], axis=1)
    return np.asarray(np.asarray(spectrum) @ weights * (100 / weights[:, 1].sum()))


def lab_from_xyz(xyz: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Convert XYZ under D65 to CIELAB; the white is a perfect white in the same sum.

    Parameters
    ----------
    xyz : (..., 3) float, white has Y = 100

    Returns
    -------
    (..., 3) float64
        L*, a*, b*.

    References
    ----------
    CIE 015:2018, 8.2.1.
    """
    t = np.asarray(xyz) / xyz_from_reflectance(np.ones(WAVES_NM.shape))
    f = np.where(t > _LAB_EPSILON, np.cbrt(t), _LAB_KAPPA * t + 4 / 29)
    x, y, z = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def spread_thicknesses(film_nm: float, spread: float) -> tuple[Float1, Float1]:
    """Return thicknesses in nm and weights that stand for an uneven film.

    A normal distribution with standard deviation ``spread * film_nm``, cut at 2.5
    standard deviations, in 21 equal steps; one step where there is no spread.
    """
    if spread <= 0 or film_nm <= 0:
        return np.array([film_nm]), np.ones(1)
    steps = np.linspace(-_SPREAD_REACH, _SPREAD_REACH, _SPREAD_STEPS)
    weights = np.exp(-0.5 * steps**2)
    return np.maximum(film_nm * (1 + spread * steps), 0.0), weights / weights.sum()


def film_lab(
    film: str,
    base: str,
    *,
    film_nm: npt.ArrayLike,
    spread: float = 0.0,
    second: tuple[str, float] | None = None,
) -> npt.NDArray[np.float64]:
    """Return the colour of an oxide film on a metal, D65, 2 degrees, normal incidence.

    Parameters
    ----------
    film, base : str
        Names of :data:`MATERIALS`.
    film_nm : float or (N,), nm, >= 0
        Mean thickness.
    spread : float, 0 to 0.4
        Standard deviation of the thickness within one spot, as a share of it. Some
        15 % is our assumption for chips; it greys purple and blue by a quarter.
    second : (str, float), optional
        Another oxide in the film and its share of volume, see :func:`mixed_index`.

    Returns
    -------
    (3,) or (N, 3) float64
        L*, a*, b*, relative to a perfect white mirror.

    Notes
    -----
    Not to be trusted for: lightness on a photo (a chip mirrors whatever is above
    it), nor second-order colours on steel, where thick scale is plain grey.

    Examples
    --------
    >>> film_lab("tio2", "ti", film_nm=0.0).round(0).tolist()
    [81.0, 1.0, 4.0]
    """
    n1, n2 = mixed_index(film, *(second or (None, 0.0))), refractive_index(base)
    spectra = []
    for d in np.atleast_1d(np.asarray(film_nm, dtype=np.float64)):
        thick, weights = spread_thicknesses(float(d), spread)
        r = reflectance(n1, n2, film_nm=thick[:, None], wave_nm=WAVES_NM)
        spectra.append(weights @ r)
    lab = lab_from_xyz(xyz_from_reflectance(np.stack(spectra)))
    return lab[0] if np.ndim(film_nm) == 0 else lab
