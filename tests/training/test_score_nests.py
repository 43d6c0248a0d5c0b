"""Counting of nests whose group is told, on scores made by hand."""

from __future__ import annotations

import pytest

from vision.training.score import Named, SceneScore
from vision.training.score_nests import nest_figures, nest_lines


def nest(true_form, read_form, may_be, read="nest"):
    return Named("nest", read, True, true_form, read_form, (), None, group_set=tuple(may_be))


def test_figures_of_known_nests():
    one = SceneScore(
        "x",
        card=True,
        named=[
            nest("2.3", "2.3", "2"),
            nest("2.3", "5.3", "52"),
            nest("1.3", None, "45"),
            nest("4.3", "4.2", "4", read="4"),  # taken for a coil: told of elsewhere
        ],
    )
    two = SceneScore("y", card=True, named=[nest("5.3", "5.3", "5")])
    out = nest_figures([one, two])
    assert (out["nests"], out["nests_told"]) == (4, 3)
    assert out["nests_right"][0] == pytest.approx(2 / 3)
    assert out["nests_held"][0] == pytest.approx(3 / 4)
    assert out["nests_size"] == pytest.approx(6 / 4)
    (line,) = nest_lines(out)
    assert "told of 3 of 4" in line


def test_no_nests_are_no_figures():
    (line,) = nest_lines(nest_figures([SceneScore("x", card=True)]))
    assert "told of 0 of 0, of those right nothing to count" in line
