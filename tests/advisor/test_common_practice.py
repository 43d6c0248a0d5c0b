"""Check values of the trade that no publication backs: common practice, no source.

Each test says in its first line what a machinist would.
"""

from __future__ import annotations

import math

import pytest

import advisor


def _speed(cut):
    return math.pi * cut["diameter_mm"] * cut["spindle_rev_min"] / 1000


def test_1000_rev_min_on_three_eighths_is_about_100_feet_a_minute():
    from advisor.force import cutting_speed_m_min

    assert cutting_speed_m_min(1000, 9.525) == pytest.approx(30.0, rel=0.01)
    assert cutting_speed_m_min(1000, 9.525) / 0.3048 == pytest.approx(100, rel=0.03)


@pytest.mark.parametrize("metal", ["Ti-6Al-4V", "Ti grade 2", "304", "316"])
def test_power_feed_near_two_thou_suits_titanium_and_stainless_on_a_very_small_lathe(
    metal, new_job, ask
):
    small = {"power_w": 200, "feeds_mm_rev": [0.03, 0.05, 0.1], "stiffness_n_um": 5}
    cut = ask(new_job(metal, work={"diameter_mm": 9.525, "stickout_mm": 20}, lathe=small))
    assert cut["next_cut"]["feed_mm_rev"] == pytest.approx(0.05)
    assert cut["next_cut"]["power_feed"]


@pytest.mark.parametrize("nose", [0.2, 0.4, 0.5])
def test_a_nose_radius_must_stay_below_the_depth(nose, new_job, ask):
    # 0.5 mm is 0.020 in. First depth at least one and a half times the nose.
    cut = ask(new_job("1045", edge={"re_mm": nose}))["next_cut"]
    assert cut["depth_mm"] >= 1.5 * nose - 0.011  # half a division


def test_carbide_takes_about_twice_the_speed_of_hss_in_titanium(new_job, ask):
    hss = _speed(ask(new_job("Ti-6Al-4V"))["next_cut"])
    carbide = _speed(ask(new_job("Ti-6Al-4V", edge={"material": "carbide"}))["next_cut"])
    assert 15 <= hss <= 20
    assert 40 <= carbide <= 60
    assert 2.0 <= carbide / hss <= 4.0


def test_titanium_with_hss_has_its_ceiling_at_30(new_job, new_pass, ask):
    below = ask(new_job("Ti-6Al-4V", [new_pass(27, 0.06, form="5.1")]))
    above = ask(new_job("Ti-6Al-4V", [new_pass(32, 0.06, form="5.1")]))
    assert below["verdict"] == "keep"
    assert above["change"]["lever"] == "speed"
    assert above["change"]["to"] < above["change"]["from"]


def test_a_smaller_angle_thins_the_chip_along_a_longer_edge():
    from advisor.section import chip_section

    square, lead = (chip_section(0.5, 0.1, kapr_deg=k) for k in (90.0, 60.0))
    assert lead.thickness_mm < square.thickness_mm
    assert lead.edge_length_mm > square.edge_length_mm


def test_a_slender_bar_that_sings_at_a_small_angle_wants_a_squarer_one(new_job, new_pass, ask):
    # A centre first, where there is none; then an angle of 85 to 90 degrees.
    one = new_pass(28, 0.08, 0.4, form="2.2", noticed=["chatter"])
    slender = {"stickout_mm": 60.0, "holding": "chuck and centre"}
    change = ask(new_job("1045", [one], work=slender, edge={"kapr_deg": 60}))["change"]
    assert change["lever"] == "edge"
    assert 85 <= float(change["to"].split("°")[0]) <= 90
    stubby = ask(new_job("1045", [one], edge={"kapr_deg": 60}, work={"stickout_mm": 20.0}))
    assert stubby["change"]["lever"] != "edge"


def test_above_90_degrees_deflection_pulls_the_tool_in(new_job, new_pass, ask):
    one = new_pass(28, 0.08, 0.4, form="2.2", noticed=["chatter"])
    held = {"stickout_mm": 40.0, "holding": "chuck and centre"}
    change = ask(new_job("1045", [one], edge={"kapr_deg": 95}, work=held))["change"]
    assert change["lever"] == "edge"
    assert float(change["to"].split("°")[0]) < 90


@pytest.mark.parametrize(("metal", "speed"), [("1018", 14), ("6061", 30)])
def test_dragging_or_tearing_at_low_speed_wants_a_little_more_speed(
    metal, speed, new_job, new_pass, ask
):
    one = new_pass(speed, 0.1, form="2.2", noticed=["tearing"])
    change = ask(new_job(metal, [one]))["change"]
    assert change["lever"] == "speed"
    assert 1.1 <= change["to"] / change["from"] <= 1.4


def test_stopping_in_titanium_leaves_hard_spots_so_power_feed_is_asked_for(
    new_job, new_pass, ask
):
    hand = new_pass(17, None, 0.4, form="5.1", power_feed=False)
    advice = ask(new_job("Ti-6Al-4V", [hand]))
    said = " ".join([advice["because"], *advice["do"]]).lower()
    assert "power feed" in said


@pytest.mark.parametrize("left", [0.03, 0.05])
def test_the_last_hundredths_off_stainless_rub(left, new_job, new_pass, ask):
    # 0.03 to 0.05 mm on the diameter: rubs and leaves taper.
    one = new_pass(14, 0.1, 0.2, form="2.2", measured_mm=[[5, 15 + left]])
    goal = {"target_diameter_mm": 15.0, "tolerance_mm": 0.01}
    advice = ask(new_job("304", [one], work=goal))
    assert advice["verdict"] == "done"
    assert "rubs" in advice["because"]


def test_support_with_a_centre_before_any_dial_when_a_long_bar_sings(new_job, new_pass, ask):
    one = new_pass(17, 0.06, form="5.1", noticed=["chatter"])
    change = ask(new_job("Ti-6Al-4V", [one], work={"stickout_mm": 60.0}))["change"]
    assert (change["lever"], change["to"]) == ("support", "chuck and centre")


@pytest.mark.parametrize("direction", ["face", "part off"])
def test_radial_cuts_are_light(direction, new_job, ask):
    blade = {"blade_width_mm": 2.0}
    along = ask(new_job("1045", edge=blade))["next_cut"]
    across = ask(new_job("1045", edge=blade, work={"direction": direction}))["next_cut"]
    assert across["direction"] == direction
    assert across["feed_mm_rev"] < along["feed_mm_rev"]
    share = _speed(across) / _speed(along)
    assert share == pytest.approx(1.0 if direction == "face" else 0.5, rel=0.15)


def test_parting_is_not_begun_with_the_centre_in(new_job, ask):
    work = {"direction": "part off", "holding": "chuck and centre"}
    advice = ask(new_job("1045", edge={"blade_width_mm": 2.0}, work=work))
    assert advice["verdict"] == "stop"
    assert advice["next_cut"] is None
    assert advice["change"]["to"] == "chuck"


def test_titanium_is_not_cut_dry(new_job, new_pass, ask):
    dry = ask(new_job("Ti-6Al-4V", [new_pass(17, 0.06, form="5.1", coolant="dry")]))
    assert dry["verdict"] == "keep"
    assert any("oil" in step for step in dry["do"])


def test_a_flat_face_does_not_curl_titanium(new_job, new_pass, ask):
    one = new_pass(17, 0.06, form="1.1", edge_looked_at="sharp")
    flat = ask(new_job("Ti-6Al-4V", [one], edge={"rake_deg": 0}))["change"]
    raked = ask(new_job("Ti-6Al-4V", [one]))["change"]
    assert (flat["lever"], raked["lever"]) == ("edge", "feed")


def test_speeds_of_every_metal_are_below_the_next_easier_tool():
    for name in advisor.material_names():
        metal = advisor.material(name)
        assert metal.carbide_m_min.low > metal.hss_m_min.low
        assert metal.finishing_floor_mm.value in {0.03, 0.05, 0.10}
