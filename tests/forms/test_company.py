"""Chips named together, on probabilities whose answer can be worked out by hand."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from vision.forms import company
from vision.forms.company import company_weights, in_company, in_company_by
from vision.forms.model import CLASSES

VOTING = ["1", "2", "3", "4", "5", "6", "8"]


def row(**shares):
    """Probabilities by class: ``c3_1`` for "3.1"."""
    p = np.zeros(len(CLASSES))
    for name, value in shares.items():
        p[CLASSES.index(name.removeprefix("c").replace("_", "."))] = value
    return p


def groups_of(p):
    return np.array([sum(p[k] for k, c in enumerate(CLASSES) if c[:1] == g) for g in VOTING])


def by_enumeration(rows, one_cut, main, together):
    """Bayes' rule spelled out: every kind of photo, every way to name all chips."""
    kinds = [("mixture", 1 - one_cut)] + [(g, one_cut / 7) for g in VOTING]

    def share(kind, g):
        return 1 / 7 if kind == "mixture" else main * (kind == g) + (1 - main) / 7

    shares = [groups_of(p) / groups_of(p).sum() for p in rows]
    weight = {}
    for kind, prior in kinds:
        likelihood = 1.0
        for own, p in zip(shares, rows, strict=True):
            fit = sum(7 * own[k] * share(kind, g) for k, g in enumerate(VOTING))
            likelihood *= fit ** (together * groups_of(p).sum())
        weight[kind] = prior * likelihood
    total = sum(weight.values())
    out = []
    for own in shares:
        mine = np.zeros(7)
        for (kind, _), (k, g) in product(kinds, enumerate(VOTING)):
            fit = sum(own[j] * share(kind, h) for j, h in enumerate(VOTING))
            mine[k] += weight[kind] / total * own[k] * share(kind, g) / fit
        out.append(mine)
    return np.array(out)


@pytest.fixture
def photo():
    return np.array(
        [
            row(c2=0.8, c4=0.1, c5=0.1),
            row(c2=0.5, c5=0.4, none=0.1),
            row(c4=0.45, c2=0.44, c3_1=0.06, c3_2=0.05),
            row(c7=0.6, c6_1=0.3, c8=0.1),
            row(nest=0.7, c2=0.3),
        ]
    )


def test_bayes_rule_spelled_out_gives_the_same(photo):
    """T. Bayes' rule for a mixture, enumerated; any textbook of probability."""
    together = in_company(photo)
    wanted = by_enumeration(photo, 0.5, 0.7, 0.5)
    for p, q, mine in zip(photo, together, wanted, strict=True):
        assert groups_of(q) == pytest.approx(mine * groups_of(p).sum(), abs=1e-9)


def test_what_does_not_vote_stays_as_it_was(photo):
    together = in_company(photo)
    for c in ("7", "nest", "none"):
        k = CLASSES.index(c)
        assert together[:, k] == pytest.approx(photo[:, k])
    assert together.sum(axis=1) == pytest.approx(photo.sum(axis=1))
    # Flat and rising spirals keep their shares of the spirals.
    flat, rising = CLASSES.index("3.1"), CLASSES.index("3.2")
    assert together[2, flat] / together[2, rising] == pytest.approx(0.06 / 0.05)


def test_a_doubtful_chip_goes_with_the_others_and_a_clear_one_does_not():
    coils = [row(c2=0.97, c4=0.02, c5=0.01)] * 6
    doubtful, clear = row(c4=0.55, c2=0.45), row(c1=0.995, c2=0.005)
    p = in_company(np.array([*coils, doubtful, clear]))
    assert CLASSES[p[-2].argmax()] == "2"
    assert CLASSES[p[-1].argmax()] == "1"
    assert p[-1].max() > 0.9


def test_in_a_mixture_chips_stay_about_what_they_are():
    every = [row(c1=0.9, c2=0.1), row(c2=0.9, c4=0.1), row(c3_1=0.9, c1=0.1)]
    every += [row(c4=0.9, c5=0.1), row(c5=0.9, c2=0.1), row(c6_1=0.9, c8=0.1)]
    every += [row(c8=0.9, c1=0.1), row(c2=0.5, c5=0.5)]
    p = np.array(every)
    # One of each kind is an even split, which expects each group alike; what is left is that
    # one chip more speaks for group 2.
    assert np.abs(in_company(p) - p).max() < 0.1
    assert (in_company(p[:-1]).argmax(axis=1) == p[:-1].argmax(axis=1)).all()


def test_alone_nothing_changes(photo):
    assert np.array_equal(in_company(photo[:1]), photo[:1])
    assert in_company(photo[:0]).shape == (0, len(CLASSES))


def test_no_share_of_the_groups_at_all_is_no_trouble():
    p = np.array([row(none=1.0), row(nest=1.0), row(c2=1.0)])
    assert in_company(p) == pytest.approx(p)


def test_each_photo_is_a_company_of_its_own_and_what_is_not_shown_stays_out(photo):
    photos = np.array(["b", "a", "b", "a", "b", "b"])
    rows = np.array([photo[0], photo[1], photo[2], photo[0], photo[1], row(none=0.9, c2=0.1)])
    shown = np.array([True, True, True, True, True, False])
    out = in_company_by(rows, photos, shown)
    assert out[[0, 2, 4]] == pytest.approx(in_company(rows[[0, 2, 4]]))
    assert out[[1, 3]] == pytest.approx(in_company(rows[[1, 3]]))
    assert np.array_equal(out[5], rows[5])


def test_the_weight_is_the_change_of_the_log_odds():
    alone = np.array([row(c3_1=0.3, c3_2=0.2, c2=0.5)])
    together = np.array([row(c3_1=0.5, c3_2=0.3, c2=0.2)])
    (weight,) = company_weights(alone, together, ["3.1"])
    assert weight == pytest.approx(np.log(4.0) - np.log(1.0))
    assert company_weights(alone, alone, ["2"]) == pytest.approx([0.0])


def test_the_more_photos_show_one_cut_the_more_the_others_count(photo, monkeypatch):
    before = in_company(photo)[2, CLASSES.index("2")]
    count = len(VOTING)
    prior = np.log([*[0.9 / count] * count, 0.1])
    monkeypatch.setattr(company, "_LOG_PRIOR", prior)
    assert in_company(photo)[2, CLASSES.index("2")] > before
