"""How trials are made where stock, strength or quiet are short.

Common practice, no source: stock is not nibbled away; a weak lathe gets a thicker chip by
less speed or less depth; the surest cure of chatter is less depth; a depth that shook is not
gone back to.
"""

from __future__ import annotations

import math

import pytest

from advisor.tables import material

LONG = {"form": "1.3"}


def _change(advice):
    change = advice["change"]
    return change["lever"], change["from"], change["to"]


def test_a_feed_far_too_light_goes_to_the_metals_own_in_one_step(new_job, new_pass, ask):
    lever, _, to = _change(ask(new_job("1045", [new_pass(28, 0.04, **LONG)])))
    row = material("1045")
    assert lever == "feed"
    assert row.start_feed_mm_rev.value <= to <= row.feed_mm_rev.high


def test_titanium_is_fed_up_with_a_lighter_hand_than_steel(new_job, new_pass, ask):
    steps = {
        metal: _change(ask(new_job(metal, [new_pass(speed, 0.04, **LONG)])))[2]
        for metal, speed in (("304", 14), ("Ti-6Al-4V", 17))
    }
    assert steps["Ti-6Al-4V"] < steps["304"]


def _belts(power_w, *speeds):
    """A lathe with belts and two feeds: what is between them is what strength decides."""
    return {
        "power_w": power_w,
        "feeds_mm_rev": [0.05, 0.15],
        "spindle_rev_min": list(speeds),
        "ranges": None,
    }


def _on_belts(cut):
    cut["cut"]["spindle_rev_min"] = 597
    return cut


@pytest.mark.parametrize(
    ("lathe", "answer"),
    [
        (_belts(300, 300, 597, 900), "feed"),
        (_belts(180, 300, 597, 900), "speed"),  # a slower belt has the torque
        (_belts(180, 597, 900), "depth"),  # no slower belt
    ],
)
def test_a_weak_lathe_makes_room_for_the_feed_first(new_job, new_pass, ask, lathe, answer):
    advice = ask(
        new_job("1045", [_on_belts(new_pass(30, 0.05, depth=0.5, **LONG))], lathe=lathe)
    )
    lever, was, to = _change(advice)
    assert lever == answer, advice["because"]
    assert lever == "feed" or to < was


def test_after_less_depth_the_feed_is_raised_and_not_the_depth_again(new_job, new_pass, ask):
    lathe = _belts(180, 597, 900)
    first = _on_belts(new_pass(30, 0.05, depth=0.5, **LONG))
    lever, _, depth = _change(ask(new_job("1045", [first], lathe=lathe)))
    assert lever == "depth"
    second = _on_belts(new_pass(30, 0.05, depth=depth, diameter=15.0, **LONG))
    answer = _change(ask(new_job("1045", [first, second], lathe=lathe)))
    assert answer == ("feed", 0.05, 0.15)


def test_carbide_may_go_down_to_where_high_speed_steel_begins(new_job, new_pass, ask):
    """A weak drive knows no other way: below that there is nothing to be had for the chip."""
    row = material("12L14")
    steps = [100, 160, 600, 1250, 2000]
    lathe = {
        "power_w": 160,
        "spindle_rev_min": steps,
        "ranges": None,
        "feeds_mm_rev": [0.05, 0.12],
    }
    work = {"diameter_mm": 25.0, "stickout_mm": 30.0}
    cut = new_pass(95, 0.05, depth=0.3, diameter=25.0, **LONG)
    cut["cut"]["spindle_rev_min"] = 1250
    advice = ask(new_job("12L14", [cut], edge={"material": "carbide"}, work=work, lathe=lathe))
    lever, _, to = _change(advice)
    assert lever == "speed", advice["because"]
    speed = math.pi * 24.4 * to / 1000.0
    assert row.hss_m_min.low <= speed < 0.4 * row.carbide_m_min.low


def test_with_little_stock_less_depth_comes_before_another_edge(new_job, new_pass, ask):
    edge = {"kapr_deg": 95}
    cut = new_pass(28, 0.1, depth=0.4, noticed=["chatter"], form="6.2")
    short, long = (
        _change(ask(new_job("1045", [cut], edge=edge, work={"target_diameter_mm": target})))
        for target in (13.6, 6.0)
    )
    assert short[0] == "depth"
    assert short[2] < 0.4
    assert long[0] != "depth"


def test_a_depth_that_shook_is_not_gone_back_to(new_job, new_pass, ask):
    shook = new_pass(28, 0.2, depth=0.4, noticed=["chatter"], form="2.1")
    quiet = new_pass(28, 0.2, depth=0.2, diameter=15.2, form="2.1")
    advice = ask(new_job("1045", [shook, quiet], edge={"re_mm": 0.1}))
    lever, _, to = _change(advice)
    assert lever == "depth", advice["because"]
    assert 0.2 < to < 0.4
    # without that memory it is where the next trial would be
    alone = _change(ask(new_job("1045", [quiet], edge={"re_mm": 0.1})))
    assert alone[2] >= 0.4


def test_chatter_is_answered_by_one_lever_after_the_other(new_job, new_pass, ask):
    """What one step of speed did not cure is not of the speed (common practice)."""
    speed, passes, levers = 28.0, [], []
    cut = new_pass(speed, 0.08, depth=0.4, noticed=["chatter"], form="6.2")
    for _ in range(3):
        passes.append(cut)
        advice = ask(new_job("1045", passes, edge={"overhang_mm": 12, "kapr_deg": 75}))
        levers.append(advice["change"]["lever"])
        nxt = advice["next_cut"]
        cut = new_pass(
            speed, nxt["feed_mm_rev"], depth=nxt["depth_mm"], diameter=nxt["diameter_mm"],
            noticed=["chatter"], form="6.2",
        )  # fmt: skip
        cut["cut"]["spindle_rev_min"] = nxt["spindle_rev_min"]
    dials = [lever for lever in levers if lever in {"speed", "feed", "depth"}]
    assert len(set(dials)) == len(dials) >= 2


def test_a_second_unsure_photo_of_the_same_cut_is_acted_on(new_job, new_pass, ask):
    def photo(diameter):
        form = {
            "code": "2.3",
            "group": "2",
            "share": 0.3,
            "sure": False,
            "candidates": ["2.3", "2.1"],
            "mix": {"2.3": 0.3, "2.1": 0.3, "3.1": 0.25},
        }
        reading = {"schema": "bluecurl.reading/1", "form": form, "usable": "yes", "chips": []}
        return new_pass(14, 0.1, diameter=diameter, reading=reading)

    assert ask(new_job("304", [photo(16.0)]))["verdict"] == "retake the photo"
    again = ask(new_job("304", [photo(16.0), photo(15.2)]))
    assert again["verdict"] == "change", again["because"]
