"""Colour of bare and heat-tinted metal for the rendered world.

A film is a stack of one layer on a metal, worked out with characteristic matrices
(Abeles) wave by wave, weighted with the light of the scene and turned into linear
sRGB. This is deliberately a second, separate model: the reader's own table must not
be able to agree with itself. Eye functions are the multi-lobe fits of Wyman, Sloan
and Shirley (JCGT 2/2, 2013; coefficients from memory, checked against the CIE table
in the tests).
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import Float1

__all__ = ["TintScale", "film_colour", "planck_rgb", "tint_scale"]

_WAVES_NM = np.arange(380.0, 781.0, 5.0)
#: IEC 61966-2-1, XYZ to linear sRGB.
_SRGB_FROM_XYZ = np.array(
    [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]]
)
_D65_XYZ = np.array([0.9505, 1.0, 1.089])
_BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)


@cache
def _optical() -> dict[str, Any]:
    text = files("vision.training").joinpath("optical.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def _index(name: str) -> npt.NDArray[np.complex128]:
    table = _optical()
    waves, row = table["wavelength_nm"], table[name]
    n = np.interp(_WAVES_NM, waves, row["n"])
    return np.asarray(n + 1j * np.interp(_WAVES_NM, waves, row["k"]))


def _lobe(x: Float1, centre: float, left: float, right: float) -> Float1:
    width = np.where(x < centre, left, right)
    return np.asarray(np.exp(-0.5 * ((x - centre) / width) ** 2))


def _eye(x: Float1) -> npt.NDArray[np.float64]:
    """CIE 1931 colour matching functions, (3, N)."""
    xbar = 1.056 * _lobe(x, 599.8, 37.9, 31.0) + 0.362 * _lobe(x, 442.0, 16.0, 26.7)
    xbar = xbar - 0.065 * _lobe(x, 501.1, 20.4, 26.2)
    ybar = 0.821 * _lobe(x, 568.8, 46.9, 40.5) + 0.286 * _lobe(x, 530.9, 16.3, 31.1)
    zbar = 1.217 * _lobe(x, 437.0, 11.8, 36.0) + 0.681 * _lobe(x, 459.0, 26.0, 13.8)
    return np.stack([xbar, ybar, zbar])


def _planck(kelvin: float) -> Float1:
    metres = _WAVES_NM * 1e-9
    return np.asarray(metres**-5 / np.expm1(1.4388e-2 / (metres * kelvin)))


def planck_rgb(kelvin: float) -> Float1:
    """Colour of a glowing body in linear sRGB, green = 1."""
    rgb = _SRGB_FROM_XYZ @ (_eye(_WAVES_NM) @ _planck(kelvin))
    return np.asarray(np.maximum(rgb / rgb[1], 0.02))


def _reflectance(
    film: npt.NDArray[np.complex128], metal: npt.NDArray[np.complex128], film_nm: float
) -> Float1:
    phase = 2 * np.pi * film * film_nm / _WAVES_NM
    c, s = np.cos(phase), np.sin(phase)
    # time factor exp(-i w t): absorbing index n + ik, layer matrix with -i
    b = c - 1j * s / film * metal
    d = -1j * film * s + c * metal
    return np.asarray(np.abs((b - d) / (b + d)) ** 2)


def film_colour(
    base: str,
    film: str,
    film_nm: float,
    *,
    kelvin: float = 6504.0,
    n_factor: float = 1.0,
    spread: float = 0.0,
) -> Float1:
    """Linear sRGB reflectance of a metal under an oxide film, at normal incidence.

    Parameters
    ----------
    base, film : names in ``optical.toml``.
    film_nm : film thickness, 0 to 300 nm.
    kelvin : temperature of the Planckian light; the result is adapted to D65.
    n_factor : the film's index is multiplied by this (films differ, about 0.9-1.1).
    spread : standard deviation of the thickness inside a spot, as a share of it.

    Notes
    -----
    Not to be trusted as a colour standard: light is Planckian, eye functions are fits.
    """
    metal, layer = _index(base), _index(film) * n_factor
    steps = np.linspace(-2, 2, 9) if spread > 0 else np.zeros(1)
    weight = np.exp(-0.5 * steps**2) / np.exp(-0.5 * steps**2).sum()
    r = sum(
        w * _reflectance(layer, metal, film_nm * max(0.0, 1 + spread * k))
        for k, w in zip(steps, weight, strict=True)
    )
    light = _planck(kelvin)
    eye = _eye(_WAVES_NM)
    white = eye @ light
    xyz, white = eye @ (light * r) / white[1], white / white[1]
    gain = (_BRADFORD @ _D65_XYZ) / (_BRADFORD @ white)
    adapted = np.linalg.inv(_BRADFORD) @ (gain * (_BRADFORD @ xyz))
    return np.asarray(np.clip(_SRGB_FROM_XYZ @ adapted, 0.0, 1.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class TintScale:
    """Colours of one metal by film thickness: ``rgb[i]`` belongs to ``film_nm[i]``."""

    film_nm: Float1
    rgb: npt.NDArray[np.float64]

    def at(self, film_nm: Float1) -> npt.NDArray[np.float64]:
        """Linear sRGB reflectance, (N, 3), at given thicknesses."""
        return np.stack([np.interp(film_nm, self.film_nm, self.rgb[:, k]) for k in range(3)], 1)


def tint_scale(
    metal: dict[str, Any], *, kelvin: float, n_factor: float, spread: float
) -> TintScale:
    """Colours of a metal of ``families.toml`` for films of 0 to 220 nm."""
    film_nm = np.arange(0.0, 221.0, 4.0)
    dull = float(metal["dull"])
    if "rgb" in metal:
        rgb = np.tile(np.array(metal["rgb"]), (len(film_nm), 1))
    else:
        film = metal.get("film", "magnetite")
        rgb = np.stack(
            [
                film_colour(
                    metal["base"], film, d, kelvin=kelvin, n_factor=n_factor, spread=spread
                )
                for d in film_nm
            ]
        )
    return TintScale(film_nm=film_nm, rgb=rgb * dull)
