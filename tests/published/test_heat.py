"""Published and independently worked values of heat tints, one row after the other.

Besides the rows of ``heat.toml``, reflectances and colours are compared live with two
open libraries: ``tmm`` (transfer matrices) and ``colour-science``.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest
import tmm
from skimage.color import deltaE_ciede2000

from vision.heat import kinetics
from vision.heat.film import exposure_free
from vision.heat.names import TINT_FILM_NM
from vision.heat.optics import (
    WAVES_NM,
    film_lab,
    lab_from_xyz,
    reflectance,
    refractive_index,
    spread_thicknesses,
    xyz_from_reflectance,
)
from vision.heat.temperature import HOT_SECONDS, likely_c, table_c, temperature_of
from vision.photo import colour as photo_colour
from vision.records import Measured

CASES = tomllib.loads(Path(__file__).with_name("heat.toml").read_text(encoding="utf-8"))["case"]
NK = tomllib.loads(Path(__file__).with_name("nk.toml").read_text(encoding="utf-8"))
#: Whites of the illuminants from the chromaticities in CIE 015:2018, table 1.
WHITE_A = np.array([0.44758 / 0.40745, 1.0, (1 - 0.44758 - 0.40745) / 0.40745])
WHITE_D65 = np.array([0.3127 / 0.3290, 1.0, (1 - 0.3127 - 0.3290) / 0.3290])


def _index(pair):
    return complex(*pair)


def _reflectance(film, base, film_nm, **more):
    return [reflectance(_index(film), _index(base), film_nm=film_nm, wave_nm=550.0, **more)]


def _constant_film_lab(film, base, film_nm):
    r = reflectance(_index(film), _index(base), film_nm=film_nm, wave_nm=WAVES_NM)
    return lab_from_xyz(xyz_from_reflectance(r))


def _luminance(film, base, film_nm):
    r = reflectance(
        refractive_index(film), refractive_index(base), film_nm=film_nm, wave_nm=WAVES_NM
    )
    return [xyz_from_reflectance(r)[1]]


def _blue_from_nm(film, base):
    films = np.arange(20.0, 50.0, 0.1)
    b = film_lab(film, base, film_nm=films)[:, 2]
    return [films[np.flatnonzero((b[:-1] > 0) & (b[1:] <= 0))[0]]]


def _srgb_lab(rgb):
    linear = photo_colour.linear_from_rgb(np.array([[rgb]], dtype=np.uint8))
    return photo_colour.lab_from_linear(linear)[0, 0]


def _adapt_a_to_d65(xyz):
    """Von Kries with the cone responses that the photo's profiles are adapted with."""
    cones = photo_colour._BRADFORD
    gain = (cones @ WHITE_D65) / (cones @ WHITE_A)
    return np.linalg.inv(cones) @ (gain * (cones @ np.array(xyz)))


def _likely_band_c(film_nm, family):
    return [
        likely_c(film_nm, family, max(HOT_SECONDS))[0],
        likely_c(film_nm, family, min(HOT_SECONDS))[1],
    ]


FUNCTIONS = {
    "reflectance": _reflectance,
    "constant_film_lab": _constant_film_lab,
    "film_lab": film_lab,
    "luminance": _luminance,
    "blue_from_nm": _blue_from_nm,
    "srgb_lab": _srgb_lab,
    "ciede2000": lambda lab_1, lab_2: [deltaE_ciede2000(np.array(lab_1), np.array(lab_2))],
    "adapt_a_to_d65": _adapt_a_to_d65,
    "table_c": lambda film_nm, family: [table_c(film_nm, family)],
    "energy_kj_mol": lambda **k: [kinetics.activation_energy_j_mol(**k) / 1000],
    "titanium_film_nm": lambda **k: [kinetics.TITANIUM.film_nm(**k)],
    "titanium_c": lambda **k: [kinetics.TITANIUM.temperature_c(**k)],
    "iron_scale_c": lambda **k: [kinetics.IRON_SCALE.temperature_c(**k)],
    "iron_temper_c": lambda **k: [kinetics.IRON_TEMPER.temperature_c(**k)],
    "same_film_c": lambda **k: [kinetics.same_film_c(**k)],
    "seconds_at_peak": lambda **k: [kinetics.seconds_at_peak(**k)],
    "titania_nm": lambda **k: [kinetics.titania_nm(**k)],
    "likely_band_c": _likely_band_c,
}


def test_every_row_says_where_it_comes_from_and_why_its_tolerance():
    names = [case["id"] for case in CASES]
    assert len(names) == len(set(names))
    for case in CASES:
        for key in ("source", "where", "why"):
            assert case[key].strip(), f"{case['id']} lacks {key}"
        assert case["obtained"] in {"read", "hand", "library"}
        assert case["atol"] > 0


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["id"])
def test_published_value(case):
    inputs = dict(case["inputs"])
    if case["function"] == "film_lab":
        ours = film_lab(inputs["film"], inputs["base"], film_nm=inputs["film_nm"])
    else:
        ours = FUNCTIONS[case["function"]](**inputs)
    assert np.shape(ours) == np.shape(case["expect"])
    assert np.abs(np.asarray(ours) - case["expect"]).max() <= case["atol"], ours


@pytest.mark.parametrize("angle_deg", [0.0, 30.0, 60.0, 80.0])
@pytest.mark.parametrize("polarisation", ["s", "p"])
def test_reflectance_equals_the_transfer_matrix_library(rng, angle_deg, polarisation):
    # 1e-12: two exact formulas in double precision; a few hundred roundings.
    for _ in range(25):
        n1 = complex(rng.uniform(1.4, 3.4), rng.uniform(0, 1.3))
        n2 = complex(rng.uniform(0.2, 3.5), rng.uniform(1.0, 7.0))
        d, wave = rng.uniform(0, 300), rng.uniform(380, 780)
        theirs = tmm.coh_tmm(
            polarisation, [1, n1, n2], [np.inf, d, np.inf], np.radians(angle_deg), wave
        )["R"]
        ours = reflectance(
            n1, n2, film_nm=d, wave_nm=wave, angle_deg=angle_deg, polarisation=polarisation
        )
        assert ours == pytest.approx(theirs, abs=1e-12)


@pytest.mark.parametrize(
    ("film", "base"), [("tio2", "ti"), ("fe3o4", "fe"), ("stainless_oxide", "stainless")]
)
@pytest.mark.parametrize("film_nm", [0.0, 12.0, 31.0, 47.0, 85.0, 112.0])
def test_colour_equals_two_libraries_in_a_row(film, base, film_nm, colour_science):
    """Reflectance by ``tmm``, colour by ``colour-science``; only n and k are shared.

    0.02: the library's white is rounded to five figures.
    """
    c = colour_science
    n1, n2 = refractive_index(film), refractive_index(base)
    r = [
        tmm.coh_tmm("s", [1, a, b], [np.inf, film_nm, np.inf], 0, w)["R"]
        for a, b, w in zip(n1, n2, WAVES_NM, strict=True)
    ]
    spectrum = c.SpectralDistribution(dict(zip(WAVES_NM, r, strict=True)))
    shape = c.SpectralShape(380, 780, 5)
    cmfs = c.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
    d65 = c.SDS_ILLUMINANTS["D65"].copy().align(shape)
    xyz, white = (
        c.sd_to_XYZ(s, cmfs=cmfs, illuminant=d65, method="Integration")
        for s in (spectrum, c.SpectralDistribution(dict.fromkeys(WAVES_NM, 1.0)))
    )
    theirs = c.XYZ_to_Lab(xyz / 100, c.XYZ_to_xy(white / 100))
    assert film_lab(film, base, film_nm=film_nm) == pytest.approx(theirs, abs=0.02)


def test_observer_and_light_are_the_standard_tables(colour_science):
    # 1e-6 and 1e-4: our table keeps six decimals, and six figures of D65.
    c = colour_science
    cmfs = c.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    ones = np.ones(WAVES_NM.shape)
    weights = np.array([cmfs[w] * c.SDS_ILLUMINANTS["D65"][w] for w in WAVES_NM])
    white = 100 * weights.sum(axis=0) / weights[:, 1].sum()
    assert xyz_from_reflectance(ones) == pytest.approx(white, abs=1e-3)
    for k, w in enumerate(WAVES_NM):
        line = np.zeros(WAVES_NM.shape)
        line[k] = 1.0
        theirs = 100 * weights[k] / weights[:, 1].sum()
        assert xyz_from_reflectance(line) == pytest.approx(theirs, abs=1e-4), w


def test_bradford_matrix_from_a_to_d65(colour_science):
    # Row H21: 0.84467, 1.10413, 3.19359 by colour-science; 1e-4: five decimals.
    theirs = colour_science.adaptation.matrix_chromatic_adaptation_VonKries(
        WHITE_A, WHITE_D65, transform="Bradford"
    )
    ours = np.stack([_adapt_a_to_d65(unit) for unit in np.eye(3)], axis=1)
    assert ours == pytest.approx(theirs, abs=1e-4)
    assert np.diag(ours) == pytest.approx([0.84467, 1.10413, 3.19359], abs=1e-4)


def test_hue_of_steel_turns_one_way_through_the_tints():
    # Row H15, read off the computed table to whole degrees, spread 15 %: 1 degree.
    films = [12, 31, 38, 47, 58, 70, 85]
    lab = film_lab("fe3o4", "fe", film_nm=np.array(films, float), spread=0.15)
    hue = np.degrees(np.unwrap(np.arctan2(lab[:, 2], lab[:, 1])))
    assert hue == pytest.approx([92, 78, -18, -64, -85, -98, -122], abs=1.0)
    assert (np.diff(hue) < 0).all()


def test_exposure_leaves_hue_and_exposure_free_colour_alone():
    # Row H22: an identity of CIELAB above the straight part near black. The colour itself
    # is printed to 0.1 degrees and three decimals; its constancy is exact.
    n1, n2 = refractive_index("tio2"), refractive_index("ti")
    d, weights = spread_thicknesses(25.0, 0.15)
    r = weights @ reflectance(n1, n2, film_nm=d[:, None], wave_nm=WAVES_NM)
    hues = []
    for scale in (0.25, 0.5, 1.0, 1.5):
        lab = lab_from_xyz(scale * xyz_from_reflectance(r))
        assert exposure_free(lab) == pytest.approx([0.094, 0.557], abs=1e-3)
        hues.append(np.degrees(np.arctan2(lab[2], lab[1])))
    assert hues[2] == pytest.approx(80.4, abs=0.1)
    assert hues == pytest.approx([hues[2]] * 4, abs=1e-6)


@pytest.mark.parametrize("family", ["steel", "stainless", "titanium"])
def test_deeper_tint_is_never_said_to_be_cooler(family):
    # Row H34: lower bound <= likely band, and both rise with the tint. Design rule.
    before = None
    for film_nm in TINT_FILM_NM[family]:
        said = temperature_of(Measured(value=film_nm, u=0.1 * film_nm), family)
        values = [said.at_least, said.likely_low, said.likely_high]
        given = [v for v in values if v is not None]
        assert given == sorted(given)
        if before is not None:
            for old, new in zip(before, values, strict=True):
                assert old is None or (new is not None and new >= old)
        before = values


def _nk(name):
    wave_nm, n, k = np.array(NK[name]["rows"]).T
    return np.interp(WAVES_NM, wave_nm, n) + 1j * np.interp(WAVES_NM, wave_nm, k)


def _lab_of_film(film, base, film_nm):
    r = reflectance(film, base, film_nm=film_nm, wave_nm=WAVES_NM)
    return lab_from_xyz(xyz_from_reflectance(r))


def test_titania_on_titanium_with_the_full_data():
    # Row H14: (30.41, 35.67, -37.41) by colour-science from the sources' own tables; 0.05,
    # the row's tolerance, covers the rows left out and the rounding of the white.
    lab = _lab_of_film(_nk("titania"), _nk("titanium"), 40.0)
    assert lab == pytest.approx([30.41, 35.67, -37.41], abs=0.05)


def test_oxide_on_aluminium_shows_no_colour():
    # Row H23: CIEDE2000 of 0.3 for 10 nm of n 1.77 on aluminium; 0.1: printed to one decimal.
    film, bare = (_lab_of_film(1.77, _nk("aluminium"), nm) for nm in (10.0, 0.0))
    assert deltaE_ciede2000(film, bare) == pytest.approx(0.3, abs=0.1)


def test_bare_brass_is_as_yellow_as_straw():
    # Row H24: computed there from the same source; 0.5 is the row's tolerance.
    lab = _lab_of_film(1.0, _nk("brass"), 0.0)
    assert lab == pytest.approx([90.8, -2.5, 28.6], abs=0.5)
