"""Counting a crowd of grains: what counts, what is ignored, what is held against a reading."""

from __future__ import annotations

import numpy as np
import pytest

from vision.training.rows import CRUMBS, NO_CHIP
from vision.training.score import SceneScore, _score_grains


def truth(showing):
    """Grains 1, 2, ... that show, one too small, one hidden, one cut off, then a chip."""
    whole = {"group": "7", "counts": False, "visible_px": 60}
    whole |= {"share_unoccluded": 1.0, "in_frame": True}
    grains = [
        *([whole] * showing),
        whole | {"visible_px": 39},
        whole | {"share_unoccluded": 0.4},
        whole | {"in_frame": False},
        whole | {"group": "2", "counts": True, "visible_px": 900},
    ]
    chips = [{"number": k + 1, **grain} for k, grain in enumerate(grains)]
    return {"chips": chips, "crumbs": {"count": 30}, "grains": []}


@pytest.fixture
def counted(grain):
    def count(showing, covers):
        score = SceneScore("x", card=True)
        things = [(grain(number=k), [np.zeros((3, 2))]) for k in range(len(covers))]
        _score_grains(score, things, covers, truth(showing))
        return score.grains

    return count


def test_grains_found_one_by_one_are_counted(counted):
    assert counted(5, [{k: 0.9, 0: 0.1} for k in (1, 2, 3, 4)]) == (5, 4)


@pytest.mark.parametrize("cover", [{CRUMBS: 0.8}, {6: 0.9}, {7: 0.9}, {8: 0.9}])
def test_dust_and_hidden_grains_are_not_held_against_a_reading(counted, cover):
    assert counted(5, [{1: 0.9}, cover]) == (5, 1)


@pytest.mark.parametrize("cover", [{0: 1.0}, {NO_CHIP: 0.9}, {9: 0.9}])
def test_grains_that_are_none_are_held_against_it(counted, cover):
    assert counted(5, [{1: 0.9}, cover]) == (5, 2)


def test_four_are_no_crowd(counted):
    assert counted(4, [{1: 0.9}]) is None
