"""Film colours against open libraries: ``tmm`` and ``colour-science``, extra ``test``."""

from __future__ import annotations

import tomllib
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import numpy as np

from vision.training.films import film_colour

if TYPE_CHECKING:
    from collections.abc import Iterable

    import numpy.typing as npt

__all__ = ["FILM_GAP_MAX", "film_gaps", "gaps_of_some"]

#: Colour difference, CIEDE2000: eye functions are fits, one nm of film is 3 near purple.
FILM_GAP_MAX = 2.0
_MOST_FILMS = 40


def film_gaps(films: Iterable[tuple[str, str, int]]) -> dict[tuple[str, str, int], float]:
    """Return CIEDE2000 between our film colours and those of tmm with colour-science.

    Films whose colour lies outside sRGB are left out: there ours is clipped on purpose.
    """
    import colour  # noqa: PLC0415 - extra "test"

    gaps = {}
    for base, film, nm in films:
        linear = film_colour(base, film, float(nm))
        if (linear <= 0).any():
            continue
        here = colour.XYZ_to_Lab(colour.RGB_to_XYZ(linear, "sRGB"))
        there = _library_lab(base, film, float(nm))
        gaps[base, film, nm] = float(colour.delta_E(here, there, method="CIE 2000"))
    return gaps


def _library_lab(base: str, film: str, film_nm: float) -> Any:  # noqa: ANN401 - untyped
    """CIELAB of a film under D65 as open libraries see it."""
    import colour  # noqa: PLC0415
    import tmm  # type: ignore[import-untyped]  # noqa: PLC0415

    table = tomllib.loads(files("vision.training").joinpath("optical.toml").read_text("utf-8"))
    waves = np.arange(380.0, 781.0, 5.0)

    def index(name: str) -> npt.NDArray[np.complex128]:
        n, k = (np.interp(waves, table["wavelength_nm"], table[name][part]) for part in "nk")
        return np.asarray(n + 1j * k)

    layer, metal = index(film), index(base)
    stack = [np.inf, film_nm, np.inf]
    share = {
        float(w): tmm.coh_tmm("s", [1, f, m], stack, 0, float(w))["R"]
        for w, f, m in zip(waves, layer, metal, strict=True)
    }
    shape = colour.SpectralShape(380, 780, 5)
    eye = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
    xyz = colour.sd_to_XYZ(
        colour.SpectralDistribution(share),
        cmfs=eye,
        illuminant=colour.SDS_ILLUMINANTS["D65"].copy().align(shape),
        method="Integration",
    )
    return colour.XYZ_to_Lab(xyz / 100)


def _some(films: set[tuple[str, str, int]]) -> list[tuple[str, str, int]]:
    """Return films spread evenly over what was met, by metal and thickness."""
    ranked = sorted(films)
    step = max(1, -(-len(ranked) // _MOST_FILMS))
    return ranked[::step]


def gaps_of_some(films: set[tuple[str, str, int]]) -> dict[tuple[str, str, int], float]:
    """Return the colour gaps of some films of a set; empty where the libraries are missing."""
    try:
        return film_gaps(_some(films))
    except ImportError:
        return {}
