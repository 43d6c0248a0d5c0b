"""Counting a crowd of grains: what counts, what is ignored, what is held against a reading."""

from __future__ import annotations

import numpy as np
import pytest

from vision.records import ChipGeometry, ChipReading
from vision.training.rows import CRUMBS, NO_CHIP
from vision.training.score import SceneScore, _score_grains


def grain(number):
    return ChipReading(
        number=number,
        kind="chip",
        outline_px=(np.zeros((3, 2)),),
        group="7",
        form="7",
        sure=True,
        candidates=("7",),
        probability={},
        p_not_chip=0.0,
        why=(),
        geometry=ChipGeometry(),
        tint=None,
    )


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


def counted(showing, covers):
    score = SceneScore("x", card=True)
    things = [(grain(k), [np.zeros((3, 2))]) for k in range(len(covers))]
    _score_grains(score, things, covers, truth(showing))
    return score.grains


def test_grains_found_one_by_one_are_counted():
    assert counted(5, [{k: 0.9, 0: 0.1} for k in (1, 2, 3, 4)]) == (5, 4)


@pytest.mark.parametrize("cover", [{CRUMBS: 0.8}, {6: 0.9}, {7: 0.9}, {8: 0.9}])
def test_dust_and_hidden_grains_are_not_held_against_a_reading(cover):
    assert counted(5, [{1: 0.9}, cover]) == (5, 1)


@pytest.mark.parametrize("cover", [{0: 1.0}, {NO_CHIP: 0.9}, {9: 0.9}])
def test_grains_that_are_none_are_held_against_it(cover):
    assert counted(5, [{1: 0.9}, cover]) == (5, 2)


def test_four_are_no_crowd():
    assert counted(4, [{1: 0.9}]) is None
