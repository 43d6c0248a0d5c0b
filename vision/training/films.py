"""Colour of bare and heat-tinted metal for the rendered world.

A film is a stack of one layer on a metal, worked out with characteristic matrices
(Abeles) wave by wave, then seen by the scene's camera under the scene's light (or,
for comparison, by the standard eye). This is deliberately a second, separate model:
the reader's own table must not be able to agree with itself.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import numpy as np

from vision.training.noise import chance
from vision.training.sensor import smooth_reflectance
from vision.training.spectra import SRGB_FROM_XYZ, WAVES_NM, eye, glow

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import Float1
    from vision.training.sensor import Sight

__all__ = [
    "Growth",
    "TintScale",
    "draw_growth",
    "film_colour",
    "film_reflectance",
    "tint_scale",
]

_D65_XYZ = np.array([0.9505, 1.0, 1.089])
_BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)
#: Share of scenes in which films are no pure substance.
_MIXED = 0.4
_THICKEST_NM = 220.0


@cache
def _optical() -> dict[str, Any]:
    text = files("vision.training").joinpath("optical.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def _index(name: str) -> npt.NDArray[np.complex128]:
    """Complex index n + ik at ``WAVES_NM``."""
    table = _optical()
    waves, row = table["wavelength_nm"], table[name]
    n = np.interp(WAVES_NM, waves, row["n"])
    return np.asarray(n + 1j * np.interp(WAVES_NM, waves, row["k"]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Growth:
    """How the films of a scene differ from the tabled substance."""

    n_factor: float = 1.0
    """Index of refraction over the tabled one, 0.9 to 1.1."""
    k_factor: float = 1.0
    """Absorption over the tabled one, 0.9 to 1.1."""
    other: str | None = None
    """Second oxide mixed into the film, a name in ``optical.toml``."""
    other_share: float = 0.0
    """Its share of volume, 0 to 1."""


def draw_growth(seed: int, film: str, n_factor: float) -> Growth:
    """Draw absorption and admixture of a scene's films; the same for the same seed."""
    rng = np.random.default_rng([seed, 13])
    k_factor = float(rng.uniform(0.9, 1.1))
    mixed, share = chance(rng, _MIXED), rng.random()
    spec = _optical()["mixes"].get(film)
    if spec is None or not mixed:
        return Growth(n_factor=n_factor, k_factor=k_factor)
    low, high = spec["share"]
    return Growth(
        n_factor=n_factor,
        k_factor=k_factor,
        other=str(spec["other"]),
        other_share=float(low + share * (high - low)),
    )


def _film_index(film: str, growth: Growth) -> npt.NDArray[np.complex128]:
    """Index of the film; mixtures by volume in the dielectric function (an approximation)."""
    index = _index(film)
    if growth.other is not None:
        s = growth.other_share
        index = np.sqrt((1 - s) * index**2 + s * _index(growth.other) ** 2)
    return np.asarray(index.real * growth.n_factor + 1j * index.imag * growth.k_factor)


def film_reflectance(
    base: str, film: str, film_nm: Float1, growth: Growth | None = None, spread: float = 0.0
) -> npt.NDArray[np.float64]:
    """Share of light that a metal under an oxide film returns at normal incidence.

    Parameters
    ----------
    base, film : names in ``optical.toml``.
    film_nm : (M,) film thickness, 0 to 300 nm.
    growth : how the film differs from the table; as tabled by default.
    spread : standard deviation of the thickness inside a spot, as a share of it.

    Returns
    -------
    (M, N) for ``WAVES_NM``.
    """
    metal, layer = _index(base), _film_index(film, growth or Growth())
    steps = np.linspace(-2, 2, 9) if spread > 0 else np.zeros(1)
    weight = np.exp(-0.5 * steps**2) / np.exp(-0.5 * steps**2).sum()
    thick = film_nm[:, None] * np.maximum(0.0, 1 + spread * steps)
    phase = 2 * np.pi * layer * thick[:, :, None] / WAVES_NM
    c, s = np.cos(phase), np.sin(phase)
    # time factor exp(-i w t): absorbing index n + ik, layer matrix with -i
    b = c - 1j * s / layer * metal
    d = -1j * layer * s + c * metal
    return np.asarray(np.einsum("k,mkn->mn", weight, np.abs((b - d) / (b + d)) ** 2))


def film_colour(
    base: str,
    film: str,
    film_nm: float,
    *,
    kelvin: float = 6504.0,
    n_factor: float = 1.0,
    spread: float = 0.0,
) -> Float1:
    """Linear sRGB reflectance of a metal under a film, to the standard eye.

    Parameters
    ----------
    base, film, film_nm, spread : as for :func:`film_reflectance`.
    kelvin : temperature of the Planckian light; the result is adapted to D65.
    n_factor : the film's index is multiplied by this (films differ, about 0.9-1.1).

    Notes
    -----
    Not to be trusted as a colour standard: light is Planckian, eye functions are fits.
    """
    growth = Growth(n_factor=n_factor, k_factor=n_factor)
    r = film_reflectance(base, film, np.array([film_nm]), growth, spread)[0]
    light = glow(kelvin)
    white = eye() @ light
    xyz, white = eye() @ (light * r) / white[1], white / white[1]
    gain = (_BRADFORD @ _D65_XYZ) / (_BRADFORD @ white)
    adapted = np.linalg.inv(_BRADFORD) @ (gain * (_BRADFORD @ xyz))
    return np.asarray(np.clip(SRGB_FROM_XYZ @ adapted, 0.0, 1.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class TintScale:
    """Colours of one metal by film thickness: ``rgb[i]`` belongs to ``film_nm[i]``."""

    film_nm: Float1
    rgb: npt.NDArray[np.float64]

    def at(self, film_nm: Float1) -> npt.NDArray[np.float64]:
        """Linear sRGB reflectance, (N, 3), at given thicknesses."""
        return np.stack([np.interp(film_nm, self.film_nm, self.rgb[:, k]) for k in range(3)], 1)


def tint_scale(
    metal: dict[str, Any], seen: Sight, *, seed: int, n_factor: float, spread: float
) -> TintScale:
    """Colours of a metal of ``families.toml`` for films of 0 to 220 nm, as a camera sees it.

    ``seed`` is the scene's: all its films of one kind have grown alike.
    """
    film_nm = np.arange(0.0, _THICKEST_NM + 1, 4.0)
    if "rgb" in metal:
        r = np.tile(smooth_reflectance(np.array(metal["rgb"])), (len(film_nm), 1))
    else:
        film = metal.get("film", "magnetite")
        growth = draw_growth(seed, film, n_factor)
        r = film_reflectance(metal["base"], film, film_nm, growth, spread)
    return TintScale(
        film_nm=film_nm, rgb=np.clip(seen.surface(r * float(metal["dull"])), 0.0, 1.0)
    )
