"""Support, geometry, start and history: what comes before and around the settings.

Unless a test names a source, its fact is common practice, no source.
"""

from __future__ import annotations

import math

import pytest


def test_only_the_holding_differs_and_so_does_the_advice(new_job, new_pass, ask):
    # Beyond 5 D out of a chuck a bar wants a centre (trade pages, read).
    one = new_pass(28, 0.1, 0.2, form="6.2")
    out = {"stickout_mm": 90.0, "cut_length_mm": 60.0}
    free = ask(new_job("1045", [one], work=out))
    held = ask(new_job("1045", [one], work={**out, "holding": "chuck and centre"}))
    assert free["verdict"] in {"change", "stop"}
    assert free["change"]["lever"] == "support"
    assert held["verdict"] == "keep"


def test_a_support_move_leaves_speed_feed_and_depth_alone(new_job, new_pass, ask):
    one = new_pass(28, 0.1, 0.2, form="6.2", noticed=["chatter"])
    advice = ask(new_job("1045", [one], work={"stickout_mm": 60.0}))
    assert advice["change"]["lever"] == "support"
    assert isinstance(advice["change"]["to"], str)
    assert advice["change"]["unit"] is None
    assert advice["next_cut"]["feed_mm_rev"] == 0.1
    assert advice["next_cut"]["depth_mm"] == pytest.approx(0.2)


def test_a_depth_under_the_nose_radius_is_stringy_and_wants_depth(new_job, new_pass, ask):
    # Smith, Cutting Tool Technology (read): the chip of a shallow cut flows along the bar.
    # Feed already at the top of what a bench lathe takes, so depth is what is left.
    shallow = new_pass(28, 0.2, 0.2, form="2.1")
    change = ask(new_job("1045", [shallow], edge={"re_mm": 0.4}))["change"]
    assert change["lever"] == "depth"
    # At least the 1.5 times that shows (contract), at most to 1.5 times the nose radius,
    # below which no first depth should be (common practice, no source).
    assert change["to"] / change["from"] >= 1.25
    assert change["to"] <= 1.5 * 0.4 + 1e-9


def test_an_edge_off_centre_is_set_right_before_any_setting(new_job, new_pass, ask):
    # 0.3 mm off on 6 mm turns the rake by asin(0.3 / 3) = 5.7 degrees (plane geometry).
    assert math.degrees(math.asin(0.3 / 3)) == pytest.approx(5.74, abs=0.01)
    small = {"diameter_mm": 6.0, "stickout_mm": 12.0}
    one = new_pass(25, 0.05, 0.2, 6.0, form="2.1", noticed=["rubbing"])
    off = ask(new_job("1045", [one], work=small, edge={"centre_height_mm": 0.3}))
    on = ask(new_job("1045", [one], work=small))
    assert off["change"]["lever"] in {"support", "edge"}
    assert on["change"]["lever"] == "feed"


def test_an_uneven_hand_feed_gives_way_to_power_feed(new_job, new_pass, ask):
    # Chip length under a hand feed follows the hand, not the tool.
    hand = new_pass(28, None, 0.4, form="2.1", power_feed=False)
    advice = ask(new_job("1045", [hand]))
    assert advice["change"]["lever"] == "feed"
    assert advice["next_cut"]["power_feed"]
    power = ask(new_job("1045", [new_pass(28, 0.05, 0.4, form="2.1")]))
    order = ["poor", "fair", "good"]
    assert order.index(advice["trust"]) <= order.index(power["trust"])


def test_the_first_cut_goes_under_a_casting_skin(new_job, ask):
    # Old machine-shop text (read): the first cut goes under the scale.
    skin, clean = (
        ask(new_job("grey iron", work={"stock": stock}))["next_cut"]["depth_mm"]
        for stock in ("cast skin", "round")
    )
    assert skin > clean


def test_a_smaller_bar_starts_faster(new_job, ask):
    # n = 1000 vc / (pi D), by definition.
    small, large = (
        ask(new_job("1045", work={"diameter_mm": d, "stickout_mm": 1.5 * d}))["next_cut"]
        for d in (8.0, 32.0)
    )
    ratio = small["spindle_rev_min"] / large["spindle_rev_min"]
    assert ratio == pytest.approx(4.0, rel=0.1)


@pytest.mark.parametrize("holding", ["chuck", "chuck and centre"])
def test_the_last_cuts_of_a_job_do_not_leave_a_cut_that_rubs(holding, new_job, new_pass, ask):
    # 0.24 mm on the side of stainless are left; with a floor of 0.10, 0.2 strands 0.04.
    one = new_pass(14, 0.1, 0.2, 15.48, form="2.2", measured_mm=[[5, 15.08], [15, 15.08]])
    goal = {"target_diameter_mm": 14.6, "tolerance_mm": 0.02, "holding": holding}
    advice = ask(new_job("304", [one], work=goal))
    left = 0.24 - advice["next_cut"]["depth_mm"]
    assert left >= 0.1 - 1e-9 or abs(left) <= 0.01 + 1e-9


def test_a_failed_move_may_be_taken_back_but_not_made_again(new_job, new_pass, ask):
    passes = [
        new_pass(28, 0.08, 0.3, form="2.1"),
        new_pass(28, 0.12, 0.3, form="1.3"),
        new_pass(28, 0.08, 0.3, form="2.1"),
    ]
    change = ask(new_job("1045", passes))["change"]
    assert not (change and change["lever"] == "feed" and change["to"] == 0.12)


def test_a_move_that_helped_a_little_is_followed_further(new_job, new_pass, ask):
    # From a nest to a long coil: better, so one gear more on the same lever.
    passes = [new_pass(14, 0.04, 0.3, form="1.3"), new_pass(14, 0.06, 0.3, form="2.1")]
    change = ask(new_job("304", passes))["change"]
    assert change["lever"] == "feed"
    assert change["to"] > 0.06


def test_worn_edges_are_believed(new_job, new_pass, ask):
    for state in ("worn", "chipped"):
        one = new_pass(28, 0.1, form="6.2", edge_looked_at=state)
        assert ask(new_job("1045", [one]))["change"]["lever"] == "edge", state


def test_two_things_at_once_never(new_job, new_pass, ask):
    # Too light a feed, too hot for HSS and dry: still one lever.
    one = new_pass(30, 0.05, form="2.1", tint="blue", coolant="dry")
    advice = ask(new_job("1045", [one]))
    cut = advice["next_cut"]
    moved = (
        abs(cut["spindle_rev_min"] / one["cut"]["spindle_rev_min"] - 1) > 0.02,
        cut["feed_mm_rev"] != 0.05,
        cut["depth_mm"] != pytest.approx(0.4),
        cut["coolant"] != "dry",
    )
    assert sum(moved) == 1


def test_an_unseen_pass_changes_nothing(new_job, new_pass, ask):
    advice = ask(new_job("1045", [new_pass(28, 0.1)]))
    assert advice["verdict"] in {"keep", "retake the photo"}
    assert advice["change"] is None


def test_a_new_edge_wipes_the_slate(new_job, new_pass, ask):
    base = new_job("1045")["edge"]
    passes = [
        new_pass(28, 0.1, form="6.2", edge={**base, "id": "old"}),
        new_pass(28, 0.1, form="1.3"),
    ]
    advice = ask(new_job("1045", passes))
    assert advice["verdict"] == "change"
    assert advice["change"]["lever"] != "edge"
