"""The tint of a chip's pixels: what is dropped, what is kept, what is not known."""

from __future__ import annotations

import time

import numpy as np
import pytest

from vision.heat.chip_tint import colour_doubt, tint_of
from vision.heat.film import exposure_free
from vision.photo.colour import lab_from_linear

BLUE_NM, STRAW_NM = 58.0, 20.0


def read(picture, *, family="steel", u_colour=2.0, **more):
    return tint_of(*picture, family=family, u_colour=u_colour, **more)


@pytest.mark.parametrize(
    ("film_nm", "name"), [(0.0, "bright"), (20.0, "straw"), (38.0, "purple"), (58.0, "blue")]
)
def test_an_even_chip_bears_its_name(picture, film_nm, name):
    # Middles of the bands; the picture's colours come from another model.
    tint = read(picture("steel", [film_nm]))
    assert tint.name == name
    assert abs(tint.film_nm.value - film_nm) <= 2 * tint.film_nm.u
    assert tint.share_tinted.value == pytest.approx(float(film_nm > 0), abs=0.02)


def test_clipped_pixels_do_not_whiten_the_tint(picture):
    linear, mask = picture("steel", [BLUE_NM])
    plain = read((linear, mask))
    glint = linear.copy()
    glint[10:35] = 1.0
    assert read((glint, mask)).lab == pytest.approx(plain.lab, abs=1.0)  # half the pixels
    assert read((glint, mask)).name == plain.name


def test_highlights_below_the_clip_level_are_kept(picture):
    linear, mask = picture("steel", [STRAW_NM], noise=0.002)
    bright = linear * 3.0
    assert bright.max() > 1.0
    kept = read((bright, mask), clip_level=4.0)
    assert kept.lab[0] > read((linear, mask)).lab[0] + 20
    assert exposure_free(kept.lab) == pytest.approx(
        exposure_free(read((linear, mask)).lab), abs=0.01
    )


def test_dark_pixels_are_dropped(picture):
    linear, mask = picture("steel", [STRAW_NM])
    dark = linear.copy()
    dark[:25] = (0.01, 0.0, 0.03)  # a violet shadow, below 3 % of white
    assert read((dark, mask)).name == "straw"


def test_border_pixels_are_dropped(picture):
    linear, mask = picture("steel", [BLUE_NM])
    wide, paper = np.ones((100, 100, 3), np.float32) * 0.9, np.zeros((100, 100), bool)
    wide[20:80, 20:80] = linear
    paper[20:80, 20:80] = mask
    grown = paper.copy()
    grown[19:81, 19:81] = True  # one pixel of paper all around
    assert read((wide, grown)).lab == pytest.approx(read((wide, paper)).lab, abs=0.3)


def test_too_few_pixels_give_nothing(picture):
    linear, mask = picture("steel", [STRAW_NM])
    mask[:] = False
    mask[30, 20:45] = True
    tint = read((linear, mask))
    assert (tint.name, tint.lab, tint.film_nm, tint.candidates) == (None, None, None, ())


def test_aluminium_and_brass_get_a_colour_but_no_tint(picture):
    tint = read(picture("steel", [STRAW_NM]), family="none")
    assert tint.name is None
    assert tint.film_nm is None
    assert tint.share_tinted is None
    assert tint.lab is not None


def test_rust_is_no_tint(rng):
    # Rust as in test_film: CIELAB 42, 26, 36 is sRGB 150, 81, 42 (any converter).
    rust = np.array([150, 81, 42]) / 255
    linear = np.where(rust <= 0.04045, rust / 12.92, ((rust + 0.055) / 1.055) ** 2.4)
    shade = rng.uniform(0.8, 1.1, (50, 50, 1))
    tint = read(((linear * shade).astype(np.float32), np.ones((50, 50), bool)))
    assert tint.name is None
    assert tint.candidates == ()
    assert tint.lab is not None


def test_half_tinted_chip_has_half_its_share_and_both_names(picture):
    tint = read(picture("steel", [0.0, BLUE_NM]))
    # Columns are split evenly; 0.05 covers the border columns that are dropped.
    assert tint.share_tinted.value == pytest.approx(0.5, abs=0.05)
    assert not tint.sure
    assert {"bright", "blue"} <= set(tint.candidates)


def test_running_tint_is_given_by_its_middle_with_its_range(picture):
    films = np.linspace(0, 60, 61)
    tint = read(picture("steel", list(films)))
    assert abs(tint.film_nm.value - 30) <= 2 * 5  # middle of an even run
    assert tint.film_nm.u >= 10  # a quarter of it on either side is 15
    assert not tint.sure
    assert len(tint.candidates) >= 3


def test_colourless_beside_blue_is_burnt(picture, colour_science):
    """A neutral chip alone may be bright or burnt; with blue beside it it is burnt."""
    c = colour_science
    grey = c.XYZ_to_sRGB(c.Lab_to_XYZ([60.0, -2.5, -2.5]), apply_cctf_encoding=False)
    blue, mask = picture("steel", [BLUE_NM])
    neutral = np.tile(grey.astype(np.float32), (60, 60, 1))
    alone = read((neutral, mask), u_colour=4.0)
    assert {"bright", "grey"} <= set(alone.candidates)
    neutral[:, :8] = blue[:, :8]
    beside = read((neutral, mask), u_colour=4.0)
    assert beside.name == "grey"
    assert "bright" not in beside.candidates
    assert beside.film_nm.value > 70


@pytest.mark.parametrize("family", ["steel", "titanium"])
def test_bright_and_tinted_are_not_confused(rng, picture, family):
    """Goals of the project: clean bright chips called tinted at most 2 %; films of 20 nm
    and more called bright with sureness at most 1 %. 150 chips of either kind.
    """
    wrong_bright = wrong_tinted = 0
    for _ in range(150):
        cast = np.exp(rng.normal(0, 0.02, 3))
        kind = {"n_factor": rng.uniform(0.9, 1.1), "spread": rng.uniform(0, 0.3)}
        bare = read(picture(family, [0.0], gain=cast, size=40, **kind), family=family)
        film = rng.uniform(20, 90)
        tinted = read(picture(family, [film], gain=cast, size=40, **kind), family=family)
        wrong_bright += "bright" not in bare.candidates
        wrong_tinted += tinted.name == "bright" and tinted.sure
    assert wrong_bright <= 3
    assert wrong_tinted <= 1


def test_size_of_picture_and_mask_must_agree():
    with pytest.raises(ValueError, match="same size"):
        tint_of(
            np.ones((9, 9, 3), np.float32), np.ones((8, 9), bool), family="steel", u_colour=2.0
        )


def test_a_large_chip_is_cheap(picture):
    linear, mask = picture("steel", [BLUE_NM], size=450)  # 200 000 pixels
    read((linear, mask))  # the curve is worked out once
    start = time.process_time()
    for _ in range(5):
        read((linear, mask))
    # Measured 5 to 10 ms; the bound only catches a loss of the subsampling.
    assert (time.process_time() - start) / 5 < 0.1


def test_lab_is_that_of_the_pixels(picture):
    linear, mask = picture("steel", [STRAW_NM], noise=0.0)
    lab = read((linear, mask)).lab
    middle = np.median(lab_from_linear(linear.reshape(-1, 3)), axis=0)
    assert lab == pytest.approx(middle, abs=0.5)


def test_colour_that_cannot_be_trusted_is_told_as_such():
    # An ordinary phone with a neutral in view: colour differences of 3 to 10 (heat notes).
    assert 3.0 <= colour_doubt(0.5) <= 10.0
    assert colour_doubt(3.0) > colour_doubt(1.0)  # lamps of two colours
    assert colour_doubt(None) is None
    assert colour_doubt(8.0) is None


def test_white_haze_makes_a_tint_doubtful_and_not_another_one(picture):
    """A 5 % veil of white takes half of the chroma of purple and dark blue (heat notes)."""
    linear, mask = picture("steel", [47.0], noise=0.004)
    hazy = read((linear + 0.05, mask))
    assert abs(hazy.film_nm.value - 47.0) <= 2 * hazy.film_nm.u
    assert abs(hazy.film_nm.value - 47.0) <= 10.0
    clear = read((linear, mask)).film_nm
    assert hazy.film_nm.u / hazy.film_nm.value >= clear.u / clear.value


@pytest.mark.parametrize("mirrored", [(1.0, 0.85, 0.77), (1.0, 0.97, 0.90)])
def test_a_bright_chip_that_mirrors_skin_or_wears_oil_is_never_surely_tinted(
    rng, picture, mirrored
):
    # Half of the light from a hand; a thin film of mineral oil: plausible, no source.
    for _ in range(40):
        cast = np.exp(rng.normal(0, 0.02, 3)) * mirrored
        tint = read(picture("steel", [0.0], gain=cast, size=40), u_colour=4.0)
        assert tint.name in (None, "bright") or not tint.sure


def test_black_that_was_taken_for_too_bright_is_set_anew(picture):
    """A grey card's "black" looks like stray light; what is darker than black tells."""
    linear, mask = picture("steel", [BLUE_NM], noise=0.004)
    shadow = linear.copy()
    shadow[:4] = 0.0  # what a chip does not mirror is black
    veil = 0.25
    too_much = (shadow - veil) / (1 - veil)
    plain, mended = read((shadow, mask)), read((too_much, mask))
    assert mended.name == plain.name
    assert mended.film_nm.value == pytest.approx(plain.film_nm.value, abs=1.0)


def test_paper_that_bleeds_into_a_narrow_chip_adds_to_its_doubt(picture):
    linear, mask = picture("steel", [47.0], noise=0.004)
    strip = np.zeros_like(mask)
    strip[28:33] = True  # five pixels across
    wide, narrow = read((linear, mask)).film_nm, read((linear, strip)).film_nm
    assert narrow.u > 1.2 * wide.u
    assert abs(narrow.value - 47.0) <= 2 * narrow.u
