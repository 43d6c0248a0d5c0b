"""Sets of groups: thresholds by hand, and the coverage that theory promises.

With n scores of a class that may be swapped at will, and the k-th smallest as threshold, a
new score stays within it with chance k / (n + 1) on the mean, and over calibration sets that
chance is Beta(k, n + 1 - k) distributed (V. Vovk, "Conditional validity of inductive conformal
predictors", 2012; from memory). By class: Vovk, Gammerman and Shafer 2005; Sadinle, Lei and
Wasserman 2019; from memory.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import beta

from vision.forms.model import CLASSES, GROUPS
from vision.forms.sets import (
    best_labels,
    chip_for_sure,
    group_probabilities,
    joins_from,
    kept_at,
    quantile_place,
    sets_of,
)


def row(**shares):
    """Probabilities of one thing: ``c1=0.5`` is class "1", ``c3_1`` class "3.1"."""
    p = np.full(len(CLASSES), 1e-9)
    for name, share in shares.items():
        p[CLASSES.index(name.removeprefix("c").replace("_", "."))] = share
    return p / p.sum()


def two(share_of_2):
    """Things called group 1 that are group 2 with some probability under one half."""
    rest = 1 - np.asarray(share_of_2)
    return np.array([row(c2=s, c1=r) for s, r in zip(share_of_2, rest, strict=True)])


@pytest.mark.parametrize(
    ("count", "share", "place"),
    [(99, 0.9, 90), (19, 0.9, 18), (9, 0.9, 9), (8, 0.9, None), (0, 0.9, None), (99, 0.99, 99)],
)
def test_one_more_is_counted_than_there_are(count, share, place):
    assert quantile_place(count, share) == place


def test_a_threshold_by_hand():
    # Nineteen chips of group 2 called 1: ceil(0.9 * 20) = 18 have to be in, so all but one.
    shares = np.linspace(0.02, 0.38, 19)
    joins = joins_from(two(shares), np.full(19, "2"))
    assert joins[GROUPS.index("2")] == pytest.approx(0.04)
    told = sets_of(two([0.039, 0.041]), joins)
    assert "2" not in told[0]
    assert "2" in told[1]


def test_a_group_that_is_named_rightly_nine_times_in_ten_joins_only_by_name():
    # 18 of 20 named 2 are enough: ceil(0.9 * 21) = 19 places, of which one more is missing.
    named = np.array([row(c2=0.8, c1=0.2)] * 19)
    joins = joins_from(np.vstack([named, two([0.1])]), np.full(20, "2"))
    assert joins[GROUPS.index("2")] == 1
    few = joins_from(np.vstack([named[:18], two([0.1, 0.3])]), np.full(20, "2"))
    assert few[GROUPS.index("2")] == pytest.approx(0.3)


@pytest.mark.parametrize(("count", "always"), [(0, True), (8, True), (9, False)])
def test_too_few_chips_rule_nothing_out(count, always):
    joins = joins_from(two(np.full(count, 0.3)).reshape(-1, 12), np.full(count, "2"))
    assert (joins[GROUPS.index("2")] == 0) == always
    assert ("2" in sets_of(two([0.001]), joins)[0]) == always


def test_coverage_of_a_class_is_what_theory_says():
    rng = np.random.default_rng(4)
    n, new = 19, 300
    covered = []
    for _ in range(300):
        # Any law will do as long as all are drawn alike; a skewed one.
        shares = 0.45 * rng.random(n + new) ** 3
        joins = joins_from(two(shares[:n]), np.full(n, "2"))
        covered.append(np.mean(["2" in told for told in sets_of(two(shares[n:]), joins)]))
    law = beta(18, 2)
    # Standard error of the mean over 300 rounds, three of them.
    assert np.mean(covered) == pytest.approx(18 / 20, abs=3 * law.std() / 300**0.5)
    assert np.std(covered) == pytest.approx(law.std(), rel=0.15)


def test_a_hard_group_is_covered_as_well_as_an_easy_one():
    rng = np.random.default_rng(6)
    n = 400

    def drawn():
        easy, hard = 0.3 + 0.1 * rng.random(n), 0.02 + 0.1 * rng.random(n)
        p = [row(c4=a, c1=1 - a) for a in easy] + [row(c5=b, c1=1 - b) for b in hard]
        return np.array(p), np.array(["4"] * n + ["5"] * n)

    joins = joins_from(*drawn())
    p, groups = drawn()
    inside = np.array([g in told for g, told in zip(groups, sets_of(p, joins), strict=True)])
    # 0.9 within three standard errors of calibrating and of counting 400 chips each.
    for g in "45":
        assert inside[groups == g].mean() == pytest.approx(0.9, abs=3 * (2 * 0.09 / n) ** 0.5)
    # One threshold over both would cover the hard one about eight times in ten.
    own = group_probabilities(p)[np.arange(2 * n), [GROUPS.index(g) for g in groups]]
    one = np.sort(own)[2 * n // 10]
    assert (own[groups == "5"] >= one).mean() < 0.85


@given(st.integers(0, 10_000))
def test_no_set_is_empty_and_the_named_group_comes_first(seed):
    rng = np.random.default_rng(seed)
    p = rng.dirichlet(np.full(len(CLASSES), 0.3), size=20)
    joins = rng.choice([0.0, 0.1, 0.5, 1.0], size=8)
    shares = group_probabilities(p)
    for label, own, told in zip(best_labels(p), shares, sets_of(p, joins), strict=True):
        if label == "nest":
            assert set(told) == {"1", "2", "4", "5"}
            continue
        assert told[0] == label[0]
        assert set(told[1:]) == {
            g
            for g, share, at in zip(GROUPS, own, joins, strict=True)
            if share >= at and g != label[0]
        }
        others = [own[GROUPS.index(g)] for g in told[1:]]
        assert others == sorted(others, reverse=True)


def test_nothing_has_no_sets():
    none = np.empty((0, len(CLASSES)))
    assert sets_of(none, np.ones(8)) == []
    assert best_labels(none).shape == (0,)
    assert joins_from(none, np.empty(0, str)).tolist() == [0.0] * 8


def test_groups_are_told_given_that_it_is_a_chip():
    p = np.array([row(c3_1=0.2, c3_2=0.1, c2=0.1, nest=0.1, none=0.5)])
    shares = dict(zip(GROUPS, group_probabilities(p)[0], strict=True))
    assert shares["3"] == pytest.approx(0.75)
    assert shares["2"] == pytest.approx(0.25)
    assert best_labels(p).tolist() == ["3.1"]
    assert kept_at(np.array([row(none=0.66, c2=0.34), row(none=0.67, c2=0.33)])).tolist() == [
        True,
        False,
    ]


def test_only_what_is_hardly_no_chip_may_be_sure():
    rows = np.array([row(none=0.05, c2=0.95), row(none=0.06, c2=0.94)])
    assert chip_for_sure(rows).tolist() == [True, False]
    assert bool(chip_for_sure(rows[0]))


def test_what_is_wrongly_called_a_nest_is_counted():
    # Ten arcs, two called a nest: no threshold covers these, so arcs join whatever they have.
    arcs = [row(c6_2=0.9, c1=0.1)] * 8 + [row(nest=0.9, c6_2=0.1)] * 2
    joins = joins_from(np.array(arcs), np.full(10, "6"))
    assert joins[GROUPS.index("6")] == 0
    # Tubular coils called a nest are covered anyway.
    tubes = [row(c2=0.9, c1=0.1)] * 8 + [row(nest=0.9, c6_2=0.1)] * 2
    assert joins_from(np.array(tubes), np.full(10, "2"))[GROUPS.index("2")] == 1
