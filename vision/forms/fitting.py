"""Fit the form model from the shipped feature table.

The table is the knowledge, the model file a cache of it: where the file cannot be
loaded (other library versions) the model is fitted again from the table, in
a minute or two. Choosing between kinds of model is in ``vision.training``.
"""

from __future__ import annotations

import csv
import gzip
import io
from dataclasses import replace
from math import inf
from typing import TYPE_CHECKING

import numpy as np
from sklearn.ensemble import HistGradientBoostingClassifier
from sklearn.model_selection import StratifiedGroupKFold
from sklearn.pipeline import make_pipeline

from vision.chips.features import FEATURES
from vision.errors import ModelUnreadable
from vision.forms.company import in_company_by
from vision.forms.fit_within import fit_within
from vision.forms.model import CLASSES, GROUPS, FormModel
from vision.forms.sets import chip_for_sure, joins_from, kept_at, quantile_place
from vision.forms.temper import best_temperature, in_order, log_tempered
from vision.forms.unlike import clouds_of
from vision.forms.within import QUESTIONS

if TYPE_CHECKING:
    import numpy.typing as npt
    from sklearn.pipeline import Pipeline

    from vision.forms.unlike import Clouds

__all__ = ["Table", "fit_model", "form_pipeline", "out_of_fold", "read_table"]

SEED = 20
_LOG_AREA = list(FEATURES).index("log_area")
_FOLDS = 5
#: Of what is named with sureness on calibration scenes, at least this share must be rightly
#: named, clutter that was called a chip counted as wrong: of the metal, since a photo's form
#: goes by how much metal leaves in which form, and of the things, since each is told. Without
#: a card more is asked: real benches and machines differ more from rendered ones than the card
#: does, and with 0.95 an edge of a tool post was a ribbon for sure in a real photo.
_SURE_ACCURACY, _SURE_ACCURACY_BARE = 0.95, 0.97
#: Nor is anything sure that is by itself not right four times in five (common practice, no
#: source); more than the second is never asked, even where nothing reaches that share.
_SURE_WITHIN = (0.8, 0.97)
#: Of true chips of calibration scenes this share may pass as like those learned from.
_ORDINARY = 0.99


class Table:
    """The feature table: rows (N, F), labels (N,), scene of each row (N,).

    ``held`` (N,) marks rows of calibration scenes: they set how sure the model may be and
    are never learned from; ``bare`` (N,) rows of photos without a card. ``groups`` (N,) are
    the true groups, for nests what is snarled in them; empty where that is not known.
    """

    def __init__(
        self,
        rows: npt.NDArray[np.float64],
        labels: npt.NDArray[np.str_],
        scenes: npt.NDArray[np.str_],
        held: npt.NDArray[np.bool_] | None = None,
        bare: npt.NDArray[np.bool_] | None = None,
        *,
        groups: npt.NDArray[np.str_] | None = None,
    ) -> None:
        self.rows, self.labels, self.scenes = rows, labels, scenes
        self.held = np.zeros(len(labels), bool) if held is None else held
        self.bare = np.zeros(len(labels), bool) if bare is None else bare
        self.groups = np.full(len(labels), "") if groups is None else groups

    def learned(self) -> Table:
        """Return the rows to learn from."""
        at = ~self.held
        bare, groups = self.bare[at], self.groups[at]
        return Table(self.rows[at], self.labels[at], self.scenes[at], bare=bare, groups=groups)


def read_table(data: bytes) -> Table:
    """Read the shipped table (gzip-compressed CSV); empty cells are NaN."""
    text = gzip.decompress(data).decode()
    records = list(csv.DictReader(io.StringIO(text)))
    missing = set(FEATURES) - set(records[0] if records else ())
    if missing:
        raise ModelUnreadable(
            f"The feature table lacks {', '.join(sorted(missing))}; rebuild it."
        )
    rows = np.array([[float(r[f] or "nan") for f in FEATURES] for r in records])
    labels = np.array([r["label"] for r in records])
    held = np.array([r.get("part") == "calibration" for r in records])
    bare = np.array([r.get("card") == "0" for r in records])
    groups = np.array([r.get("group", "") for r in records])
    scenes = np.array([r["scene"] for r in records])
    return Table(rows, labels, scenes, held, bare, groups=groups)


def form_pipeline() -> Pipeline:
    """Return the chosen kind of model, not fitted: the smallest that won on unseen scenes."""
    return make_pipeline(
        HistGradientBoostingClassifier(
            max_iter=240,
            max_leaf_nodes=16,
            max_features=0.2,  # of the measures at each split: trees that differ name better
            learning_rate=0.06,
            l2_regularization=2.0,
            early_stopping=False,
            random_state=SEED,
        )
    )


def out_of_fold(table: Table, pipeline: Pipeline) -> npt.NDArray[np.float64]:
    """Return (N, C) probabilities of each row from models that never saw its scene."""
    p = np.empty((len(table.labels), len(CLASSES)))
    folds = StratifiedGroupKFold(_FOLDS, shuffle=True, random_state=SEED)
    for train, test in folds.split(table.rows, table.labels, table.scenes):
        pipeline.fit(table.rows[train], table.labels[train])
        p[test] = _known(table.rows[test], pipeline)
    return p


def _sure_at(
    p: npt.NDArray[np.float64],
    truth: npt.NDArray[np.intp],
    area: npt.NDArray[np.float64],
    asked: float,
) -> float:
    """Return the least probability of a group above which as much as asked is rightly named.

    Only answers that name a chip count: clutter called clutter would flatter the chips.
    """
    group = np.array([c.split(".")[0] for c in CLASSES])
    names = [str(n) for n in np.unique(group)]
    sums = np.stack([p[:, group == n].sum(axis=1) for n in names], axis=1)
    named = sums.argmax(axis=1) != names.index("none")
    hit = np.array(names)[sums.argmax(axis=1)] == group[truth]
    order = np.flatnonzero(named)[np.argsort(-sums.max(axis=1)[named], kind="stable")]
    metal = np.cumsum((hit * area)[order]) / np.cumsum(area[order])
    right = np.minimum(metal, np.cumsum(hit[order]) / np.arange(1, len(order) + 1))
    enough = np.flatnonzero(right >= asked)
    at = float(sums.max(axis=1)[order][enough[-1]]) if len(enough) else _SURE_WITHIN[1]
    return float(np.clip(at, *_SURE_WITHIN))


def _known(rows: npt.NDArray[np.float64], pipeline: Pipeline) -> npt.NDArray[np.float64]:
    """Return (N, C) probabilities that a fitted pipeline gives, columns as ``CLASSES``."""
    return in_order(pipeline.predict_proba(rows), pipeline.classes_, CLASSES)


def _ordinary(clouds: Clouds, chips: npt.NDArray[np.float64]) -> Clouds:
    """Return the clouds with the distance that all but one in a hundred chips keep to."""
    place = quantile_place(len(chips), _ORDINARY)
    far = np.sort(clouds.distance(chips))
    return replace(clouds, limit=inf if place is None else float(far[place - 1]))


def fit_model(table: Table) -> FormModel:
    """Fit; set temperature and thresholds on scenes that were not learned from.

    These are the calibration scenes of the table; without them, predictions out of fold.
    Thresholds are those of chips in the company of their photo's (``company``). Sets and the
    look for what is unlike any chip are set on what a reading would show.
    """
    pipeline = form_pipeline()
    learned = table.learned()
    if table.held.any():
        pipeline.fit(learned.rows, learned.labels)
        rows, labels = table.rows[table.held], table.labels[table.held]
        bare, photos = table.bare[table.held], table.scenes[table.held]
        p = _known(rows, pipeline)
    else:
        rows, labels, bare = learned.rows, learned.labels, learned.bare
        photos = learned.scenes
        p = out_of_fold(learned, pipeline)
        pipeline.fit(learned.rows, learned.labels)
    truth = np.array([CLASSES.index(str(c)) for c in labels])
    temperature = best_temperature(p, truth)
    p = np.exp(log_tempered(p, temperature))
    p = in_company_by(p, photos, kept_at(p))
    is_chip = learned.labels != "none"
    shown = kept_at(p) & (labels != "none")
    clouds = clouds_of(learned.rows[is_chip], learned.labels[is_chip])
    clouds = _ordinary(clouds, rows[shown])
    groups = np.array([str(c)[:1] for c in labels])
    grouped = shown & np.isin(groups, GROUPS)
    like = ~clouds.unlike(rows) & chip_for_sure(p)
    area = np.exp(rows[:, _LOG_AREA])
    sure_at, sure_at_bare = (
        _sure_at(p[at], truth[at], area[at], asked)
        for at, asked in ((like & ~bare, _SURE_ACCURACY), (like & bare, _SURE_ACCURACY_BARE))
    )
    with np.errstate(all="ignore"):
        medians = np.nanmedian(learned.rows, axis=0)
    scenes = len(np.unique(learned.scenes))
    asked = {question: fit_within(table, question) for question in QUESTIONS}
    return FormModel(
        pipeline=pipeline,
        temperature=temperature,
        sure_at=sure_at,
        sure_at_bare=sure_at_bare,
        joins_from=joins_from(p[grouped], groups[grouped]),
        clouds=clouds,
        medians=medians,
        version=f"world-{scenes}x{len(learned.labels)}",
        within={name: own for name, own in asked.items() if own is not None},
    )
