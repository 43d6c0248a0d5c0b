"""Trees asked at once, against the library that grew them."""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.ensemble import ExtraTreesClassifier, HistGradientBoostingClassifier
from sklearn.impute import SimpleImputer
from sklearn.pipeline import make_pipeline

from vision import trees as trees_module
from vision.trees import trees_of

SETTINGS = {
    "small": {"max_iter": 9, "max_leaf_nodes": 12},
    "stumps": {"max_iter": 5, "max_leaf_nodes": 2},
    "questionless": {"max_iter": 3, "min_samples_leaf": 250},
    "wide": {"max_iter": 4, "max_leaf_nodes": 32, "min_samples_leaf": 2},
}


def rows_and_labels(rng, count=400):
    """Return measures with gaps; one is blank by class, so that blanks go both ways."""
    labels = np.array(["a", "b", "c", "d"])[rng.integers(0, 4, count)]
    rows = rng.normal(size=(count, 6)) + (labels == "c")[:, None]
    rows[rng.random(rows.shape) < 0.2] = np.nan
    rows[(labels == "b") & (rng.random(count) < 0.7), 2] = np.nan
    return rows, labels


@pytest.fixture(params=SETTINGS, ids=list(SETTINGS))
def grown(request):
    rows, labels = rows_and_labels(np.random.default_rng(3))
    boosting = HistGradientBoostingClassifier(**SETTINGS[request.param], random_state=0)
    return make_pipeline(boosting.fit(rows, labels)), rows


def test_they_answer_as_the_library_does(grown):
    pipeline, rows = grown
    asked = np.concatenate([rows, np.full((1, 6), np.nan), np.full((1, 6), 1e9)])
    given = trees_of(pipeline).probabilities(asked)
    np.testing.assert_allclose(given, pipeline.predict_proba(asked), rtol=1e-12)


@pytest.mark.parametrize("count", [0, 1, 250])
def test_many_rows_are_asked_block_by_block(grown, count, monkeypatch):
    pipeline, rows = grown
    trees = trees_of(pipeline)
    monkeypatch.setattr(trees_module, "_AT_ONCE", 7 * max(len(trees.feature), 1))
    given = trees.probabilities(rows[:count])
    assert given.shape == (count, 4)
    if count:
        np.testing.assert_allclose(given, pipeline.predict_proba(rows[:count]), rtol=1e-12)


def test_of_two_classes_too():
    rows, labels = rows_and_labels(np.random.default_rng(5))
    boosting = HistGradientBoostingClassifier(max_iter=4, random_state=0)
    pipeline = make_pipeline(boosting).fit(rows, labels == "b")
    given = trees_of(pipeline).probabilities(rows)
    np.testing.assert_allclose(given, pipeline.predict_proba(rows), rtol=1e-12)


def test_a_value_on_the_threshold_goes_the_librarys_way(grown):
    """Thresholds lie on values or between them; both are asked for exactly."""
    pipeline, _ = grown
    trees = trees_of(pipeline)
    asked = np.zeros((len(trees.threshold), 6))
    asked[np.arange(len(asked)), trees.feature] = np.minimum(trees.threshold, 1e30)
    given = trees.probabilities(asked)
    np.testing.assert_allclose(given, pipeline.predict_proba(asked), rtol=1e-12)


def test_probing_is_asking_with_one_measure_replaced(grown):
    pipeline, rows = grown
    trees, medians = trees_of(pipeline), np.nanmedian(rows, axis=0)
    for row, given in zip(rows[:25], trees.probed(rows[:25], medians), strict=True):
        copies = np.repeat(row[None], 7, axis=0)
        copies[np.arange(1, 7), np.arange(6)] = medians
        np.testing.assert_allclose(given, pipeline.predict_proba(copies), rtol=1e-11)


def test_other_models_are_left_to_the_library():
    rows, labels = rows_and_labels(np.random.default_rng(4))
    boosting = HistGradientBoostingClassifier(max_iter=2)
    others = (
        make_pipeline(ExtraTreesClassifier(4)).fit(rows, labels),
        make_pipeline(SimpleImputer(), boosting).fit(rows, labels),
        make_pipeline(HistGradientBoostingClassifier(max_iter=2, categorical_features=[0])).fit(
            np.c_[numbered(labels), rows], labels
        ),
        make_pipeline(
            HistGradientBoostingClassifier(max_iter=2, max_leaf_nodes=40, min_samples_leaf=1)
        ).fit(rows, labels),
    )
    assert [trees_of(p) for p in others] == [None] * len(others)


def numbered(labels):
    return (labels == "a") * 1 + (labels == "b") * 2
