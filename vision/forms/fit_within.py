"""Fit what answers the second questions (``within``) from the shipped feature table."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from sklearn.ensemble import HistGradientBoostingClassifier
from sklearn.pipeline import make_pipeline

from vision.forms.sets import COVERED, quantile_place
from vision.forms.temper import best_temperature, in_order, log_tempered
from vision.forms.within import QUESTIONS, FormWithin

if TYPE_CHECKING:
    import numpy.typing as npt
    from sklearn.pipeline import Pipeline

    from vision.arrays import Float1, Float2
    from vision.forms.fitting import Table

__all__ = ["fit_within"]

_SEED = 20
#: Trees an answer; over scene-grouped folds more gained nothing (nests 0.82 right, spirals
#: 0.68).
_TREES = {"nest": 100, "spiral": 300}
#: So many rows of each answer are the least to learn from, and to set thresholds by.
_LEARN_MIN, _HELD_MIN = 20, 9
#: Of the answers that are told as sure, this share must be right on calibration scenes; nor is
#: one told that is by itself not right four times in five (common practice, no source).
_TOLD_RIGHT, _TOLD_LEAST = 0.95, 0.8
#: A row that stands on a threshold stays above it when its probability is worked out anew.
_HAIR = 1 - 1e-9


def _pipeline(trees: int) -> Pipeline:
    return make_pipeline(
        HistGradientBoostingClassifier(
            max_iter=trees,
            max_leaf_nodes=10,
            max_features=0.2,
            learning_rate=0.05,
            l2_regularization=2.0,
            early_stopping=False,
            random_state=_SEED,
        )
    )


def fit_within(table: Table, question: str) -> FormWithin | None:
    """Fit; set temperature and thresholds on the calibration scenes.

    Parameters
    ----------
    table : Table
    question : str
        A key of ``QUESTIONS``.

    Returns
    -------
    FormWithin or None
        ``None`` where the table holds too few rows of an answer, to learn from or to set
        thresholds by.
    """
    answers = QUESTIONS[question]
    named = table.groups if question == "nest" else table.labels
    asked = (table.labels == "nest") if question == "nest" else np.isin(named, answers)
    asked &= np.isin(named, answers)
    ours, held = asked & ~table.held, asked & table.held
    for at, least in ((ours, _LEARN_MIN), (held, _HELD_MIN)):
        if min(np.count_nonzero(named[at] == a) for a in answers) < least:
            return None
    pipeline = _pipeline(_TREES[question])
    pipeline.fit(table.rows[ours], named[ours])
    p = in_order(pipeline.predict_proba(table.rows[held]), pipeline.classes_, answers)
    truth = np.array([answers.index(str(a)) for a in named[held]])
    temperature = best_temperature(p, truth)
    p = np.exp(log_tempered(p, temperature))
    return FormWithin(
        answers=answers,
        pipeline=pipeline,
        temperature=temperature,
        sure_at=_told_from(p, truth),
        joins_from=_joins_from(p, truth),
    )


def _told_from(p: Float2, truth: npt.NDArray[np.intp]) -> float:
    """Return the least probability from which on enough of the told answers are right."""
    order = np.argsort(-p.max(axis=1), kind="stable")
    right = np.cumsum((p.argmax(axis=1) == truth)[order]) / np.arange(1, len(order) + 1)
    enough = np.flatnonzero(right >= _TOLD_RIGHT)
    at = float(p.max(axis=1)[order][enough[-1]]) * _HAIR if len(enough) else 1.0
    return max(at, _TOLD_LEAST)


def _joins_from(p: Float2, truth: npt.NDArray[np.intp]) -> Float1:
    """Return (A,) the probability that nine in ten of each answer's own rows have of it.

    The likeliest answer is told anyway, so a row that is rightly named is covered.
    """
    out = np.zeros(p.shape[1])
    support = p.copy()
    support[np.arange(len(p)), p.argmax(axis=1)] = 1.0
    for k in range(len(out)):
        own = np.sort(support[truth == k, k])[::-1]
        place = quantile_place(len(own), COVERED)
        if place is not None:
            out[k] = float(own[place - 1]) * _HAIR
    return out
