"""Chips between two names: both names said, sizes in the gap, truth whole."""

from __future__ import annotations

import numpy as np
import pytest

from vision.terms import FORM_NAMES
from vision.training.boundary import BOUNDARY_FORMS, boundary_chip
from vision.training.made import Section
from vision.training.shapes import self_check

SEEDS = range(10)


def chips(kind, section=None):
    return [boundary_chip(kind, np.random.default_rng([seed, 8]), section) for seed in SEEDS]


@pytest.mark.parametrize("kind", BOUNDARY_FORMS)
def test_two_names_and_a_truth_that_holds(kind):
    for chip in chips(kind):
        assert chip.form in FORM_NAMES
        assert chip.also
        assert set(chip.also) <= set(FORM_NAMES) - {chip.form}
        assert self_check(chip) == []


@pytest.mark.parametrize("kind", BOUNDARY_FORMS)
def test_follows_the_section_of_the_cut(kind):
    for chip in chips(kind, Section(width_mm=0.8, thickness_mm=0.15)):
        # spread of 20 %, teeth of up to 0.3 w and tapers
        assert 0.4 < chip.sizes.width_mm < 1.0
        assert chip.sizes.thickness_mm < 0.31


@pytest.mark.parametrize("kind", BOUNDARY_FORMS)
def test_same_seed_same_chip(kind):
    a, b = (boundary_chip(kind, np.random.default_rng(4)) for _ in range(2))
    assert a.form == b.form
    assert np.array_equal(a.points, b.points)


@pytest.mark.parametrize(
    ("kind", "size", "low", "high", "middle"),
    [
        ("tube or cone", "theta_deg", 19, 26, 22.5),
        ("cone or washer", "theta_deg", 64, 71, 67.5),
        ("ribbon length", "length_mm", 85, 115, 100),
        ("coil length", "coil_length_mm", 42.5, 57.5, 50),
        ("arc or spiral", "turns", 330 / 360, 500 / 360, 1.15),
        ("stubby coil", "turns", 1.2, 2.0, 1.5),
    ],
)
def test_sizes_lie_in_the_gap_and_the_nearer_name_comes_first(kind, size, low, high, middle):
    names = {False: set(), True: set()}
    for chip in chips(kind):
        value = getattr(chip.sizes, size)
        assert low <= value <= high
        if abs(value - middle) > 0.02 * middle:
            names[value > middle].add(chip.form)
    assert not names[False] & names[True]


def test_stout_needles_are_as_thick_as_ribbons_and_still_slender():
    for chip in chips("stout needle"):
        assert chip.sizes.width_mm > 0.4
        assert chip.sizes.length_mm > 8 * chip.sizes.width_mm
