"""The form model's file and its reasons, on toy models whose answers algebra gives."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from sklearn.base import BaseEstimator, ClassifierMixin
from sklearn.ensemble import ExtraTreesClassifier, HistGradientBoostingClassifier
from sklearn.impute import SimpleImputer
from sklearn.linear_model import LogisticRegression
from sklearn.pipeline import make_pipeline

from vision.chips.features import FEATURES
from vision.errors import ModelUnreadable
from vision.forms.model import CLASSES, FormModel, dump_model, load_model, rows_of
from vision.forms.unlike import clouds_of

NAMES = list(FEATURES)
SOLIDITY, BOW = NAMES.index("solidity"), NAMES.index("bow")


def table(rng, labels=("1", "7", "nest", "none"), count=240):
    rows = rng.normal(size=(count, len(NAMES)))
    truth = np.array(labels)[np.arange(count) % len(labels)]
    rows[:, SOLIDITY] += np.arange(count) % len(labels)
    rows[rng.random(rows.shape) < 0.1] = np.nan
    return rows, truth


def model_of(pipeline, rows, truth, **more):
    facts = {"temperature": 1.0, "sure_at": 0.8, "sure_at_bare": 0.9, "version": "toy-1"}
    facts |= {"joins_from": np.linspace(0, 1, 8), "clouds": clouds_of(rows, truth)}
    return FormModel(
        pipeline=pipeline.fit(rows, truth),
        medians=np.nanmedian(rows, axis=0),
        **{**facts, **more},
    )


@pytest.fixture(scope="module")
def toy():
    """A few trees over every measure, and the rows they learned from."""
    rows, truth = table(np.random.default_rng(5))
    trees = make_pipeline(
        SimpleImputer(strategy="median", add_indicator=True),
        HistGradientBoostingClassifier(max_iter=8, min_samples_leaf=3, random_state=0),
    )
    return model_of(trees, rows, truth, temperature=1.4), rows


def test_probabilities_are_probabilities_of_all_classes(toy):
    model, rows = toy
    p = model.probabilities(rows)
    assert p.shape == (len(rows), len(CLASSES))
    assert p.sum(axis=1) == pytest.approx(np.ones(len(rows)))
    assert (p > 0).all()  # the floor: nothing is ruled out for good
    unknown = [CLASSES.index(c) for c in ("2", "3.1", "4", "5", "8")]
    assert p[:, unknown].max() < 1e-3
    assert np.exp(model.log_scores(rows)) == pytest.approx(p)


def test_temperature_follows_its_formula(toy):
    # p_k^(1/T) over their sum (Guo et al. 2017, from memory), with the floor of 1e-6.
    model, rows = toy
    raw = np.full((len(rows), len(CLASSES)), 1e-6)
    for j, c in enumerate(model.pipeline.classes_):
        raw[:, CLASSES.index(str(c))] = np.clip(
            model.pipeline.predict_proba(rows)[:, j], 1e-6, 1
        )
    cooled = raw ** (1 / 1.4)
    assert model.probabilities(rows) == pytest.approx(
        cooled / cooled.sum(axis=1, keepdims=True)
    )
    flat = replace(model, temperature=1e6).probabilities(rows)
    assert flat == pytest.approx(np.full(flat.shape, 1 / len(CLASSES)), abs=1e-4)


def test_dump_and_load_give_the_same_answers(toy):
    model, rows = toy
    again = load_model(dump_model(model))
    assert np.array_equal(again.probabilities(rows), model.probabilities(rows))
    assert np.array_equal(again.medians, model.medians, equal_nan=True)
    facts = (again.temperature, again.sure_at, again.sure_at_bare, again.version)
    assert facts == (model.temperature, model.sure_at, model.sure_at_bare, model.version)
    assert np.array_equal(again.joins_from, model.joins_from)
    assert again.clouds.limit == model.clouds.limit
    assert np.array_equal(again.clouds.distance(rows), model.clouds.distance(rows))


def test_a_measure_never_seen_stays_unknown(toy):
    medians = toy[0].medians.copy()
    medians[BOW] = np.nan
    again = load_model(dump_model(replace(toy[0], medians=medians)))
    assert np.array_equal(again.medians, medians, equal_nan=True)


DAMAGE = {
    "nothing": lambda _: b"",
    "empty line": lambda _: b"\n",
    "words": lambda _: b"no model at all",
    "half": lambda d: d[: len(d) // 2],
    "head alone": lambda d: d.split(b"\n", 1)[0],
    "body alone": lambda d: d.split(b"\n", 1)[1],
    "no archive": lambda d: d.replace(b"\nPK", b"\nPX", 1),
    "no temperature": lambda d: d.replace(b'"temperature"', b'"fever"', 1),
    "no number": lambda d: d.replace(b'"temperature": 1.4', b'"temperature": "hot"', 1),
}


@pytest.mark.parametrize("damage", DAMAGE)
def test_damaged_files(toy, damage):
    spoil = DAMAGE[damage]
    data = dump_model(toy[0])
    assert spoil(data) != data
    with pytest.raises(ModelUnreadable):
        load_model(spoil(data))


def test_one_changed_byte_is_noticed_or_harmless(toy):
    model, rows = toy
    data = dump_model(model)
    start = data.index(b"\n") + 1
    noticed = 0
    for at in np.linspace(start, len(data) - 1, 60).astype(int):
        spoilt = bytearray(data)
        spoilt[at] ^= 0x55
        try:
            again = load_model(bytes(spoilt))
        except ModelUnreadable:
            noticed += 1
        else:
            # Bytes that only date or name a member of the archive.
            assert np.array_equal(again.probabilities(rows), model.probabilities(rows))
    # Nearly all of the archive is data under a checksum.
    assert noticed >= 40


@pytest.mark.parametrize("names", [NAMES[:-1], NAMES[::-1], [*NAMES, "tint"]])
def test_a_model_of_other_measures(toy, names):
    head, body = dump_model(toy[0]).split(b"\n", 1)
    facts = json.loads(head) | {"features": names}
    with pytest.raises(ModelUnreadable, match="other measures"):
        load_model(json.dumps(facts).encode() + b"\n" + body)


@pytest.mark.parametrize(
    "change",
    [
        {"temperature": 0.0},
        {"temperature": -1.0},
        {"medians": [0.0]},
        {"sure_at": 7.0},
        {"sure_at_bare": 0.0},
        {"joins_from": {"1": 0.5}},
        {"joins_from": dict.fromkeys("12345678", 1.5)},
    ],
)
def test_a_head_that_makes_no_sense(toy, change):
    head, body = dump_model(toy[0]).split(b"\n", 1)
    with pytest.raises(ModelUnreadable):
        load_model(json.dumps(json.loads(head) | change).encode() + b"\n" + body)


class Stranger(ClassifierMixin, BaseEstimator):
    """A type that is on nobody's list; says so when it is brought to life."""

    woken = 0

    def fit(self, _rows, truth):
        self.classes_ = np.unique(truth)
        return self

    def __setstate__(self, state):
        type(self).woken += 1
        super().__setstate__(state)


def test_a_type_off_the_list_is_refused_before_it_lives(rng):
    rows, truth = table(rng)
    data = dump_model(model_of(make_pipeline(Stranger()), rows, truth))
    Stranger.woken = 0
    with pytest.raises(ModelUnreadable):
        load_model(data)
    assert Stranger.woken == 0


def test_rows_in_the_order_of_the_measures(rng):
    values = rng.normal(size=len(NAMES))
    shuffled = dict(rng.permutation(list(zip(NAMES, values.tolist(), strict=True))).tolist())
    shuffled = {k: float(v) for k, v in shuffled.items()}
    assert np.array_equal(rows_of([shuffled])[0], values)
    with pytest.raises(KeyError):
        rows_of([{k: v for k, v in shuffled.items() if k != "bow"}])


@pytest.fixture(scope="module")
def line():
    """Two classes told apart by solidity (much) and bow (little): logistic, no intercept."""
    log_odds = LogisticRegression()
    rng = np.random.default_rng(3)
    rows = rng.normal(size=(80, len(NAMES)))
    model = model_of(make_pipeline(log_odds), rows, np.where(rows[:, SOLIDITY] > 0, "7", "1"))
    weights = np.zeros((1, len(NAMES)))
    weights[0, SOLIDITY], weights[0, BOW] = 2.0, -0.5
    log_odds.coef_, log_odds.intercept_ = weights, np.zeros(1)
    return replace(model, medians=np.zeros(len(NAMES)))


def named(why):
    return [(w.measure.split(":")[0], w.weight) for w in why]


def test_reasons_are_the_terms_of_a_logistic_model(line):
    row = np.zeros(len(NAMES))
    row[SOLIDITY], row[BOW] = 1.5, 1.0
    # Log-odds of "7" against "1" is 2 * 1.5 - 0.5 * 1.0; without a measure its term is
    # gone. The ten other classes at 1e-6 each change that by parts in 10000.
    why = named(line.reasons(row, "7"))
    assert [n for n, _ in why] == ["solidity", "bow"]
    assert [w for _, w in why] == pytest.approx([3.0, -0.5], abs=0.01)
    against = named(line.reasons(row, "1"))
    assert against == [(n, pytest.approx(-w, abs=0.01)) for n, w in why]


def test_reasons_say_what_a_high_value_looks_like(line):
    row = np.zeros(len(NAMES))
    row[SOLIDITY] = 1.0
    (why,) = line.reasons(row, "7")
    assert why.measure == f"solidity: {FEATURES['solidity']}"


def test_unknown_and_ordinary_measures_are_no_reasons(toy, line):
    assert line.reasons(np.zeros(len(NAMES)), "7") == ()  # all at their medians
    model, rows = toy
    row = rows[0].copy()
    row[SOLIDITY] = np.nan
    assert "solidity" not in dict(named(model.reasons(row, "1", count=len(NAMES))))


def test_reasons_of_trees_name_the_measure_that_decides(rng):
    rows, _ = table(rng, count=400)
    rows[:, SOLIDITY] = rng.normal(size=400)
    # Doubt near the middle, so that the median speaks for neither class.
    truth = np.where(rows[:, SOLIDITY] + rng.normal(0, 0.5, 400) > 0, "7", "1")
    trees = make_pipeline(
        SimpleImputer(strategy="median"),
        ExtraTreesClassifier(n_estimators=20, max_features=None, random_state=0, n_jobs=1),
    )
    model = model_of(trees, rows, truth)
    row = np.nanmedian(rows, axis=0)
    for value, label in ((2.0, "7"), (-2.0, "1")):
        row[SOLIDITY] = value
        name, weight = named(model.reasons(row, label))[0]
        assert name == "solidity"
        assert weight > 0
        assert named(model.reasons(row, "1" if label == "7" else "7"))[0][1] < 0


def test_no_more_reasons_than_asked_for(toy):
    model, rows = toy
    assert len(model.reasons(rows[1], "nest", count=2)) <= 2
    weights = [abs(w) for _, w in named(model.reasons(rows[1], "nest", count=9))]
    assert weights == sorted(weights, reverse=True)
