"""What the camera's sensor makes of spectra: surfaces and lamps in linear sRGB.

Sensitivities are our own: sums of bell curves with peaks and widths drawn per scene
and a cut towards infrared. Plausible for phones, no source. The camera turns its raw
colours into sRGB with a 3 x 3 matrix that was fitted on smooth surfaces under a
glowing body of the light's colour temperature: it knows no more about the lamp, so
colours under tubes and LEDs come out a little wrong, as in every phone.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.special import expit

from vision.training.spectra import (
    SRGB_FROM_XYZ,
    WAVES_NM,
    eye,
    glow,
    illuminant,
    illuminant_kelvin,
)

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import Float1
    from vision.training.scenes import Scene

__all__ = ["Sight", "draw_sensor", "sight", "sight_of", "smooth_reflectance"]

#: Widths (standard deviation, nm) of the three sensitivities.
_WIDTHS_NM = (38.0, 40.0, 29.0)
#: No lamp's colour falls below this share of green in sRGB; deeper ones are clipped.
_LEAST_GLOW = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Sight:
    """A sensor that is white-balanced for one light.

    ``curves`` (3, N) sensitivities, ``white`` (N,) the light, ``matrix`` (3, 3) from
    balanced raw colours to linear sRGB; its rows add up to 1, so white stays white.
    """

    curves: npt.NDArray[np.float64]
    white: Float1
    matrix: npt.NDArray[np.float64]

    def surface(self, reflectance: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Linear sRGB (..., 3) of surfaces (..., N) in this light; may leave 0...1."""
        return self._srgb(reflectance * self.white)

    def lamp(self, spectrum: Float1) -> Float1:
        """Linear sRGB of another lamp beside this one's white, green = 1."""
        rgb = self._srgb(spectrum)
        return np.asarray(np.maximum(rgb / rgb[1], _LEAST_GLOW))

    def _srgb(self, light: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        raw = light @ self.curves.T / (self.curves @ self.white)
        return np.asarray(raw @ self.matrix.T)


def draw_sensor(rng: np.random.Generator, camera: dict[str, Any]) -> npt.NDArray[np.float64]:
    """Draw sensitivities (3, N) of a camera family: red, green, blue; highest value 1."""
    cut = expit((rng.uniform(655, 690) - WAVES_NM) / 8) * expit((WAVES_NM - 405) / 6)
    curves = []
    for peak, width in zip(camera["sensor_nm"], _WIDTHS_NM, strict=True):
        centre = peak + rng.normal(0, 3.0)
        bell = np.exp(-0.5 * ((WAVES_NM - centre) / (width * rng.uniform(0.88, 1.12))) ** 2)
        # dyes leak: each filter lets a little of everything through
        leak = rng.uniform(0.01, 0.05) + 0.06 * rng.random() * np.exp(
            -0.5 * ((WAVES_NM - rng.uniform(420, 640)) / 40) ** 2
        )
        curve = (bell + leak) * cut
        curves.append(curve / curve.max())
    return np.stack(curves)


def sight(curves: npt.NDArray[np.float64], white: Float1, kelvin: float) -> Sight:
    """White-balance a sensor for a light and fit its matrix for that colour temperature."""
    guess = glow(kelvin)
    charts = _charts()
    raw = (charts * guess) @ curves.T / (curves @ guess)
    wanted = _eye_srgb(charts)
    # rows add up to one: fit colour differences to green, not the levels
    away = raw[:, [0, 2]] - raw[:, 1:2]
    fit = np.linalg.lstsq(away, wanted - raw[:, 1:2], rcond=None)[0].T
    matrix = np.column_stack([fit[:, 0], 1 - fit.sum(axis=1), fit[:, 1]])
    return Sight(curves=curves, white=white, matrix=matrix)


def sight_of(scene: Scene) -> Sight:
    """How the camera of a scene sees under its main light; the same for the same seed."""
    rng = np.random.default_rng([scene.seed, 17])
    name = scene.light.spectrum
    return sight(draw_sensor(rng, scene.camera[1]), illuminant(name), illuminant_kelvin(name))


def _eye_srgb(reflectance: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Linear sRGB of surfaces (..., N) in daylight D65 to the standard eye."""
    light = illuminant("D65")
    to_srgb = SRGB_FROM_XYZ @ eye()
    return np.asarray((reflectance * light) @ to_srgb.T / (to_srgb @ light))


@cache
def _charts() -> npt.NDArray[np.float64]:
    """Smooth reflectances, (M, N): greys, hills, hollows and steps all over the range."""
    rows = [np.full(len(WAVES_NM), level) for level in (0.1, 0.3, 0.6, 0.9)]
    for centre in np.arange(410, 691, 20):
        for width in (30, 60):
            hill = np.exp(-0.5 * ((WAVES_NM - centre) / width) ** 2)
            rows += [0.08 + 0.6 * hill, 0.75 - 0.6 * hill]
        for width in (12, 35):
            step = expit((WAVES_NM - centre) / width)
            rows += [0.06 + 0.7 * step, 0.76 - 0.7 * step]
    return np.stack(rows)


def smooth_reflectance(rgb: npt.NDArray[np.float64]) -> Float1:
    """Find a smooth spectrum, 0...1, of a given linear sRGB colour in daylight."""
    low, high = expit((495 - WAVES_NM) / 18), expit((WAVES_NM - 585) / 18)
    basis = np.stack([high, 1 - low - high, low])
    weights = np.linalg.solve(_eye_srgb(basis).T, rgb)
    return np.asarray(np.clip(weights @ basis, 0.0, 1.0))
