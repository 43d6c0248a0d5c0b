"""Ladder and trend as pictures: places, words, and shapes beside colours."""

from __future__ import annotations

import base64
import itertools
import re
import xml.etree.ElementTree as ET

import pytest

from app.engine import heat_trend, tint_ladder
from app.heat_words import degrees_words, meaning, tint_doubt, trend_words
from app.parts.ladder import ladder_picture, measured_lab
from app.parts.trend import trend_picture, trend_rows, trend_text
from vision.heat.ladder import ladder_of
from vision.heat.names import TINT_FILM_NM, tint_name
from vision.terms import TINTS

SVG = "{http://www.w3.org/2000/svg}"


def drawn(picture):
    """The elements of a picture that stands in the page as an image."""
    data = re.search(r"base64,([^\"]+)", picture).group(1)
    return ET.fromstring(base64.b64decode(data))  # noqa: S314 - our own text


def words_of(picture):
    return [e.text for e in drawn(picture).iter(f"{SVG}text")]


def a_heat(film_nm=19.0, u=4.0, *, family="steel", names=("straw",), **more):
    return {
        "tint": names[0],
        "sure": len(names) == 1,
        "candidates": list(names),
        "film_nm": {"value": film_nm, "u": u},
        "share_tinted": {"value": 0.9, "u": 0.05},
        "temperature_c": {"at_least": 200, "likely_low": 350, "likely_high": 550},
        "basis": "a basis",
        "family": family,
        **more,
    }


def a_reading(heat, lab=(61.0, -0.3, 20.0)):
    tint = {"film_nm": heat["film_nm"], "lab": list(lab)}
    return {"heat": heat, "chips": [{"tint": tint}, {"tint": None}]}


@pytest.mark.parametrize("family", ["steel", "stainless", "titanium"])
def test_rungs_follow_each_other_and_bear_their_own_colour(family):
    rungs = ladder_of(family)
    assert [r.name for r in rungs] == list(TINTS[: len(TINT_FILM_NM[family])])
    for one, other in itertools.pairwise(rungs):
        assert one.to_nm == other.from_nm
        assert one.shades[-1] == pytest.approx(other.shades[0])
    for rung in rungs:
        assert tint_name((rung.from_nm + rung.to_nm) / 2, family) == rung.name


def test_a_rung_has_the_colour_of_the_reference_table():
    # Blue on steel, 58 nm with 15 % spread: L*, a*, b* = 42.7, 3.4, -39.1 (heat physics,
    # computed apart from this package). Shades step by 2 nm or so: 3 units.
    blue = next(r for r in ladder_of("steel") if r.name == "blue")
    step = (blue.to_nm - blue.from_nm) / (len(blue.shades) - 1)
    nearest = blue.shades[round((58.0 - blue.from_nm) / step)]
    assert nearest == pytest.approx((42.7, 3.4, -39.1), abs=3.0)


def test_the_ladder_tells_place_and_doubt_in_words_and_shape():
    picture = ladder_picture(a_reading(a_heat()), tint_ladder("steel"))
    said = words_of(picture)
    assert "straw, about 19 nm ± 8" in said
    assert set(TINTS[:10]) <= set(said)
    assert "straw, about 19 nm ± 8" in picture  # and in the words for those who cannot see
    lines = [e for e in drawn(picture).iter(f"{SVG}path") if e.get("stroke") == "currentColor"]
    assert lines  # the bar of doubt


def test_the_pointer_moves_with_the_film():
    places = []
    for film in (5.0, 20.0, 38.0, 60.0, 90.0):
        heat = a_heat(film, names=(tint_name(film, "steel"),))
        picture = drawn(ladder_picture(a_reading(heat), tint_ladder("steel")))
        pointer = next(e for e in picture.iter(f"{SVG}path") if e.get("d").endswith("h12z"))
        places.append(float(re.match(r"M([\d.]+)", pointer.get("d")).group(1)))
    assert places == sorted(places)
    assert places[-1] - places[0] > 200  # of 360


def test_doubt_is_told_as_a_or_b():
    heat = a_heat(0.0, names=("bright", "grey"))
    assert any(
        "bright or grey" in w
        for w in words_of(ladder_picture(a_reading(heat), tint_ladder("steel")))
    )
    assert "cannot tell" in tint_doubt(heat)
    twice = a_heat(19.0, family="titanium", names=("straw", "second yellow"))
    assert "twice" in tint_doubt(twice)
    assert "brass" in tint_doubt(a_heat(family=None))
    assert tint_doubt(a_heat()) is None


def test_the_swatch_is_that_of_the_nearest_chip():
    heat = a_heat(30.0)
    reading = a_reading(heat)
    reading["chips"] = [
        {"tint": {"film_nm": {"value": 60.0, "u": 3}, "lab": [1, 2, 3]}},
        {"tint": {"film_nm": {"value": 28.0, "u": 3}, "lab": [4, 5, 6]}},
    ]
    assert measured_lab(reading) == [4, 5, 6]


def test_nothing_to_place_gives_no_picture():
    assert ladder_picture({"heat": None, "chips": []}, tint_ladder("steel")) == ""
    assert tint_ladder("none") == []
    assert ladder_picture(a_reading(a_heat()), []) == ""


@pytest.mark.parametrize(
    ("heat", "edge", "coolant", "says"),
    [
        (a_heat(), "HSS", "dry", "upper end of what HSS"),
        (a_heat(47.0, names=("dark blue",)), "HSS", "dry", "Too hot for HSS"),
        (a_heat(47.0, names=("dark blue",)), "coated carbide", "dry", "Normal for coated"),
        (
            a_heat(12.0, family="titanium", names=("pale straw",)),
            "HSS",
            "dry",
            "late, not early",
        ),
        (a_heat(12.0, family="titanium", names=("pale straw",)), "carbide", "dry", "burn"),
        (a_heat(19.0, family="stainless"), "carbide", "dry", "chromium"),
        (a_heat(0.0, names=("bright",)), "HSS", "cutting oil", "proves nothing"),
    ],
)
def test_meaning_by_tool_and_metal(heat, edge, coolant, says):
    assert any(says in line for line in meaning(heat, edge_material=edge, coolant=coolant))


def test_a_bright_chip_warns_of_nothing():
    lines = meaning(
        a_heat(0.0, family="titanium", names=("bright",)), edge_material="HSS", coolant="dry"
    )
    assert not any("600" in line for line in lines)
    doubtful = a_heat(0.0, names=("bright", "grey"))
    assert not any("HSS" in x for x in meaning(doubtful, edge_material="HSS", coolant="dry"))


def test_degrees_are_told_least_first_and_never_made_up():
    assert degrees_words(a_heat()) == (
        "at least 200 °C (handbook table), more likely 350 to 550 °C for a chip hot for about "
        "a second"
    )
    assert degrees_words({"temperature_c": None}) == ""


def a_case(films, **cut):
    plain = {
        "direction": "along",
        "spindle_rev_min": 500,
        "feed_mm_rev": 0.1,
        "depth_mm": 0.3,
        "diameter_mm": 20.0,
        "coolant": "dry",
    }
    passes = [
        {
            "cut": {**plain, **(cut if k == len(films) - 1 else {})},
            "reading": {
                "usable": "yes",
                "heat": {
                    "tint": "bright",
                    "film_nm": {"value": f, "u": 3.0},
                    "share_tinted": {"value": min(1.0, f / 20), "u": 0.1},
                },
            },
        }
        for k, f in enumerate(films)
    ]
    return {
        "schema": "bluecurl.case/1",
        "work": {"material": "12L14", "diameter_mm": 20.0},
        "edge": {"material": "carbide", "id": "a"},
        "lathe": {"spindle_rev_min": [300, 500, 700], "feeds_mm_rev": [0.05, 0.1]},
        "passes": passes,
    }


def test_the_trend_of_a_case_and_its_picture():
    trend = heat_trend(a_case([1.0, 3.0, 2.0, 22.0]))
    assert trend["family"] == "steel"  # 12L14 colours as steel does
    assert trend["state"] == "hotter"
    picture = trend_picture(trend, tint_ladder(trend["family"]))
    assert "hotter" in words_of(picture)
    assert "pass 4 22 nm (hotter)" in trend_text(trend)
    rows = trend_rows(trend)
    assert [r["pass"] for r in rows] == [4, 3, 2, 1]
    assert rows[0]["alarm"] == "hotter"
    circles = len(list(drawn(picture).iter(f"{SVG}circle")))
    assert circles == 2  # two of three quiet passes; the first is a square


def test_other_coolant_begins_a_new_row_on_the_picture():
    trend = heat_trend(a_case([1.0, 3.0, 2.0, 22.0], coolant="cutting oil"))
    assert trend["state"] == "too few"
    assert trend["points"][-1]["settings"] == "new row"


def test_one_pass_is_no_trend():
    trend = heat_trend(a_case([5.0]))
    assert trend_picture(trend, tint_ladder("steel")) == ""


@pytest.mark.parametrize(
    "state", ["too few", "steady", "explained", "watch", "hotter", "looked"]
)
def test_every_state_has_words(state):
    assert trend_words(state).endswith(".")


def test_under_oil_a_steady_trend_proves_nothing():
    assert "proves nothing" in trend_words("steady", coolant="cutting oil")
    assert "proves nothing" not in trend_words("hotter", coolant="cutting oil")


def test_words_stay_inside_the_picture():
    many = ("straw", "dark straw", "second yellow", "pale straw")
    heat = a_heat(19.0, family="titanium", names=many)
    picture = ladder_picture(a_reading(heat), tint_ladder("titanium"))
    for element in drawn(picture).iter(f"{SVG}text"):
        half = 3.6 * len(element.text)
        assert float(element.get("x")) - half >= -1
        assert float(element.get("x")) + half <= 361
    assert "one of 4 tints, about 19 nm ± 8" in words_of(picture)
    assert "straw or dark straw or second yellow" in picture  # told in full in words


def test_a_film_that_may_be_none_or_burnt_is_not_called_a_number():
    heat = a_heat(0.0, names=("bright", "grey"))
    heat["film_nm"]["bound"] = "at_least"
    assert "bright or grey, of any thickness" in words_of(
        ladder_picture(a_reading(heat), tint_ladder("steel"))
    )
