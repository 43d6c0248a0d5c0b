"""Sizes are told only where the kind of chip has them and something is known of them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vision import bundled
from vision.chips.eye import GUESSED
from vision.chips.features import FEATURES, feature_row, shape_of
from vision.chips.glance import Glance
from vision.chips.sizing import KEYS, SIZES_OF, SizeModel, facts_of
from vision.errors import ModelUnreadable


def shape(mask):
    return shape_of(mask, np.where(mask, 0.4, 1.0).astype(np.float32))


@pytest.fixture(scope="module")
def bar():
    """A bar of 20 by 1.33 mm at 10.5 px/mm, and a glance that takes it for what it is."""
    mask = np.zeros((60, 260), bool)
    mask[20:34, 20:230] = True
    size = dict.fromkeys(GUESSED, 0.0) | {"length": np.log(20), "width": np.log(1.33)}
    spread = dict.fromkeys(GUESSED, np.log(0.1))
    return replace(
        shape(mask), glance=Glance(log_size=size, log_spread=spread, curls=0.02, winds=0.0)
    )


def rows_of(*shapes):
    return np.array([[feature_row(s)[name] for name in FEATURES] for s in shapes])


def test_a_plain_bar_is_as_long_as_it_is(bar):
    told = bundled.size_model().sizes([bar], rows_of(bar), ["1"])[0]
    # 210 px of 10.5 px/mm; the rule that u tells the truth is tested on unseen scenes.
    for name, true in (("length", 20.0), ("extent", 20.0)):
        value, u = told[name]
        assert value == pytest.approx(true, rel=max(0.06, 2 * u))
        assert 0.005 <= u < 0.4


@pytest.mark.parametrize("key", KEYS)
def test_only_sizes_that_the_group_has(bar, key):
    told = bundled.size_model().sizes([bar], rows_of(bar), [key])[0]
    assert set(told) <= set(SIZES_OF[key])
    assert all(0.005 <= u < 0.4 for _, u in told.values())


def test_chips_are_told_apart_or_together_alike(bar):
    model = bundled.size_model()
    small = replace(shape(np.pad(np.ones((9, 40), bool), 6)), glance=bar.glance)
    both = model.sizes([bar, small], rows_of(bar, small), ["1", "8"])
    alone = [*model.sizes([bar], rows_of(bar), ["1"])]
    alone += model.sizes([small], rows_of(small), ["8"])
    for told, same in zip(both, alone, strict=True):
        assert set(told) == set(same)
        for name, pair in told.items():
            assert pair == pytest.approx(same[name], rel=1e-12)
    assert model.sizes([], np.empty((0, len(FEATURES))), []) == []


def test_facts_are_logarithms_of_millimetres(bar):
    raw, seems, doubt = facts_of([bar, bar], ["1", "2"], "length")
    assert np.exp(raw[0]) == pytest.approx(20, rel=0.05)
    assert np.isnan(raw[1])  # no turns are seen on a bar
    assert np.exp(seems) == pytest.approx([20, 20])
    assert np.exp(doubt) == pytest.approx([0.1, 0.1])
    assert np.isnan(facts_of([replace(bar, glance=None)], ["1"], "length")[1]).all()


def test_an_arc_of_less_than_sixty_degrees_has_no_radius(draw):
    size = dict.fromkeys(GUESSED, np.log(5.0))
    glance = Glance(
        log_size=size, log_spread=dict.fromkeys(GUESSED, np.log(0.05)), curls=1.0, winds=0.0
    )
    short, long = (
        replace(shape(draw.placed(draw.arc(120, d), 8)), glance=glance) for d in (40, 170)
    )
    told = bundled.size_model().sizes([short, long], rows_of(short, long), ["6", "6"])
    assert "curl_radius" not in told[0]
    assert "curl_radius" in told[1]


@pytest.mark.parametrize("data", [b"", b"PK nothing", b"{}"])
def test_a_damaged_file_says_so(data):
    with pytest.raises(ModelUnreadable):
        SizeModel.load(data)
