"""Width of chips as a gauge: sound, far too narrow, or no word."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

import advisor

BENCH = Path(__file__).parents[1] / "bench" / "width_gauge.py"


def _chip(number, mm, group="1", *, sure=True, kind="chip"):
    width = {"value": mm, "u": 0.5 * mm}
    return {"number": number, "kind": kind, "group": group, "sure": sure, "width_mm": width}


def _photo(*chips, usable="yes"):
    return {"form": {"code": "1.2", "sure": True}, "usable": usable, "chips": list(chips)}


def _gauges(case):
    return advisor.gauges_json(advisor.parse_case(case))


def _wide_cut(new_pass, *chips, **more):
    """1.5 mm deep at 75°, nose 0.2: the width cut is a little over 1.5 mm."""
    return new_pass(25, 0.1, depth=1.5, reading=_photo(*chips), **more)


def test_sound_strips_are_told_sound_with_their_doubt(new_job, new_pass):
    chips = [_chip(n, 1.6) for n in range(1, 6)]
    width = _gauges(new_job("1045", [_wide_cut(new_pass, *chips)]))["width"]
    assert width["state"] == "sound"
    # b = ap / sin k = 1.553 for a pointed tool; the nose makes it a little more.
    assert width["expected_mm"]["value"] == pytest.approx(1.553, rel=0.05)
    assert width["ratio"]["value"] == pytest.approx(1.0, abs=0.1)
    assert width["ratio"]["u"] >= 0.25
    assert width["chips"] == [1, 2, 3, 4, 5]


def test_only_far_too_narrow_is_a_word(new_job, new_pass):
    def state(mm, count=6):
        chips = [_chip(n, mm) for n in range(1, count + 1)]
        return _gauges(new_job("12L14", [_wide_cut(new_pass, *chips)]))["width"]["state"]

    assert state(1.3) == "sound"  # an ordinary deflection is 1 to 2 %, this is 16
    assert state(0.95) == "sound"
    assert state(0.5) == "narrow"


@pytest.mark.parametrize(
    ("chips", "why"),
    [
        ([], "no strips"),
        ([_chip(n, 1.6, "2") for n in range(5)], "no strips"),  # a coil shows rims
        ([_chip(n, 1.6, "8") for n in range(5)], "no strips"),  # needles are split chips
        ([_chip(n, 1.6, sure=False) for n in range(5)], "no strips"),
        ([_chip(n, 1.6, kind="nest") for n in range(5)], "no strips"),
        ([_chip(n, 0.25) for n in range(1, 6)], "on edge"),  # up to 3.5 times 0.097 thick
        ([_chip(1, 1.6), _chip(2, 1.5), _chip(3, 0.2)], "few"),
    ],
)
def test_what_may_be_the_thickness_is_not_taken_for_the_width(new_job, new_pass, chips, why):
    chips = [{**c, "number": n} for n, c in enumerate(chips, 1)]
    width = _gauges(new_job("1045", [_wide_cut(new_pass, *chips)]))["width"]
    assert (width["state"], width["why"], width["ratio"]) == ("unsure", why, None)


def test_strips_on_edge_are_left_out_of_the_others(new_job, new_pass):
    chips = [*(_chip(n, 1.6) for n in (1, 2, 3)), _chip(4, 0.2)]
    assert _gauges(new_job("1045", [_wide_cut(new_pass, *chips)]))["width"]["chips"] == [
        1,
        2,
        3,
    ]


def test_a_chip_as_thick_as_wide_says_nothing(new_job, new_pass):
    one = new_pass(25, 0.1, depth=0.2, reading=_photo(*(_chip(n, 0.4) for n in range(1, 6))))
    assert _gauges(new_job("1045", [one]))["width"]["why"] == "stout"


@pytest.mark.parametrize(
    ("job", "more", "why"),
    [
        ({"edge": {"re_mm": None}}, {}, "facts"),
        ({}, {"direction": "face"}, "direction"),
        ({"work": {"stock": "hex"}}, {}, "interrupted"),
    ],
)
def test_no_gauge_without_a_known_cut(new_job, new_pass, job, more, why):
    chips = [_chip(n, 1.6) for n in range(1, 6)]
    width = _gauges(new_job("1045", [_wide_cut(new_pass, *chips, **more)], **job))["width"]
    assert (width["state"], width["why"]) == ("unsure", why)


def test_a_width_by_calliper_is_believed_before_the_photo(new_job, new_pass):
    chips = [_chip(n, 1.6) for n in range(1, 6)]
    hand = _wide_cut(new_pass, *chips, chip={"width_mm": 0.8})
    width = _gauges(new_job("1045", [hand]))["width"]
    assert (width["state"], width["measured"]) == ("narrow", "by hand")
    assert width["ratio"]["u"] < 0.05
    photo = _wide_cut(new_pass, *chips, chip={"width_mm": {"value": 0.8, "u": 0.3}})
    assert _gauges(new_job("1045", [photo]))["width"]["measured"] == "in the photo"


def test_a_photo_to_take_again_gives_no_width(new_job, new_pass):
    photo = _photo(*(_chip(n, 1.6) for n in range(1, 6)), usable="retake")
    one = new_pass(25, 0.1, depth=1.5, reading=photo)
    assert _gauges(new_job("1045", [one]))["width"]["why"] == "no strips"


def test_a_new_job_has_no_gauges(new_job):
    assert _gauges(new_job("1045", [])) is None


def _bench():
    spec = importlib.util.spec_from_file_location("bench_width_gauge", BENCH)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("count", [3, 8])
def test_on_rendered_strips_a_sound_cut_is_hardly_ever_called_narrow(count):
    """Widths as the reader measures them on scenes that the sizes were not fitted to."""
    bench = _bench()
    chips = bench.strips("calibration")
    assert len(chips) > 50
    sound, inside = bench.trials(chips, count=count, cut=1.0, jobs=300)
    thin, _ = bench.trials(chips, count=count, cut=0.33, jobs=300)
    assert sound["narrow"] + sound["wide"] <= 0.03
    assert inside >= 0.85
    assert thin["narrow"] > 5 * (sound["narrow"] + 0.02)
