"""Every form: true sizes against closed forms, borders of the groups, and its rest.

Borders and length limits are the project's own (stated in its reference notes and in
``vision.terms``); the closed forms are plane geometry.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from vision.terms import FORM_NAMES
from vision.training.shapes import FORMS, chip_of_form
from vision.training.sweep import Strip, rest_rotation, sweep

SEEDS = range(12)


def chips(form):
    return [chip_of_form(form, np.random.default_rng([seed, 3])) for seed in SEEDS]


def test_makes_every_form_of_the_chart():
    assert set(FORMS) == set(FORM_NAMES)


@pytest.mark.parametrize("form", FORMS)
def test_lies_on_the_sheet(form):
    for chip in chips(form):
        low = chip.points[:, 2].min()
        assert low == pytest.approx(0.0, abs=1e-9)
        assert chip.line[:, 2].min() > 0


@pytest.mark.parametrize("form", FORMS)
def test_extent_is_bounded_by_length_and_section(form):
    for chip in chips(form):
        s = chip.sizes
        # the farthest two points lie at most the length plus one section diagonal
        # apart; teeth and tapers vary the section by up to a half
        diagonal = 1.6 * math.hypot(s.width_mm, s.thickness_mm) + 0.3
        assert s.extent_mm <= s.length_mm + diagonal
        assert 0 < s.thickness_mm <= s.width_mm


@pytest.mark.parametrize(("form", "low", "high"), [("1.1", 115, 1500), ("1.2", 5, 85)])
def test_ribbon_lengths_keep_out_of_the_grey_zone(form, low, high):
    for chip in chips(form):
        assert low <= chip.sizes.length_mm <= high


@pytest.mark.parametrize("group", ["2", "4", "5"])
def test_coil_lengths_keep_out_of_the_grey_zone(group):
    assert all(c.sizes.coil_length_mm <= 42.5 for c in chips(f"{group}.2"))
    assert all(c.sizes.coil_length_mm >= 57.5 for c in chips(f"{group}.1"))


@pytest.mark.parametrize(("group", "low", "high"), [("2", 0, 20), ("5", 25, 65), ("4", 70, 90)])
def test_width_angle_tells_the_coils_apart(group, low, high):
    for word in ("1", "2", "3"):
        for chip in chips(f"{group}.{word}"):
            assert low <= chip.sizes.theta_deg <= high


@pytest.mark.parametrize("form", ["2.1", "2.2", "4.1", "4.2", "5.1", "5.2"])
def test_coil_length_follows_the_screw_line(form):
    for chip in chips(form):
        s = chip.sizes
        screw = s.turns * math.hypot(2 * math.pi * s.curl_radius_mm, s.pitch_mm)
        # drift of radius and pitch, squashing and bent axes are second order
        assert s.length_mm == pytest.approx(screw, rel=0.015)


@pytest.mark.parametrize("form", ["3.1", "3.2", "6.2"])
def test_plane_curls_are_as_long_as_their_mean_radius_says(form):
    for chip in chips(form):
        s = chip.sizes
        around = 2 * math.pi * s.turns * s.curl_radius_mm
        # integral of r da; growth and lift add their square, under 3 % here
        assert around * 0.995 <= s.length_mm <= around * 1.045


def test_spirals_have_over_a_turn_and_loose_arcs_under_one():
    assert all(c.sizes.turns > 1.3 for f in ("3.1", "3.2") for c in chips(f))
    assert all(60 / 360 <= c.sizes.turns <= 330 / 360 for c in chips("6.2"))


def test_needles_are_slender_and_grains_are_not():
    assert all(c.sizes.length_mm > 8 * c.sizes.width_mm for c in chips("8"))
    assert all(c.sizes.length_mm < 4 * c.sizes.width_mm for c in chips("7"))


def test_nests_are_folded_many_times():
    for form in ("1.3", "2.3", "4.3", "5.3"):
        assert all(c.sizes.length_mm > 3 * c.sizes.extent_mm for c in chips(form))


def box(length):
    strip = Strip(
        line=np.column_stack([np.linspace(0, length, 12), np.zeros(12), np.zeros(12)]),
        across=np.tile([0.0, 1.0, 0.0], (12, 1)),
        width=np.ones(12),
        thickness=np.ones(12),
        ragged=np.zeros(12),
    )
    tool, free = sweep(strip)
    return np.concatenate([tool.points, free.points]), strip.line


def test_a_rod_falls_on_its_side():
    """A 10 x 1 x 1 bar shows each end under 0.04 sr of 12.6: it stands 1 in 150 times."""
    points, line = box(10.0)
    for seed in range(20):
        turn = rest_rotation(points, line, np.random.default_rng(seed))
        assert np.ptp(points @ turn.T, axis=0)[2] == pytest.approx(1.0, abs=1e-3)


def test_a_die_falls_on_all_its_faces():
    points, line = box(1.0)
    downs = set()
    for seed in range(60):
        turn = rest_rotation(points, line, np.random.default_rng(seed))
        assert np.ptp(points @ turn.T, axis=0)[2] == pytest.approx(1.0, abs=1e-3)
        downs.add(tuple(np.rint(turn.T @ [0.0, 0.0, -1.0]).astype(int)))
    assert len(downs) == 6


def test_the_tool_side_is_the_outer_side_of_a_curl():
    """The chip curls away from the rake face, so the burnished side is convex."""
    for seed in SEEDS:
        chip = chip_of_form("3.1", np.random.default_rng(seed))
        middle = chip.line.mean(axis=0)
        tool = np.linalg.norm(chip.tool.points - middle, axis=1).mean()
        line = np.linalg.norm(chip.line - middle, axis=1).mean()
        assert tool > line
