"""What is never named with sureness, however likely the model takes it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from vision import bundled
from vision.chips.find import PIECES_OF_A_CHIP
from vision.chips.look import look_at
from vision.forms import name
from vision.forms.company import COMPANY
from vision.forms.crumbs import population
from vision.forms.model import CLASSES, rows_of
from vision.forms.name import name_chips
from vision.photo.opened import open_photo
from vision.terms import SNARLING, Flag

PHOTO = Path(__file__).parents[2] / "demo_images" / "mudguard-spacer-303.jpg"


@pytest.fixture(scope="module")
def opened():
    return open_photo(PHOTO.read_bytes())


@pytest.fixture(scope="module")
def looked(opened):
    return look_at(opened.plane, opened.light, bundled.packaged_eye())


def named(look, opened):
    return name_chips(look, opened.plane, opened.light, family=None)


def test_chips_apart_on_the_card_are_named_with_sureness(looked, opened):
    assert sum(chip.sure for chip in named(looked, opened)) >= 3


def test_what_falls_into_as_many_pieces_as_a_nest_may_stays_sure(looked, opened):
    many = tuple(replace(s, pieces=PIECES_OF_A_CHIP) for s in looked.seen)
    before = [chip.sure for chip in named(looked, opened)]
    assert [chip.sure for chip in named(replace(looked, seen=many), opened)] == before


def test_what_falls_into_very_many_pieces_is_unlike_any_chip(looked, opened):
    heaped = tuple(replace(s, pieces=PIECES_OF_A_CHIP + 1) for s in looked.seen)
    chips = named(replace(looked, seen=heaped), opened)
    single = [chip for chip in chips if chip.kind != "grains"]
    assert single
    assert not any(chip.sure for chip in single)
    assert all(Flag.UNLIKE in chip.flags for chip in single)


def test_what_may_be_no_chip_is_never_sure(looked, opened, monkeypatch):
    """However likely its group is, given that it is a chip."""
    usual = bundled.form_model()
    easy = replace(usual, sure_at=1e-6)
    monkeypatch.setattr(bundled, "form_model", lambda: easy)
    doubtful = [chip for chip in named(looked, opened) if chip.p_not_chip > 0.05]
    rest = [chip for chip in named(looked, opened) if chip.p_not_chip <= 0.05]
    assert not any(chip.sure for chip in doubtful if chip.kind != "grains")
    assert any(chip.sure for chip in rest)
    monkeypatch.setattr(name, "chip_for_sure", lambda p: p[CLASSES.index("none")] > 1)
    assert not any(chip.sure for chip in named(looked, opened) if chip.kind != "grains")


def test_in_clutter_nothing_is_sure(looked, opened):
    cluttered = replace(looked, bare=True, dropped=1)
    assert cluttered.clutter
    assert not any(chip.sure for chip in named(cluttered, opened))


@pytest.mark.parametrize("bare", [False, True])
def test_without_a_card_another_limit_of_sureness_holds(looked, opened, bare, monkeypatch):
    usual = bundled.form_model()
    only_on_card = replace(usual, sure_at=1e-6, sure_at_bare=1.0)
    monkeypatch.setattr(bundled, "form_model", lambda: only_on_card)
    assert any(chip.sure for chip in named(replace(looked, bare=bare), opened)) is not bare


def test_the_company_of_the_others_is_told_as_a_reason(looked, opened, monkeypatch):
    """Named alone no chip has it; in company it stands where it weighs more than a measure."""

    def reasons():
        chips = [chip for chip in named(looked, opened) if chip.kind == "chip"]
        return [[w.measure for w in chip.why] for chip in chips]

    monkeypatch.setattr(name, "company_weights", lambda *_: np.full(len(looked.seen), 50.0))
    assert all(why[0] == COMPANY and len(why) <= 3 for why in reasons())
    monkeypatch.setattr(name, "company_weights", lambda *_: np.zeros(len(looked.seen)))
    assert not any(COMPANY in why for why in reasons())


@pytest.mark.parametrize("told", [True, False])
def test_a_nest_has_a_group_only_where_that_is_sure(looked, opened, told, monkeypatch):
    usual = bundled.form_model()
    nests = replace(usual.within["nest"], sure_at=1e-6 if told else 1.0)
    model = replace(usual, within={**usual.within, "nest": nests})
    monkeypatch.setattr(bundled, "form_model", lambda: model)
    monkeypatch.setattr(name, "best_labels", lambda p: np.full(len(p), "nest"))
    chips = named(looked, opened)
    alike = [chip for chip in chips if Flag.UNLIKE not in chip.flags]
    assert alike
    for chip in alike:
        assert chip.kind == "nest"
        likeliest = max(chip.probability, key=chip.probability.get)
        assert chip.group == (likeliest if told else None)
        assert chip.form == (f"{likeliest}.3" if told else None)
        assert chip.group_set[0] == likeliest
        # What is not sure to be a nest may hold any of its set; what is not told is open.
        may_be = tuple(f"{g}.3" for g in chip.group_set)
        if told:
            assert chip.candidates == (may_be[:1] if chip.sure else may_be)
        else:
            assert chip.candidates[: len(may_be)] == may_be
            assert len(chip.candidates) == max(len(may_be), 2)
        assert sum(chip.probability.values()) == pytest.approx(1)
        assert {g for g, p in chip.probability.items() if p > 0} <= set(SNARLING)
    without_card = named(replace(looked, bare=True), opened)
    assert all(chip.group is None and chip.form is None for chip in without_card)


def test_how_a_spiral_lies_is_asked_again(looked, opened, monkeypatch):
    usual = bundled.form_model()
    monkeypatch.setattr(name, "best_labels", lambda p: np.full(len(p), "3.1"))
    rows = rows_of([s.features for s in looked.seen])
    answers = usual.within["spiral"].probabilities(rows)
    assert {chip.form for chip in named(looked, opened)} <= {"3.1", "3.2"}
    wanted = sorted(np.where(answers[:, 0] >= answers[:, 1], "3.1", "3.2").tolist())
    p = usual.probabilities(rows)
    assert sorted(name._labels(p, rows, usual).tolist()) == wanted
    assert set(name._labels(p, rows, replace(usual, within={})).tolist()) == {"3.1"}


@pytest.mark.parametrize(("sure", "of_all"), [(3, True), (2, False)])
def test_crumbs_are_sure_where_most_are_and_their_size_is_known(looked, opened, sure, of_all):
    lead = next(chip for chip in named(looked, opened) if chip.kind == "chip")
    crumbs = [replace(lead, group="7", form="7", sure=k < sure) for k in range(6)]
    assert population(crumbs, [0.5] * 6, scaled=True).sure is of_all
    assert not population(crumbs, [0.5] * 6, scaled=False).sure
