"""When chips cannot be told from what is round them: too much metal, too many things, heaps."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from vision.chips.find import PIECES_OF_A_CHIP
from vision.chips.look import Look, Seen


def thing(area, pieces):
    """A thing of so many pixels that falls into so many pieces; the rest is not asked for."""
    return Seen(
        box_mm=(0, 0, 1, 1),
        mask=np.ones((1, 1), bool),
        linear=np.ones((1, 1, 3), np.float32),
        shape=SimpleNamespace(area=area),
        features={},
        outline_mm=(),
        line_mm=None,
        axis_mm=None,
        at_border=False,
        pieces=pieces,
    )


def look(*seen, busy=0.02, dropped=0, bare=True):
    return Look(seen=seen, busy_share=busy, dropped=dropped, bare=bare)


def test_a_heap_is_metal_in_very_many_pieces():
    assert look(thing(300, 400), thing(500, 1), thing(200, 12)).heap_share == pytest.approx(0.3)


def test_nothing_seen_is_no_heap():
    assert look().heap_share == 0
    assert not look().clutter


@pytest.mark.parametrize(
    ("share", "clutter"), [(0.4, False), (0.6, True)], ids=["less than half", "more"]
)
def test_where_most_of_the_metal_is_heaped_chips_cannot_be_told_apart(share, clutter):
    assert look(thing(1000 * share, 400), thing(1000 * (1 - share), 1)).clutter is clutter


def test_a_nest_in_many_pieces_is_not_yet_a_heap():
    assert not look(thing(1000, PIECES_OF_A_CHIP)).clutter
    assert look(thing(1000, PIECES_OF_A_CHIP + 1)).clutter


@pytest.mark.parametrize(
    ("of", "pieces"),
    [({"busy": 0.3}, 1), ({"dropped": 1}, 1), ({}, 400)],
    ids=["busy", "too many", "heap"],
)
def test_the_card_is_never_clutter(of, pieces):
    assert look(thing(10, pieces), **of).clutter
    assert not look(thing(10, pieces), **of, bare=False).clutter
