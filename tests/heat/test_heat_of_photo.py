"""Degrees, their words, and the verdict over all chips of a photo."""

from __future__ import annotations

import pytest

from vision import combine_readings, read_photo
from vision.heat import chip_tint
from vision.heat.photo_heat import heat_of
from vision.heat.temperature import basis_of, table_c, temperature_of
from vision.records import ChipTint, Measured
from vision.synthetic import make_scene


def a_tint(name, film_nm, *, u=3.0, sure=True, others=(), share=1.0, bound=None):
    return ChipTint(
        name=name,
        sure=sure,
        candidates=(name, *others),
        film_nm=Measured(value=film_nm, u=u, bound=bound),
        lab=(60.0, 0.0, 20.0),
        share_tinted=Measured(value=share, u=0.02),
    )


NOT_READ = ChipTint(
    name=None, sure=False, candidates=(), film_nm=None, lab=(40, 30, 40), share_tinted=None
)


def test_straw_on_steel_in_words_of_the_contract():
    # The stable JSON's own example: 19 nm give or take 4 -> at least 200, likely 350-550.
    said = temperature_of(Measured(value=19.0, u=4.0), "steel")
    assert (said.at_least, said.likely_low, said.likely_high) == (200.0, 350.0, 550.0)


@pytest.mark.parametrize("family", ["steel", "stainless", "titanium"])
@pytest.mark.parametrize("film_nm", [0.0, 3.0, 12.0, 25.0, 47.0, 70.0, 90.0])
def test_degrees_come_in_fifties_outward(family, film_nm):
    said = temperature_of(Measured(value=film_nm, u=3.0), family)
    values = [v for v in (said.at_least, said.likely_low, said.likely_high) if v is not None]
    assert all(v % 50 == 0 for v in values)
    if said.at_least is not None:
        assert said.at_least <= table_c(film_nm, family)


def test_bright_has_no_lower_bound_and_stainless_only_that():
    bright = temperature_of(Measured(value=0.0, u=2.0), "steel")
    assert bright.at_least is None
    assert bright.likely_low is None
    assert bright.likely_high is not None
    blue = temperature_of(Measured(value=55.0, u=5.0), "stainless")
    assert (blue.at_least, blue.likely_low, blue.likely_high) == (500.0, None, None)


def test_film_known_from_below_has_no_upper_temperature():
    said = temperature_of(Measured(value=19.0, u=3.0, bound="at_least"), "titanium")
    assert said.likely_high is None
    assert said.likely_low is not None


@pytest.mark.parametrize("family", ["none", None])
def test_no_law_no_temperature(family):
    assert temperature_of(Measured(value=30.0, u=3.0), family) is None


@pytest.mark.parametrize("family", ["steel", "stainless", "titanium", None])
def test_basis_says_whose_heat_it_is(family):
    text = basis_of(family)
    assert "not the edge's" in text
    assert "Oil" in text
    if family == "titanium":
        assert "fire" in text
    if family is None:
        assert "no temperature" in text


def test_one_big_chip_outweighs_many_crumbs():
    crumbs = [(a_tint("bright", 0.0, share=0.0), 0.1)] * 20
    heat = heat_of([*crumbs, (a_tint("blue", 58.0), 10.0)], "steel")
    assert heat.tint == "blue"
    assert heat.film_nm.value == 58.0
    assert heat.share_tinted.value == pytest.approx(10 / 12)  # 10 of 12 by weight
    assert heat.temperature_c.at_least == 250.0


def test_chips_in_doubt_leave_the_photo_in_doubt():
    doubtful = a_tint("straw", 19.0, sure=False, others=("second yellow",), bound="at_least")
    heat = heat_of([(doubtful, 1.0)] * 5, "titanium")
    assert set(heat.candidates) == {"straw", "second yellow"}
    assert not heat.sure
    assert heat.film_nm.bound == "at_least"


def test_common_error_does_not_shrink_with_the_number_of_chips():
    one = heat_of([(a_tint("straw", 19.0), 1.0)], "steel")
    many = heat_of([(a_tint("straw", 19.0), 1.0)] * 30, "steel")
    assert many.film_nm.u == pytest.approx(one.film_nm.u)


def test_scatter_between_chips_widens_the_doubt():
    films = (12.0, 16.0, 20.0, 24.0, 28.0)
    heat = heat_of([(a_tint("straw", f), 1.0) for f in films], "steel")
    assert heat.film_nm.value == 20.0
    assert heat.film_nm.u > 3.0


@pytest.mark.parametrize(
    ("tints", "family"),
    [
        ([], "steel"),
        ([(NOT_READ, 1.0)], "steel"),
        ([(a_tint("straw", 19.0), 1.0)], "none"),
        ([(a_tint("straw", 19.0), 0.0)], "steel"),
    ],
)
def test_nothing_to_go_by_is_no_verdict(tints, family):
    assert heat_of(tints, family) is None


def test_unread_chips_are_left_out():
    heat = heat_of([(NOT_READ, 50.0), (a_tint("blue", 58.0), 1.0)], "steel")
    assert heat.tint == "blue"
    assert heat.sure


def test_unnamed_metal_has_a_tint_but_no_degrees():
    heat = heat_of([(a_tint("blue", 58.0), 1.0)], None)
    assert heat.tint == "blue"
    assert heat.temperature_c is None


def test_lamps_of_two_colours_are_told_and_no_tint_is_guessed(rng, monkeypatch):
    scene = make_scene(rng)
    assert "mixed-lamps" not in read_photo(scene.jpeg, metal="1018").flags
    # Any photo is beyond a limit of nothing; how it gets there is the light's own test.
    monkeypatch.setattr(chip_tint, "_RESIDUAL_MAX", -1.0)
    read = read_photo(scene.jpeg, metal="1018")
    assert read.heat is None
    assert "mixed-lamps" in read.flags
    assert all(chip.tint is None for chip in read.chips)


def test_heat_of_several_photos_is_that_of_all_their_chips(rng):
    """Two photos of one pass: the middle film lies between theirs, and one alone is itself."""
    one, other = (read_photo(make_scene(rng).jpeg, metal="1018") for _ in range(2))
    both = combine_readings([one, other])
    films = sorted(r.heat.film_nm.value for r in (one, other))
    assert films[0] <= both.heat.film_nm.value <= films[1]
    assert both.heat.family == "steel"
    assert combine_readings([one]).heat == one.heat


def test_the_likeliest_name_of_chips_in_doubt_comes_first():
    # Three straw chips that may also be paler or deeper: straw, not the palest of the names.
    doubtful = a_tint("straw", 20.0, sure=False, others=("dark straw", "pale straw", "bright"))
    heat = heat_of([(doubtful, 1.0)] * 3, "steel")
    assert heat.tint == "straw"
    assert set(heat.candidates) == {"straw", "dark straw", "pale straw", "bright"}
    assert not heat.sure
