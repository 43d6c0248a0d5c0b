"""The form model: a small scikit-learn pipeline over named measures, and its file.

Input is one row of ``vision.chips.features.FEATURES`` per chip, output a
probability for each class: ISO 3685 groups, "nest", and "none" for what is no chip. Fitting on
rendered chips is in ``vision.training``; the file format is skops with an explicit
list of trusted types. Never load a model file from a stranger.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any
from zipfile import ZIP_DEFLATED

import numpy as np
import skops.io

from vision.chips.features import FEATURES
from vision.errors import ModelUnreadable
from vision.forms.temper import in_order, log_tempered
from vision.forms.unlike import Clouds
from vision.forms.within import QUESTIONS, FormWithin
from vision.records import Why
from vision.trees import trees_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy.typing as npt
    from sklearn.pipeline import Pipeline

    from vision.trees import Trees

__all__ = ["CLASSES", "GROUPS", "TRUSTED", "FormModel", "dump_model", "load_model", "rows_of"]

GROUPS = ("1", "2", "3", "4", "5", "6", "7", "8")
#: Column order of the model's probabilities. In groups 3 and 6 the sub-number is a word
#: about shape, so the model names it; elsewhere it is about length and is measured.
CLASSES = ("1", "2", "3.1", "3.2", "4", "5", "6.1", "6.2", "7", "8", "nest", "none")

#: Types outside skops' own list that our pipeline is made of.
TRUSTED = (
    "numpy.dtype",
    "sklearn.ensemble._hist_gradient_boosting.predictor.TreePredictor",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class FormModel:
    """A fitted pipeline, its temperature, the sureness thresholds, and training medians.

    A group is sure from the probability ``sure_at`` on, in photos without a card only from
    ``sure_at_bare`` on: there more clutter is called a chip.

    ``joins_from`` (8,) are the probabilities from which each group joins a chip's set
    (``vision.forms.sets``), ``clouds`` what chips that were learned from look like, ``within``
    answers second questions (``vision.forms.within``), those of which enough was known.
    ``trees`` are those of the pipeline where it is nothing else: the same answers, sooner.
    """

    pipeline: Pipeline
    temperature: float
    sure_at: float
    sure_at_bare: float
    joins_from: npt.NDArray[np.float64]
    clouds: Clouds
    medians: npt.NDArray[np.float64]
    version: str
    within: Mapping[str, FormWithin] = field(default_factory=dict)
    trees: Trees | None = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Take the trees out of the pipeline."""
        object.__setattr__(self, "trees", trees_of(self.pipeline))

    def log_scores(self, rows: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Return (N, C) log-probabilities after temperature, columns as :data:`CLASSES`."""
        if self.trees is None:
            return self._tempered(self.pipeline.predict_proba(rows))
        return self._tempered(self.trees.probabilities(rows))

    def _tempered(self, given: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Return log-probabilities of all classes from those of the pipeline's."""
        p = in_order(given, self.pipeline.classes_, CLASSES)
        return log_tempered(p, self.temperature)

    def probabilities(self, rows: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Return (N, C) calibrated probabilities, columns as :data:`CLASSES`."""
        return np.exp(self.log_scores(rows))

    def reasons(
        self, row: npt.NDArray[np.float64], label: str, count: int = 3
    ) -> tuple[Why, ...]:
        """Return the measures that spoke most for or against ``label``.

        Weight is the change of log-odds when the measure is set to its training
        median; positive spoke for the label.
        """
        return self.all_reasons(row[None, :], (label,), count)[0]

    def all_reasons(
        self, rows: npt.NDArray[np.float64], labels: Sequence[str], count: int = 3
    ) -> list[tuple[Why, ...]]:
        """Return :meth:`reasons` of many rows, one label each."""
        if not len(rows):
            return []
        z = self._tempered(np.concatenate(self._probed(rows)))
        out = []
        for row, own, label in zip(rows, np.split(z, len(rows)), labels, strict=True):
            known = np.flatnonzero(np.isfinite(row))
            spoken = own[np.append(0, known + 1), CLASSES.index(label)]
            out.append(self._why(spoken, known, count))
        return out

    def _probed(self, rows: npt.NDArray[np.float64]) -> list[npt.NDArray[np.float64]]:
        """Return probabilities of each row and its F copies with one measure at its median."""
        if self.trees is not None:
            return self.trees.probed(rows, self.medians)
        at = np.arange(rows.shape[1])
        probes = np.repeat(rows[:, None], 1 + len(at), axis=1)
        probes[:, at + 1, at] = self.medians
        p = self.pipeline.predict_proba(probes.reshape(-1, len(at)))
        return list(np.asarray(p).reshape(len(rows), 1 + len(at), -1))

    @staticmethod
    def _why(
        z: npt.NDArray[np.float64], known: npt.NDArray[np.intp], count: int
    ) -> tuple[Why, ...]:
        odds = z - np.log1p(-np.exp(np.minimum(z, -1e-6)))
        weight = odds[0] - odds[1:]
        names = list(FEATURES)
        best = np.argsort(-np.abs(weight))[:count]
        return tuple(
            Why(
                measure=f"{names[known[i]]}: {FEATURES[names[known[i]]]}",
                weight=float(weight[i]),
            )
            for i in best
            if abs(weight[i]) > 0.02
        )


def rows_of(features: Sequence[Mapping[str, float]]) -> npt.NDArray[np.float64]:
    """Return (N, F) rows in the order of :data:`FEATURES`."""
    return np.array([[f[name] for name in FEATURES] for f in features], np.float64)


def dump_model(model: FormModel) -> bytes:
    """Return the model as bytes: a JSON head, a newline, then the skops archive."""
    head = {
        "temperature": model.temperature,
        "sure_at": model.sure_at,
        "sure_at_bare": model.sure_at_bare,
        "joins_from": dict(zip(GROUPS, model.joins_from.tolist(), strict=True)),
        "medians": [None if np.isnan(m) else float(m) for m in model.medians],
        "features": list(FEATURES),
        "version": model.version,
        "within": {name: own.head() for name, own in model.within.items()},
    }
    body = {
        "pipeline": model.pipeline,
        "clouds": model.clouds.arrays(),
        "within": {name: own.pipeline for name, own in model.within.items()},
    }
    return (
        json.dumps(head).encode()
        + b"\n"
        + bytes(skops.io.dumps(body, compression=ZIP_DEFLATED, compresslevel=9))
    )


def _makes_sense(facts: Mapping[str, Any]) -> bool:
    """Say whether the head of a model file can be worked with."""
    return (
        len(facts["medians"]) == len(FEATURES)
        and facts["temperature"] > 0
        and all(0 < facts[name] <= 1 for name in ("sure_at", "sure_at_bare"))
        and set(facts["joins_from"]) == set(GROUPS)
        and all(0 <= at <= 1 for at in facts["joins_from"].values())
    )


def load_model(data: bytes) -> FormModel:
    """Load what :func:`dump_model` wrote.

    Raises
    ------
    ModelUnreadable
        Damaged, of other library versions, with other measures, or with types that
        are not on the list.
    """
    try:
        head, body = data.split(b"\n", 1)
        facts = json.loads(head)
        if facts["features"] != list(FEATURES):
            raise ModelUnreadable("The form model was made for other measures; refit it.")  # noqa: TRY301
        if not _makes_sense(facts):
            raise ModelUnreadable("The head of the form model makes no sense; refit it.")  # noqa: TRY301
        learned = skops.io.loads(body, trusted=list(TRUSTED))
        clouds = Clouds.of_arrays(learned["clouds"])
        if clouds.middles.shape[1] != len(FEATURES):
            raise ModelUnreadable("The form model's chips have other measures; refit it.")  # noqa: TRY301
        medians = [np.nan if m is None else m for m in facts["medians"]]
        within = {
            name: FormWithin.of_head(QUESTIONS[name], own, learned["within"][name])
            for name, own in facts["within"].items()
        }
        return FormModel(
            pipeline=learned["pipeline"],
            temperature=float(facts["temperature"]),
            sure_at=float(facts["sure_at"]),
            sure_at_bare=float(facts["sure_at_bare"]),
            joins_from=np.array([facts["joins_from"][g] for g in GROUPS], np.float64),
            clouds=clouds,
            medians=np.array(medians, np.float64),
            version=str(facts["version"]),
            within=within,
        )
    except ModelUnreadable:
        raise
    except Exception as error:  # many kinds: zip, json, versions, untrusted types
        raise ModelUnreadable(
            f"The form model cannot be loaded ({error}); refit it."
        ) from error
