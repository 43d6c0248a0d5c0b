"""Film colours of the rendered world against open libraries: tmm and colour-science."""

from __future__ import annotations

import tomllib
from importlib.resources import files

import numpy as np
import pytest

from vision.training.films import film_colour, planck_rgb

colour = pytest.importorskip("colour", reason="colour-science is in the extra test")
tmm = pytest.importorskip("tmm", reason="tmm is in the extra test")

STACKS = [
    ("iron", "magnetite"),
    ("titanium", "titania"),
    ("stainless", "stainless_film"),
]


def lab_by_libraries(base, film, film_nm):
    table = tomllib.loads(files("vision.training").joinpath("optical.toml").read_text("utf-8"))
    waves = np.arange(380, 781, 5)

    def index(name, wave):
        n = np.interp(wave, table["wavelength_nm"], table[name]["n"])
        return n + 1j * np.interp(wave, table["wavelength_nm"], table[name]["k"])

    r = [
        tmm.coh_tmm(
            "s", [1, index(film, w), index(base, w)], [np.inf, film_nm, np.inf], 0, float(w)
        )["R"]
        for w in waves
    ]
    shape = colour.SpectralShape(380, 780, 5)
    eye = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
    light = colour.SDS_ILLUMINANTS["D65"].copy().align(shape)
    xyz = colour.sd_to_XYZ(
        colour.SpectralDistribution(dict(zip(waves, r, strict=True))),
        cmfs=eye,
        illuminant=light,
        method="Integration",
    )
    return colour.XYZ_to_Lab(xyz / 100)


@pytest.mark.parametrize(("base", "film"), STACKS)
@pytest.mark.parametrize("film_nm", [0, 12, 24, 60, 75])
def test_colour_against_libraries(base, film, film_nm):
    linear = film_colour(base, film, film_nm)
    if (linear <= 0).any():
        pytest.skip("outside sRGB, clipped on purpose")
    xyz = colour.RGB_to_XYZ(linear, "sRGB")
    here = colour.XYZ_to_Lab(xyz)
    there = lab_by_libraries(base, film, film_nm)
    # The eye functions are fits and the light is Planckian: 2 units of CIEDE2000 is
    # far below what one nm of film changes near purple (3) and enough for rendering.
    assert colour.delta_E(here, there, method="CIE 2000") < 2.0


def test_spread_dulls_purple():
    pure = film_colour("iron", "magnetite", 38, spread=0.0)
    mixed = film_colour("iron", "magnetite", 38, spread=0.15)
    assert np.ptp(mixed) < np.ptp(pure)


@pytest.mark.parametrize("kelvin", [2700, 4000, 6500])
def test_glow_against_library(kelvin):
    shape = colour.SpectralShape(380, 780, 5)
    eye = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
    glow = colour.sd_blackbody(kelvin, shape)
    xyz = colour.sd_to_XYZ(glow, cmfs=eye, method="Integration")
    rgb = colour.XYZ_to_RGB(
        xyz, "sRGB", apply_cctf_encoding=False, chromatic_adaptation_transform=None
    )
    # 5 %: accuracy of the fitted eye functions; blue under warm light is the worst
    assert planck_rgb(kelvin) == pytest.approx(rgb / rgb[1], rel=0.05, abs=0.02)
