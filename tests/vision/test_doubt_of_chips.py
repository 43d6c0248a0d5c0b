"""Sets of groups and the look for what is unlike any chip, through the whole walk."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.vision.drawn import dark
from vision import bundled, read_photo
from vision.forms.model import GROUPS
from vision.synthetic import make_scene
from vision.synthetic.strips import arc, grains, needle, wavy_ribbon


@pytest.fixture(scope="module")
def photo():
    rng = np.random.default_rng(12)
    shapes = [grains(rng, 10, 1.5)]
    shapes += [needle(7.0, 0.4), arc(6.0, 120.0, 0.8), wavy_ribbon(14.0, 1.5, 1.0, 0.7)]
    return make_scene(rng, chips=dark(shapes)).jpeg


def read_with(monkeypatch, photo, **change):
    model = bundled.form_model()
    clouds = replace(model.clouds, limit=change.pop("limit", np.inf))
    changed = replace(model, clouds=clouds, **change)
    monkeypatch.setattr(bundled, "form_model", lambda: changed)
    return read_photo(photo)


def test_what_is_unlike_any_chip_is_never_sure_and_says_so(monkeypatch, photo):
    sure_of_all = {"sure_at": 1e-6, "sure_at_bare": 1e-6, "joins_from": np.ones(8)}
    usual = read_with(monkeypatch, photo, **sure_of_all)
    assert all("unlike-any" not in c.flags for c in usual.chips)
    assert any(c.sure for c in usual.chips)
    monkeypatch.undo()
    odd = read_with(monkeypatch, photo, limit=1e-6, **sure_of_all)
    assert odd.chips
    for chip in odd.chips:
        assert not chip.sure
        assert {"unlike-any", "not-sure"} <= set(chip.flags)
        # No crumb vanishes in a population: each carries its own flag.
        assert chip.kind != "grains"
    assert not odd.form.sure
    assert sum(c.count or 1 for c in usual.chips) == len(odd.chips)


def test_the_set_is_what_a_person_is_asked_to_think_of(monkeypatch, photo):
    wide = read_with(monkeypatch, photo, joins_from=np.zeros(8), sure_at=1.0)
    singles = [c for c in wide.chips if c.kind == "chip"]
    assert singles
    for chip in singles:
        assert set(chip.group_set) == set(GROUPS)
        assert chip.group_set[0] == chip.group
        assert {code[0] for code in chip.candidates} == set(GROUPS)
        assert chip.candidates[0][0] == chip.group


def test_a_population_keeps_what_each_of_its_crumbs_may_be(monkeypatch, photo):
    at = np.where(np.array(GROUPS) == "6", 0.05, 1.0)
    either = read_with(monkeypatch, photo, joins_from=at)
    (population,) = [c for c in either.chips if c.kind == "grains"]
    assert population.count >= 3
    # One ring each, whatever holes a crumb shows.
    assert len(population.group_sets) == len(population.outline_px) == population.count
    assert set(population.group_sets) <= {("7",), ("7", "6")}
    assert population.candidates == ("7",)
    monkeypatch.undo()
    # Nothing joins: the same crumbs, each with its own name alone.
    alone = read_with(monkeypatch, photo, joins_from=np.ones(8))
    (same,) = [c for c in alone.chips if c.kind == "grains"]
    assert same.count == population.count
    assert set(same.group_sets) == {("7",)}
    assert same.group_set == ("7",)
