"""Sizes: errors, widths and the belief in u, each counted by hand on made-up values."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from vision.records import Measured
from vision.training.score import SceneScore, _score_sizes
from vision.training.score_sizes import size_figures, size_lines

GROUPS = ("1", "2")


def scene(name, values, *, unanswered=()):
    """One scene with (group, true, read, u) of a size and (group, true) without a value."""
    score = SceneScore("x", card=True)
    for group, true, got, u in values:
        score.sizes[name].append((group, true, got, u))
        score.answered[name].append((group, true, True))
    score.answered[name] += [(group, true, False) for group, true in unanswered]
    return score


def figures(name, values, **more):
    return size_figures([scene(name, values, **more)], GROUPS)


def text(out):
    return "\n".join(size_lines(out))


def test_lines_by_group():
    # group 1: errors 1, 2 and 9 % with u of 1 %: two of three within 2 u, one not answered
    values = [("1", 100.0, 101.0, 1.0), ("1", 100.0, 98.0, 1.0), ("1", 100.0, 109.0, 1.0)]
    out = figures("length_mm", values, unanswered=[("1", 50.0), ("2", 50.0)])
    one = out["sizes"]["length_mm"]["1"]
    assert one["n"] == 4
    assert one["answered"] == pytest.approx(3 / 4)
    assert one["median_rel"] == pytest.approx(0.02)
    assert one["within_2u"] == pytest.approx(2 / 3)
    assert one["median_u_rel"] == pytest.approx(1 / 101)
    two = out["sizes"]["length_mm"]["2"]
    assert (two["n"], two["answered"]) == (1, 0.0)
    assert np.isnan(two["median_rel"])
    assert out["sizes"]["length_mm"]["all"]["n"] == 5
    assert "length_mm, group 1: n 4, answered 0.75, median error 2.0 %" in text(out)


def test_u_that_knows_which_chips_are_hard_is_believed():
    # errors 1 % where u / value is 1 %, 2 % where 2 %, 3 % where 3 %: the last third has
    # three times the error of the first, medians are equal, and all lie within 2 u
    values = [("1", 100 / (1 + e), 100.0, 100 * e) for e in (0.03, 0.01, 0.02) * 2]
    v = figures("pitch_mm", values)["uncertainty"]["pitch_mm"]
    assert (v["values"], v["scenes"]) == (6, 1)
    assert v["within_2u"][0] == 1.0
    assert v["median_u_rel"] == pytest.approx(0.02)
    assert v["median_rel"] == pytest.approx(0.02)
    assert v["tight"] is True
    assert v["median_rel_small_u"] == pytest.approx(0.01)
    assert v["median_rel_large_u"] == pytest.approx(0.03)
    assert v["tells"] is True


def test_an_inflated_constant_u_does_not_pass():
    # u is 5 % of every value, errors are 1, 2 and 3 %: always within 2 u, and worth nothing
    values = [("1", 100 / (1 + e), 100.0, 5.0) for e in (0.01, 0.02, 0.03, 0.03, 0.02, 0.01)]
    out = figures("pitch_mm", values)
    v = out["uncertainty"]["pitch_mm"]
    assert v["within_2u"][0] == 1.0
    assert v["tight"] is False
    # as they come: 1 and 2 % in the first third, 2 and 1 % in the last
    assert v["tells"] is False
    said = text(out)
    assert "u at most 1.2 x error: no" in said
    assert "at least twice: no" in said


def test_just_enough_and_just_too_much_u():
    for u, verdict in ((2.39, True), (2.41, False)):
        values = [("1", 100 / 1.02, 100.0, u)]
        assert figures("pitch_mm", values)["uncertainty"]["pitch_mm"]["tight"] is verdict


def test_coverage_has_an_interval_over_scenes_and_says_when_there_are_too_few():
    inside, outside = ("1", 100.0, 101.0, 1.0), ("1", 100.0, 105.0, 1.0)
    scores = [scene("pitch_mm", [inside] * 5) for _ in range(57)]
    scores += [scene("pitch_mm", [outside] * 5) for _ in range(3)]
    out = size_figures(scores, GROUPS)
    v = out["uncertainty"]["pitch_mm"]
    share, low, high = v["within_2u"]
    assert share == pytest.approx(0.95)
    # three of 60 scenes: a binomial 95 % interval of 1 to 13 % outside, not that of 300 chips
    assert 0.86 <= low <= 0.91
    assert 0.98 <= high <= 1.0
    assert v["enough"] is True
    assert size_figures(scores[1:], GROUPS)["uncertainty"]["pitch_mm"]["enough"] is False
    said = next(t for t in size_lines(out) if t.startswith("pitch_mm, within 2 u"))
    assert said.endswith("(300 values, 60 scenes)")


def test_nothing_measured_is_said_so():
    out = size_figures([SceneScore("x", card=True)], GROUPS)
    v = out["uncertainty"]["pitch_mm"]
    assert v["tight"] is None
    assert v["tells"] is None
    assert np.isnan(v["within_2u"][0])
    assert "too few to say" in text(out)
    assert [row["n"] for row in out["widths"]] == [0, 0, 0, 0]


def test_table_of_widths():
    values = [
        ("1", 0.2, 0.225, 0.01),  # 0.025 mm off: within 0.03 mm though 12.5 %
        ("1", 0.29, 0.33, 0.03),  # 0.04 mm off: neither
        ("1", 0.3, 0.325, 0.03),  # the edge belongs to the row above it
        ("1", 0.8, 0.835, 0.03),  # 0.035 mm off: neither 0.03 mm nor 4 % (0.032 mm)
        ("2", 2.0, 2.07, 0.05),  # 0.07 mm off: within 4 % (0.08 mm)
        ("2", 2.0, 2.1, 0.02),  # 5 %, and not within 2 u
    ]
    out = figures("width_mm", values, unanswered=[("1", 0.25), ("2", 5.0)])
    rows = out["widths"]
    assert [(r["from_mm"], r["to_mm"]) for r in rows] == [
        (0.0, 0.3),
        (0.3, 0.6),
        (0.6, 1.0),
        (1.0, None),
    ]
    assert [r["n"] for r in rows] == [3, 1, 1, 3]
    assert [r["answered"] for r in rows] == pytest.approx([2 / 3, 1, 1, 2 / 3])
    assert [r["near"] for r in rows] == [(1, 2), (1, 1), (0, 1), (1, 2)]
    assert rows[0]["median_off_mm"] == pytest.approx(0.0325)
    assert rows[0]["median_rel"] == pytest.approx((0.125 + 0.04 / 0.29) / 2)
    assert [r["within_2u"] for r in rows] == pytest.approx([0.5, 1, 1, 0.5])
    assert "true width 1 mm and more: n 3, answered 0.67" in text(out)


def test_missed_chips_and_bounds_are_asked_but_not_answered():
    truth = {"form": "1.2", "length_mm": 40.0, "width_mm": 1.5, "pitch_mm": None}
    sizes = dict.fromkeys(("curl_radius_mm", "pitch_mm", "extent_mm", "coil_length_mm"))
    chip = SimpleNamespace(
        kind="chip",
        geometry=SimpleNamespace(
            length_mm=Measured(value=30.0, u=1.0, bound="at_least"),
            width_mm=Measured(value=1.4, u=0.1),
            **sizes,
        ),
    )
    score = SceneScore("x", card=True)
    _score_sizes(score, truth, chip)
    _score_sizes(score, truth, None)
    assert score.answered == {
        "width_mm": [("1", 1.5, True), ("1", 1.5, False)],
        "length_mm": [("1", 40.0, False), ("1", 40.0, False)],
    }
    assert score.sizes == {"width_mm": [("1", 1.5, 1.4, 0.1)]}
    for left_out in ({"form": "1.3"}, {"form": "7", "population": 0}):
        other = SceneScore("y", card=True)
        _score_sizes(other, {**truth, **left_out}, None)
        assert not other.answered
