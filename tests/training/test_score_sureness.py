"""How far sureness can be believed: known answers, worked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from vision.training.score import Named, SceneScore
from vision.training.score_sureness import (
    BINS,
    calibration_error,
    right_at,
    sureness_figures,
    sureness_lines,
)


def chip(true, read, probability, *, sure=True, true_form="2.2", read_form="2.2"):
    return Named(true, read, sure, true_form, read_form, (), probability)


def test_the_curve_counts_the_surest_first():
    # Surest first: right, right, wrong, right, wrong.
    chips = [
        chip("2", "2", 0.9),
        chip("2", "4", 0.5),
        chip("2", "2", 0.8),
        chip("2", "4", 0.7),
        chip("2", "2", 0.6),
    ]
    assert right_at(chips, 0.4) == 1
    assert right_at(chips, 0.6) == pytest.approx(2 / 3)
    assert right_at(chips, 0.8) == pytest.approx(3 / 4)
    assert right_at(chips, 1.0) == pytest.approx(3 / 5)
    assert np.isnan(right_at([], 0.8))


def test_believed_probabilities_have_no_calibration_error():
    # Ten chips a bin told with 0.7, of which seven are right, in each of the bins.
    chips = [chip("2", "2" if k % 10 < 7 else "4", 0.7) for k in range(10 * BINS)]
    assert calibration_error(chips) == pytest.approx(0, abs=1e-12)


def test_calibration_error_is_how_far_bins_are_off_on_the_mean():
    # One chip a bin: a third of the bins off by 0.1 (told 0.9, right), two thirds off by 0.6.
    chips = [chip("2", "2", 0.9)] * (BINS // 3) + [chip("2", "4", 0.6)] * (2 * BINS // 3)
    assert calibration_error(chips) == pytest.approx((0.1 + 2 * 0.6) / 3)


def test_only_sure_short_names_of_long_chips_play_a_danger_down():
    scores = [
        SceneScore(
            "x",
            card=True,
            named=[
                chip("1", "1", 0.9, true_form="1.1", read_form="1.2"),
                chip("1", "1", 0.9, true_form="1.1", read_form="1.1"),
                chip("1", "1", 0.6, sure=False, true_form="1.1", read_form="1.2"),
                chip("nest", "6", 0.9, true_form="2.3", read_form="6.2"),
                chip("2", "2", 0.9, true_form="2.2", read_form="2.2"),
                chip("nest", "nest", None, true_form="2.3", read_form=None),
            ],
        )
    ]
    out = sureness_figures(scores)
    assert out["long_or_snarled_played_down"] == (2, 5)
    lines = "\n".join(sureness_lines(out))
    assert "called short or loose with sureness: 2 of 5 found" in lines
    # Nests tell no probability and are not on the curve: four of five are right.
    assert "0.800 of 100%" in lines
