"""Sizes are told only where the kind of chip has them and something is known of them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vision import bundled
from vision.chips.eye import GUESSED
from vision.chips.features import FEATURES, feature_row, shape_of
from vision.chips.glance import Glance
from vision.chips.measure import SIZES
from vision.chips.sizing import KEYS, SIZES_OF, Base, Facts, SizeModel, facts_of, questions
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
    facts = facts_of([bar, bar], ["1", "2"])
    assert np.exp(facts.raw["length"][0]) == pytest.approx(20, rel=0.05)
    assert np.isnan(facts.raw["length"][1])  # no turns are seen on a bar
    assert np.exp(facts.seems["length"]) == pytest.approx([20, 20])
    assert np.exp(facts.doubt["length"]) == pytest.approx([0.1, 0.1])
    blind = facts_of([replace(bar, glance=None)], ["1"])
    assert np.isnan(blind.seems["length"]).all()
    assert set(blind.raw) == set(blind.seems) == set(SIZES)


def test_trees_are_asked_what_is_known_of_other_sizes_in_any_unit():
    """Twice as large in all sizes asks the same of the others, less what is corrected."""
    rows, keys = np.zeros((1, len(FEATURES))), ["2"]
    logs = {k: np.array([0.3 * i]) for i, k in enumerate(SIZES)}
    bases = {"2": Base(1.0, glance_leads=True)}
    small = Facts(raw=logs, seems=logs, doubt=logs)
    twice = {k: v + np.log(2) for k, v in logs.items()}
    large = Facts(raw=twice, seems=twice, doubt=logs)
    (few, base), (many, higher) = (
        questions("pitch", rows, keys, bases, facts) for facts in (small, large)
    )
    assert higher - base == pytest.approx(np.log(2))
    others = len(FEATURES) + 5
    # Five glances (an extent is never guessed) and six measured ones.
    assert few.shape == (1, others + 5 + 6)
    assert many[:, others:] == pytest.approx(few[:, others:])
    assert many[:, len(FEATURES)] - few[:, len(FEATURES)] == pytest.approx(np.log(2))


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
