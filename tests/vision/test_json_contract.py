"""The stable shape ``bluecurl.reading/1``, written out by hand, against a real reading.

Scripts of users rest on these keys. The shape below is typed from the published page of
commands and JSON, not taken from the code that fills it.
"""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import pytest

from vision import read_photo
from vision.as_json import reading_json
from vision.records import Measured
from vision.terms import FLAGS

DEMO = Path(__file__).resolve().parents[2] / "demo_images"

NUMBER = (int, float)
NULL = type(None)
GROUPS = set("12345678")
FORMS = {
    *("1.1", "1.2", "1.3", "2.1", "2.2", "2.3", "3.1", "3.2", "4.1", "4.2", "4.3"),
    *("5.1", "5.2", "5.3", "6.1", "6.2", "7", "8"),
}
TINTS = {
    *("bright", "pale straw", "straw", "dark straw", "brown", "purple", "dark blue", "blue"),
    *("light blue", "grey", "second yellow", "second purple"),
}

READING = {
    "schema": str,
    "photo": str,
    "photos": list,
    "sha256": str,
    "size_px": list,
    "scale": dict,
    "chips": list,
    "form": (dict, NULL),
    "heat": (dict, NULL),
    "flags": list,
    "usable": str,
    "versions": dict,
}
SCALE = {"source": str, "px_per_mm": "measured", "residual_mm": (*NUMBER, NULL)}
CHIP = {
    "number": int,
    "kind": str,
    "outline_px": list,
    "group": (str, NULL),
    "form": (str, NULL),
    "sure": bool,
    "candidates": list,
    "probability": dict,
    "p_not_chip": NUMBER,
    "group_set": list,
    "why": list,
    "length_mm": "measured",
    "width_mm": "measured",
    "extent_mm": "measured",
    "curl_radius_mm": "measured",
    "curl_radius_range_mm": (list, NULL),
    "pitch_mm": "measured",
    "turns": "measured",
    "tint": (dict, NULL),
    "flags": list,
}
TINT = {
    "name": (str, NULL),
    "sure": bool,
    "candidates": list,
    "film_nm": "measured",
    "lab": (list, NULL),
    "share_tinted": "measured",
}
FORM = {
    "code": (str, NULL),
    "group": (str, NULL),
    "main": (str, NULL),
    "share": NUMBER,
    "sure": bool,
    "candidates": list,
    "mix": dict,
}
HEAT = {
    "tint": (str, NULL),
    "film_nm": "measured",
    "temperature_c": (dict, NULL),
    "basis": str,
}
TEMPERATURE = {
    "at_least": (*NUMBER, NULL),
    "likely_low": (*NUMBER, NULL),
    "likely_high": (*NUMBER, NULL),
}


def assert_measured(found):
    """``null``, or a value with its standard uncertainty and at most a bound."""
    if found is None:
        return
    assert set(found) in ({"value", "u"}, {"value", "u", "bound"})
    for key in ("value", "u"):
        assert isinstance(found[key], NUMBER)
        assert not isinstance(found[key], bool)
        assert math.isfinite(found[key])
    assert found["u"] > 0
    assert found.get("bound", "at_least") == "at_least"


def assert_shape(found, shape):
    """Every promised key with a value of its type; more keys are free to be there."""
    assert set(shape) <= set(found), set(shape) - set(found)
    for key, kind in shape.items():
        if kind == "measured":
            assert_measured(found[key])
            continue
        assert isinstance(found[key], kind), (key, found[key])
        if isinstance(found[key], bool):
            assert kind is bool, key


@pytest.fixture(scope="module")
def photo():
    """The demo photo with most chips: the more of them, the more is checked."""
    truths = sorted(DEMO.glob("*.truth.json"))
    chips = {path: len(json.loads(path.read_text())["chips"]) for path in truths}
    best = max(truths, key=lambda path: chips[path])
    return (DEMO / json.loads(best.read_text())["photo"]).read_bytes()


@pytest.fixture(scope="module")
def record(photo):
    return read_photo(photo, name="demo.jpg", metal="1045")


@pytest.fixture(scope="module")
def reading(record):
    return reading_json(record)


def test_top_level(reading, photo):
    import hashlib

    assert_shape(reading, READING)
    assert reading["schema"] == "bluecurl.reading/1"
    assert reading["photo"] == "demo.jpg"
    assert reading["photos"] == ["demo.jpg"]
    assert reading["sha256"] == hashlib.sha256(photo).hexdigest()
    assert [type(v) for v in reading["size_px"]] == [int, int]
    assert reading["usable"] in {"yes", "with care", "retake"}
    assert {"reader", "features", "model"} <= set(reading["versions"])
    assert all(isinstance(v, str) and v for v in reading["versions"].values())


def test_scale(reading):
    assert_shape(reading["scale"], SCALE)
    assert reading["scale"]["source"] == "card"
    assert reading["scale"]["px_per_mm"] is not None
    assert reading["scale"]["residual_mm"] >= 0


def test_chips(reading):
    assert reading["chips"]
    width, height = reading["size_px"]
    for number, chip in enumerate(reading["chips"], 1):
        assert_shape(chip, CHIP)
        assert chip["number"] == number
        assert chip["kind"] in {"chip", "nest", "grains"}
        assert chip["group"] in GROUPS | {None}
        assert chip["form"] in FORMS | {None}
        assert chip["candidates"]
        assert set(chip["candidates"]) <= FORMS | GROUPS
        assert chip["group_set"]
        assert set(chip["group_set"]) <= GROUPS
        assert len(set(chip["group_set"])) == len(chip["group_set"])
        if chip["form"] is not None:
            assert chip["form"].startswith(chip["group"])
        for ring in chip["outline_px"]:
            assert len(ring) >= 3
            for x, y in ring:
                assert -1 <= x <= width
                assert -1 <= y <= height
        for why in chip["why"]:
            assert set(why) == {"measure", "weight"}
            assert isinstance(why["measure"], str)
            assert isinstance(why["weight"], NUMBER)
        if chip["curl_radius_range_mm"] is not None:
            low, high = chip["curl_radius_range_mm"]
            assert low >= 0
            assert high > 0
        assert all(code in set(FLAGS) for code in chip["flags"])


def test_kinds_keep_their_own_rules(reading):
    for chip in reading["chips"]:
        if chip["kind"] == "nest":
            assert set(chip["group_set"]) <= {c[0] for c in FORMS if c.endswith(".3")}
            assert all(c.endswith(".3") for c in chip["candidates"])
            assert chip["group"] is not None or len(chip["candidates"]) > 1
            assert (chip["group"] is None) is (chip["form"] is None)
            if chip["length_mm"] is not None:
                assert chip["length_mm"]["bound"] == "at_least"
        if chip["kind"] == "grains":
            assert isinstance(chip["count"], int)
            assert chip["count"] >= 1
            assert_measured(chip["median_size_mm"])
            assert chip["median_size_mm"] is not None
            assert len(chip["outline_px"]) >= 1
            assert len(chip["group_sets"]) == len(chip["outline_px"])
            assert all(own[0] == "7" for own in chip["group_sets"])
            assert set(chip["group_set"]) == {g for own in chip["group_sets"] for g in own}
        if chip["kind"] == "chip":
            assert chip["group_set"][0] == chip["group"]
            told = {c[0] for c in chip["candidates"]}
            assert told == ({chip["group"]} if chip["sure"] else set(chip["group_set"]))
        if chip["sure"] and chip["kind"] == "chip":
            assert len(chip["candidates"]) == 1
        if chip["sure"]:
            assert "unlike-any" not in chip["flags"]


def test_probabilities_are_over_the_eight_groups_and_sum_to_one(reading):
    """Eight numbers of four decimals: rounding moves the sum by at most 8 halves of 1e-4."""
    for chip in reading["chips"]:
        assert set(chip["probability"]) == GROUPS
        assert all(0 <= p <= 1 for p in chip["probability"].values())
        assert sum(chip["probability"].values()) == pytest.approx(1, abs=4.1e-4)
        assert 0 <= chip["p_not_chip"] <= 1


def test_tint(reading):
    tints = [chip["tint"] for chip in reading["chips"] if chip["tint"] is not None]
    assert tints  # a steel on the card under a known white: colour can be judged
    for tint in tints:
        assert_shape(tint, TINT)
        assert tint["name"] in TINTS | {None}
        assert set(tint["candidates"]) <= TINTS
        assert tint["candidates"]
        if tint["sure"]:
            assert tint["candidates"] == [tint["name"]]
        if tint["lab"] is not None:
            assert len(tint["lab"]) == 3
            assert 0 <= tint["lab"][0] <= 110  # glints may outshine the paper a little
        share = tint["share_tinted"]
        assert share is None or 0 <= share["value"] <= 1


def test_form(reading):
    form = reading["form"]
    assert_shape(form, FORM)
    assert form["candidates"]
    assert form["code"] in FORMS | {None}
    assert form["mix"]
    # Each share has three decimals.
    assert sum(form["mix"].values()) == pytest.approx(1, abs=0.0006 * len(form["mix"]))
    assert 0 < form["share"] <= 1


def test_heat_of_a_steel(reading):
    heat = reading["heat"]
    assert_shape(heat, HEAT)
    assert heat["tint"] in TINTS | {None}
    assert len(heat["basis"]) > 20
    if heat["temperature_c"] is not None:
        assert_shape(heat["temperature_c"], TEMPERATURE)
        # Rounded outward to 50: nobody can read a chip's heat to the degree.
        assert all(v is None or v % 50 == 0 for v in heat["temperature_c"].values())


def test_flags_say_what_and_what_to_do(reading):
    for flag in reading["flags"]:
        assert {"code", "text", "do"} <= set(flag)
        assert flag["code"] in set(FLAGS)
        assert len(flag["text"]) > 10
        assert len(flag["do"]) > 5


def test_it_is_json_that_any_reader_takes(reading):
    """RFC 8259 knows no NaN and no infinity."""
    text = json.dumps(reading, allow_nan=False)
    assert json.loads(text) == reading


def test_values_carry_two_figures_of_their_uncertainty(reading):
    """GUM 7.2.6: at most two significant digits of u, the value cut at the same place."""

    def measured(found):
        if isinstance(found, dict):
            if {"value", "u"} <= set(found):
                yield found
            for value in found.values():
                yield from measured(value)
        elif isinstance(found, list):
            for value in found:
                yield from measured(value)

    seen = list(measured(reading))
    assert len(seen) > 5
    for m in seen:
        place = 1 - math.floor(math.log10(m["u"]))
        for key in ("value", "u"):
            assert m[key] == pytest.approx(round(m[key], place), rel=1e-12), m


def test_unknown_stays_null_and_never_becomes_nought(record):
    """A record whose every size is unknown has null in the place of each."""
    chip = record.chips[0]
    sizes = dict.fromkeys(chip.geometry.__dataclass_fields__)
    empty = replace(chip, geometry=replace(chip.geometry, **sizes), tint=None)
    bare = replace(
        record,
        chips=(empty,),
        form=None,
        heat=None,
        scale=replace(
            record.scale, source="none", px_per_mm=None, residual_mm=None, lens_shift=None
        ),
    )
    plain = reading_json(bare)
    unknown = dict.fromkeys(("px_per_mm", "residual_mm", "lens_shift"))
    assert plain["scale"] == {"source": "none", **unknown}
    assert (plain["form"], plain["heat"]) == (None, None)
    (only,) = plain["chips"]
    for key in CHIP:
        if key.endswith("_mm") or key in {"turns", "tint"}:
            assert only[key] is None, key


def test_nought_stays_nought(record):
    """A pitch that was measured as nearly nothing is a number, not null."""
    chip = record.chips[0]
    geometry = replace(chip.geometry, pitch_mm=Measured(value=0.0, u=0.1))
    plain = reading_json(replace(record, chips=(replace(chip, geometry=geometry),)))
    assert plain["chips"][0]["pitch_mm"] == {"value": 0.0, "u": 0.1}


@pytest.mark.parametrize("metal", ["6061", "C360"])
def test_no_heat_where_the_tint_of_the_metal_says_nothing(photo, metal):
    """Aluminium's oxide stays colourless and brass is coloured by itself."""
    reading = reading_json(read_photo(photo, metal=metal))
    assert reading["heat"] is None
    assert "tint-says-nothing" in [flag["code"] for flag in reading["flags"]]
