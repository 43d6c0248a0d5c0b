"""Spectra of light and the standard eye, all on one grid of wavelengths.

Eye functions are the multi-lobe fits of Wyman, Sloan and Shirley (JCGT 2/2, 2013;
coefficients from memory, checked against the CIE table in the tests).
"""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import Float1

__all__ = ["SRGB_FROM_XYZ", "WAVES_NM", "eye", "glow", "illuminant", "illuminant_kelvin"]

WAVES_NM = np.arange(380.0, 781.0, 5.0)
#: IEC 61966-2-1, XYZ to linear sRGB.
SRGB_FROM_XYZ = np.array(
    [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]]
)


@cache
def _illuminants() -> dict[str, Any]:
    text = files("vision.training").joinpath("illuminants.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def illuminant(name: str) -> Float1:
    """Relative power of a CIE illuminant at ``WAVES_NM``."""
    return np.array(_illuminants()[name]["value"], dtype=float)


def illuminant_kelvin(name: str) -> float:
    """Correlated colour temperature of a CIE illuminant."""
    return float(_illuminants()[name]["kelvin"])


def glow(kelvin: float) -> Float1:
    """Planck's radiation at ``WAVES_NM``, relative."""
    metres = WAVES_NM * 1e-9
    return np.asarray(metres**-5 / np.expm1(1.4388e-2 / (metres * kelvin)))


def _lobe(x: Float1, centre: float, left: float, right: float) -> Float1:
    width = np.where(x < centre, left, right)
    return np.asarray(np.exp(-0.5 * ((x - centre) / width) ** 2))


@cache
def eye() -> npt.NDArray[np.float64]:
    """CIE 1931 colour matching functions at ``WAVES_NM``, (3, N)."""
    x = WAVES_NM
    xbar = 1.056 * _lobe(x, 599.8, 37.9, 31.0) + 0.362 * _lobe(x, 442.0, 16.0, 26.7)
    xbar = xbar - 0.065 * _lobe(x, 501.1, 20.4, 26.2)
    ybar = 0.821 * _lobe(x, 568.8, 46.9, 40.5) + 0.286 * _lobe(x, 530.9, 16.3, 31.1)
    zbar = 1.217 * _lobe(x, 437.0, 11.8, 36.0) + 0.681 * _lobe(x, 459.0, 26.0, 13.8)
    return np.stack([xbar, ybar, zbar])
