"""What a missed chip costs while the eye learns, and where it costs more."""

from __future__ import annotations

import numpy as np
import pytest

from vision.chips.eye import KIN
from vision.training.rows import CRUMBS, MOST_CHIPS, NO_CHIP
from vision.training.windows import UNSEEN

torch = pytest.importorskip("torch", reason="the extra train is not installed")

SIDE = 64


def window(label):
    """Truth of one window with a bar of 24 by 6 pixels, numbered ``label``."""
    truth = np.zeros((1, 2 * SIDE, 2 * SIDE), np.int64)
    truth[0, 40:52, 40:88] = label
    return torch.from_numpy(truth)


def print_with_dark(count):
    """The print to be expected: white, dark under so many of the bar's 144 pixels."""
    paint = np.ones((SIDE, SIDE), np.float32)
    rows, cols = np.divmod(np.arange(count), 24)
    paint[20 + rows, 20 + cols] = 0.1
    return torch.from_numpy(paint[None])


def missed(paint, label=1, *, other=None):
    """The costs where nothing is called metal but, if asked, ``other`` is found exactly."""
    from vision.training.eye_costs import metal_costs

    truth = window(label)
    logits = torch.full((1, 1, SIDE, SIDE), -6.0)
    if other is not None:
        truth[0, 90:102, 40:88] = other
        logits[0, 0, 45:51, 20:44] = 6.0
    return {k: float(v) for k, v in metal_costs(torch, logits, truth, paint).items()}


def test_a_missed_chip_over_dark_print_costs_more_a_pixel():
    plain, dark = missed(print_with_dark(0)), missed(print_with_dark(72))
    assert dark["pixels"] > 1.2 * plain["pixels"]
    assert dark["overlap"] == pytest.approx(plain["overlap"])


def test_over_dark_print_a_miss_weighs_three_times_a_find_elsewhere():
    """Of two chips one is missed: half of their overlap, or three quarters of what counts."""
    plain = missed(print_with_dark(0), other=2)["each chip"]
    dark = missed(print_with_dark(72), other=2)["each chip"]
    assert dark / plain == pytest.approx((3 / 4) / (1 / 2), rel=0.01)


@pytest.mark.parametrize(("count", "more"), [(2, False), (3, True)])
def test_it_begins_at_a_fiftieth_of_the_chip(count, more):
    """Two pixels of 144 are less than a fiftieth, three are more."""
    plain = missed(print_with_dark(0), other=2)["each chip"]
    some = missed(print_with_dark(count), other=2)["each chip"]
    assert some == pytest.approx(1.5 * plain if more else plain, rel=0.01)


def test_no_print_is_expected_off_the_card():
    none = torch.zeros((1, SIDE, SIDE))
    assert missed(none, other=2)["each chip"] == pytest.approx(
        missed(print_with_dark(0), other=2)["each chip"]
    )


@pytest.mark.parametrize("label", [MOST_CHIPS + 1, UNSEEN])
def test_what_is_no_chip_has_no_overlap_of_its_own(label):
    assert missed(print_with_dark(72), label)["each chip"] == 0


def kin_cost(truth, kin):
    """The cost of what is said of all pairs, if everywhere the same is said."""
    from vision.training.eye_costs import kin_costs

    side = SIDE // 4
    logits = torch.full((1, len(KIN), side, side), float(kin))
    return float(kin_costs(torch, logits, truth)["kin"])


def test_pairs_of_one_chip_are_kin():
    """log(1 + exp(-6)) where all is right, log(1 + exp(6)) where nothing is."""
    truth = window(3)
    assert kin_cost(truth, 6) == pytest.approx(np.log1p(np.exp(-6)), rel=1e-4)
    assert kin_cost(truth, -6) == pytest.approx(np.log1p(np.exp(6)), rel=1e-4)


@pytest.mark.parametrize("other", [2, CRUMBS, NO_CHIP])
def test_pairs_of_two_are_not_and_count_three_times(other):
    """Two cells, 24 label pixels apart: the one pair in view is of two things."""
    truth = torch.zeros((1, 2 * SIDE, 2 * SIDE), dtype=torch.long)
    truth[0, 40:48, 40:48], truth[0, 40:48, 48:56] = 1, other
    assert kin_cost(truth, -6) == pytest.approx(np.log1p(np.exp(-6)), rel=1e-4)
    # With a third cell of the first: two pairs of two things, one of one.
    truth[0, 40:48, 32:40] = 1
    half = (np.log1p(np.exp(6)) + 6 * np.log1p(np.exp(-6))) / 7
    assert kin_cost(truth, -6) == pytest.approx(half, rel=1e-4)


@pytest.mark.parametrize("label", [CRUMBS, NO_CHIP, UNSEEN, 0])
def test_of_two_that_are_no_chips_nobody_knows(label):
    assert kin_cost(window(label), 6) == 0
    assert kin_cost(window(label), -6) == 0
