"""The threshold of sureness, against cases worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from vision.forms import fitting
from vision.forms.model import CLASSES


def answers(*rows):
    """Rows of (class named, its probability, true class, area in mm2)."""
    p = np.zeros((len(rows), len(CLASSES)))
    for k, (said, top, _, _) in enumerate(rows):
        p[k] = (1 - top) / (len(CLASSES) - 1)
        p[k, CLASSES.index(said)] = top
    truth = np.array([CLASSES.index(true) for _, _, true, _ in rows])
    return p, truth, np.array([area for *_, area in rows])


def sure_at(*rows, asked=0.95):
    return fitting._sure_at(*answers(*rows), asked)


COIL = ("2", 0.9, "2", 99.0)
SMALL = [("2", 0.95, "2", 1.0)] * 19


def test_metal_counts():
    # Nineteen small coils are right, the twentieth thing is wrong: that is 95 % of the things,
    # but of the metal only where it is small.
    assert sure_at(*SMALL, ("8", 0.85, "none", 1.0)) == pytest.approx(0.85)
    assert sure_at(*SMALL, ("8", 0.85, "none", 10.0)) == pytest.approx(0.95)


def test_where_more_is_asked_less_is_sure():
    # The same twenty things: 95 % are not 97 %.
    assert sure_at(*SMALL, ("8", 0.85, "none", 1.0), asked=0.97) == pytest.approx(0.95)


def test_things_count_as_well():
    # 99 of 100 mm2 are right, but only one thing of two.
    assert sure_at(COIL, ("6.2", 0.85, "none", 1.0)) == pytest.approx(0.9)


def test_a_wrong_sub_number_of_the_right_group_is_right():
    assert sure_at(("3.1", 0.8, "3.2", 5.0)) < 0.97
    assert sure_at(("3.1", 0.8, "6.2", 5.0)) == pytest.approx(0.97)


def test_clutter_called_clutter_does_not_lower_it():
    wrong = ("2", 0.7, "5", 10.0)
    clutter = ("none", 0.99, "none", 1000.0)
    assert sure_at(wrong, clutter) == pytest.approx(0.97)


@pytest.mark.parametrize(("top", "limit"), [(0.71, 0.8), (0.8, 0.8), (0.9, 0.9)])
def test_nothing_is_sure_that_is_not_right_four_times_in_five(top, limit):
    """However much of the metal is rightly named."""
    assert sure_at(("2", top, "2", 99.0)) == pytest.approx(limit)
