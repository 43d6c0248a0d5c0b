"""Thickness as a gauge: doubt by an independent method, honest silence, the edge."""

from __future__ import annotations

import numpy as np
import pytest

import advisor
from advisor.errors import CaseInvalid
from advisor.tables import materials, rule_value
from advisor.thickness import by_length, by_micrometer, by_weight, shear_angle

MANY = 200_000


def _spread(values):
    return float(np.mean(values)), float(np.std(values))


def _gauges(case):
    return advisor.gauges_json(advisor.parse_case(case))


def _trend(case):
    return advisor.thickness_trend_json(advisor.parse_case(case))


# uncertainties, against drawing at random (JCGM 101:2008, propagation of distributions) ---


def test_the_doubt_of_a_weighed_piece_is_that_of_drawing_its_parts():
    value, u = by_weight(0.4, density_g_cm3=7.85, length_mm=(250, 6), width_mm=(0.9, 0.03))
    dice = np.random.default_rng(1)
    mass = dice.normal(0.4, rule_value("gauge", "scale_g"), MANY)
    density = 7.85 * dice.normal(1, rule_value("gauge", "density_share"), MANY)
    drawn = 1000 * mass / (density * dice.normal(250, 6, MANY) * dice.normal(0.9, 0.03, MANY))
    mean, spread = _spread(drawn)
    assert value == pytest.approx(mean, rel=0.005)
    assert u == pytest.approx(spread, rel=0.03)


def test_the_doubt_of_a_length_holds_all_of_the_usual_side_spread():
    value, u = by_length(500.0, (210.0, 4.0))
    dice = np.random.default_rng(2)
    spread = dice.uniform(1.0, 1.2, MANY)  # chip width over the width cut, from memory
    cut = 500 * dice.normal(1, rule_value("gauge", "cut_share"), MANY)
    mean, scatter = _spread(cut / (dice.normal(210, 4, MANY) * spread))
    assert value == pytest.approx(mean, rel=0.01)
    assert u == pytest.approx(scatter, rel=0.05)


def test_the_doubt_of_a_shear_angle_is_that_of_drawing_ratio_and_rake():
    value, u = shear_angle((2.6, 0.15), 8.0)
    dice = np.random.default_rng(3)
    ratio = 1 / dice.normal(2.6, 0.15, MANY)
    rake = np.radians(dice.normal(8.0, rule_value("gauge", "rake_deg"), MANY))
    angle = np.degrees(np.arctan2(ratio * np.cos(rake), 1 - ratio * np.sin(rake)))
    mean, spread = _spread(angle)
    assert value == pytest.approx(mean, rel=0.01)
    assert u == pytest.approx(spread, rel=0.05)


def test_several_readings_are_better_than_one_and_never_perfect():
    one, several = by_micrometer((0.2,)), by_micrometer((0.2, 0.21, 0.19, 0.2))
    assert several[0] == pytest.approx(0.2)
    assert several[1] < one[1]
    assert by_micrometer((0.2,) * 20)[1] >= rule_value("gauge", "micrometer_mm")


# densities --------------------------------------------------------------------------------


def test_every_metal_has_a_density_of_its_kind():
    # Ranges of kinds of metal as in any handbook, from memory.
    kinds = {"steel": (7.6, 8.1), "titanium": (4.4, 4.6), "free steel": (7.8, 7.9)}
    kinds |= {"stainless": (7.7, 8.1)}
    for metal in materials():
        assert metal.density_g_cm3 is not None, metal.name
        if metal.tint in kinds and "iron" not in metal.name:
            low, high = kinds[metal.tint]
            assert low <= metal.density_g_cm3.value <= high, metal.name
    for name in ("6061", "2024", "7075"):
        assert 2.65 <= advisor.material(name).density_g_cm3.value <= 2.85


@pytest.mark.parametrize(
    ("name", "density"),
    # Callister, Materials Science and Engineering, table B.1 (read).
    [("1045", 7.85), ("4140", 7.85), ("304", 8.00), ("316", 8.00), ("2024", 2.77),
     ("6061", 2.70), ("grey iron", 7.30), ("ductile iron", 7.10)],
)  # fmt: skip
def test_densities_are_those_of_the_book(name, density):
    assert advisor.material(name).density_g_cm3.value == density


def test_a_users_metal_may_lack_a_density_and_is_not_weighed_then(new_job, new_pass):
    chip = {"mass_g": 0.4, "length_mm": 250, "width_mm": 0.9}
    case = new_job("1045", [new_pass(25, 0.1, chip=chip)])
    assert _gauges(case)["thickness"]["measured"] == "weighed"
    (own,) = advisor.parse_metals('material = [{ name = "1045 of mine", like = "1045" }]')
    assert own.density_g_cm3.value == 7.85


# thickness --------------------------------------------------------------------------------


def test_the_three_ways_agree_on_the_same_chip(new_job, new_pass):
    """One imagined chip: 0.1 x 0.4 cut at 75° of a pointed tool, compressed 2.5 times.

    Worked by hand: h = f sin k, b = ap / sin k; the chip spreads by 1.1 and so is 2.5 h
    thick and L / (2.5 x 1.1) long.
    """
    edge = {"re_mm": 0.0}
    h, b = 0.1 * np.sin(np.radians(75)), 0.4 / np.sin(np.radians(75))
    length = 1000 / (2.5 * 1.1)
    mass = 7.85e-3 * length * 2.5 * h * 1.1 * b
    ways = {
        "micrometer": {"thickness_mm": round(2.5 * h, 3)},
        "weighed": {"mass_g": mass, "length_mm": length, "width_mm": 1.1 * b},
        "length": {"length_mm": length, "cut_mm": 1000},
    }
    for way, chip in ways.items():
        seen = _gauges(new_job("1045", [new_pass(25, 0.1, chip=chip)], edge=edge))["thickness"]
        assert seen["measured"] == way
        assert seen["thickness_mm"]["value"] == pytest.approx(2.5 * h, rel=0.01)
        assert seen["compression"]["value"] == pytest.approx(2.5, rel=0.01)
        # tan phi = r cos g / (1 - r sin g), r 0.4, rake 8°: 22.76°
        assert seen["shear_angle_deg"]["value"] == pytest.approx(22.76, abs=0.15)


def test_turns_of_the_work_give_the_length_cut(new_job, new_pass):
    # pi x middle diameter (16 - 0.4) x 10 turns = 490.1 mm
    by_turns = new_pass(25, 0.1, chip={"length_mm": 180, "turns": 10})
    by_cut = new_pass(25, 0.1, chip={"length_mm": 180, "cut_mm": 490.1})
    one, two = (_gauges(new_job("1045", [p]))["thickness"] for p in (by_turns, by_cut))
    assert one["compression"]["value"] == pytest.approx(two["compression"]["value"], rel=1e-3)


@pytest.mark.parametrize(
    ("edge", "more", "missing"),
    [
        ({"re_mm": None}, {}, ["re_mm"]),
        ({"kapr_deg": None, "re_mm": None}, {}, ["re_mm", "kapr_deg"]),
        ({}, {"power_feed": False}, ["feed_mm_rev"]),
        ({}, {"direction": "face"}, ["kapr_deg"]),
    ],
)
def test_what_was_not_stated_is_asked_for_and_not_assumed(
    new_job, new_pass, edge, more, missing
):
    one = new_pass(25, 0.1, chip={"thickness_mm": 0.25}, **more)
    seen = _gauges(new_job("1045", [one], edge=edge))["thickness"]
    assert seen["thickness_mm"]["value"] == 0.25
    assert (seen["compression"], seen["shear_angle_deg"]) == (None, None)
    assert seen["missing"] == missing


def test_the_shear_angle_needs_a_stated_rake_and_a_plain_face(new_job, new_pass):
    one = new_pass(25, 0.1, chip={"thickness_mm": 0.25})
    for edge, missing in (
        ({"rake_deg": None}, "rake_deg"),
        ({"chip_groove": True}, "chip_groove"),
    ):
        seen = _gauges(new_job("1045", [one], edge=edge))["thickness"]
        assert seen["compression"] is not None
        assert seen["shear_angle_deg"] is None
        assert seen["missing"] == [missing]


@pytest.mark.parametrize(
    "chip",
    [
        {"thickness_mm": []},
        {"mass_g": 0.4},
        {"mass_g": 0.4, "length_mm": 100},
        {"length_mm": 100},
        {"turns": 4},
        {"width_mm": 1.0},
        {},
    ],
)
def test_half_a_measurement_is_none(new_job, new_pass, chip):
    assert _gauges(new_job("1045", [new_pass(25, 0.1, chip=chip)]))["thickness"] is None


@pytest.mark.parametrize(
    ("chip", "field"),
    [
        ({"thickness_mm": [0.2, 0]}, "chip.thickness_mm"),
        ({"mass_g": -1}, "chip.mass_g"),
        ({"length_mm": 100, "turns": 3, "cut_mm": 50}, "chip.turns"),
        ({"length_mm": {"value": 90, "u": 3, "bound": "at_least"}}, "chip.length_mm.bound"),
        ({"weight": 3}, "chip.weight"),
    ],
)
def test_what_cannot_be_is_refused_by_name(new_job, new_pass, chip, field):
    with pytest.raises(CaseInvalid, match=field):
        advisor.parse_case(new_job("1045", [new_pass(25, 0.1, chip=chip)]))


# the edge ---------------------------------------------------------------------------------


def _dulling(new_pass, first, last):
    return [new_pass(25, 0.1, form="6.2", chip=c) for c in (first, first, last)]


@pytest.mark.parametrize(
    ("first", "last"),
    [
        ({"thickness_mm": 0.18}, {"thickness_mm": 0.26}),
        (
            {"mass_g": 0.4, "length_mm": 300, "width_mm": 0.9},
            {"mass_g": 0.4, "length_mm": 200, "width_mm": 0.9},
        ),
        ({"length_mm": 240, "turns": 10}, {"length_mm": 160, "turns": 10}),
    ],
)
def test_a_chip_that_thickens_calls_the_edge_however_it_was_measured(
    new_job, new_pass, ask, first, last
):
    case = new_job("1045", _dulling(new_pass, first, last))
    assert ask(case)["verdict"] == "look at the edge"
    assert "thicker than before" in ask(case)["because"]
    assert _trend(case)["state"] == "thicker"
    steady = new_job("1045", _dulling(new_pass, first, first))
    assert ask(steady)["verdict"] == "keep"
    assert _trend(steady)["state"] == "steady"


def test_other_ways_of_measuring_are_not_compared(new_job, new_pass, ask):
    passes = [
        new_pass(25, 0.1, form="6.2", chip={"thickness_mm": 0.18}),
        new_pass(25, 0.1, form="6.2", chip={"length_mm": 160, "turns": 10}),
    ]
    assert ask(new_job("1045", passes))["verdict"] == "keep"
    assert _trend(new_job("1045", passes))["state"] == "first"


def test_a_rise_within_the_doubt_of_weighing_is_no_sign(new_job, new_pass, ask):
    # A piece of 0.03 g on a balance of 0.01 g: a third more is inside its doubt.
    light = [{"mass_g": m, "length_mm": 25, "width_mm": 0.9} for m in (0.03, 0.04)]
    passes = [new_pass(25, 0.1, form="6.2", chip=chip) for chip in light]
    assert ask(new_job("1045", passes))["verdict"] == "keep"


def test_a_small_clear_rise_is_watched_not_called(new_job, new_pass):
    passes = [
        new_pass(25, 0.1, form="6.2", chip={"thickness_mm": [t] * 6}) for t in (0.2, 0.23)
    ]
    trend = _trend(new_job("1045", passes))
    assert trend["state"] == "watch"
    assert trend["points"][1]["before_mm"] == 0.2
    assert trend["points"][1]["call_mm"] == pytest.approx(0.26)  # the usual sign: 1.3 times


def test_a_look_at_the_edge_begins_anew(new_job, new_pass):
    thick = {"thickness_mm": 0.3}
    passes = _dulling(new_pass, {"thickness_mm": 0.2}, thick)
    passes[-1]["edge_looked_at"] = "worn"
    assert _trend(new_job("1045", passes))["state"] == "looked"
    after = [*passes, new_pass(25, 0.1, form="6.2", chip=thick)]
    assert [p["state"] for p in _trend(new_job("1045", after))["points"]][-1] == "steady"


def test_other_settings_begin_a_new_row(new_job, new_pass):
    passes = [
        new_pass(25, 0.1, chip={"thickness_mm": 0.2}),
        new_pass(25, 0.15, chip={"thickness_mm": 0.3}),
    ]
    assert _trend(new_job("1045", passes))["state"] == "first"


def test_a_pass_without_a_thickness_says_so(new_job, new_pass):
    passes = [new_pass(25, 0.1, chip={"thickness_mm": 0.2}), new_pass(25, 0.1)]
    trend = _trend(new_job("1045", passes))
    assert trend["state"] == "none"
    assert [p["number"] for p in trend["points"]] == [1]
