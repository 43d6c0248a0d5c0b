"""Second questions: what is snarled in a nest, and whether a spiral lies flat or rises.

The form model tells twelve classes at once. Two questions are asked again, only about what it
called a nest or a spiral, of smaller sets of trees over the same measures, which learned from
these alone.

A nest's outline says little of what is in it, but curls that stick out, the width of the strip
and how wide the eye takes the curls to be do: ribbons, tubular, washer-type or conical coils.
Its group is told from a probability on at which 95 % of the told ones are right on scenes that
nothing was learned from, and only with a card; else all groups are told that may be in it
(class-wise sets, as in ``sets``). A spiral has its group anyway; only 3.1 and 3.2 are weighed.

When not to trust: real nests hold chips of several forms, ours of one. Seen from above, a
spiral that rises a little looks as one that lies flat. Fitting is in ``fit_within``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from vision.forms.temper import in_order, log_tempered
from vision.terms import SNARLING
from vision.trees import trees_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy.typing as npt
    from sklearn.pipeline import Pipeline

    from vision.arrays import Float1, Float2
    from vision.trees import Trees

__all__ = ["QUESTIONS", "FormWithin", "sets_within"]

#: What can be asked again, and the answers in their order.
QUESTIONS: dict[str, tuple[str, ...]] = {"nest": SNARLING, "spiral": ("3.1", "3.2")}


@dataclass(frozen=True, slots=True, kw_only=True)
class FormWithin:
    """A fitted pipeline for one question, and what its answers are worth.

    Attributes
    ----------
    answers : (A,) of str
        One entry of ``QUESTIONS``; the pipeline's classes are among them.
    pipeline : Pipeline
    temperature : float
    sure_at : float
        From which probability on the likeliest answer is told as sure.
    joins_from : (A,) float64
        From which probability on each answer is one that may be.
    """

    answers: tuple[str, ...]
    pipeline: Pipeline
    temperature: float
    sure_at: float
    joins_from: npt.NDArray[np.float64]
    trees: Trees | None = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Take the trees out of the pipeline."""
        object.__setattr__(self, "trees", trees_of(self.pipeline))

    def probabilities(self, rows: npt.NDArray[np.float64]) -> Float2:
        """Return (N, A) calibrated probabilities, columns as ``answers``."""
        if self.trees is None:
            given = np.asarray(self.pipeline.predict_proba(rows))
        else:
            given = self.trees.probabilities(rows)
        p = in_order(given, self.pipeline.classes_, self.answers)
        return np.exp(log_tempered(p, self.temperature))

    def head(self) -> dict[str, Any]:
        """Return all but the pipeline, to be written down."""
        joins = dict(zip(self.answers, self.joins_from.tolist(), strict=True))
        return {
            "temperature": self.temperature,
            "sure_at": self.sure_at,
            "joins_from": joins,
        }

    @classmethod
    def of_head(
        cls, answers: tuple[str, ...], head: Mapping[str, Any], pipeline: Pipeline
    ) -> FormWithin:
        """Return what :meth:`head` told of.

        Raises
        ------
        ValueError
            It makes no sense.
        """
        joins = np.array([head["joins_from"][a] for a in answers], np.float64)
        sense = head["temperature"] > 0 and 0 < head["sure_at"] <= 1
        if not sense or not ((joins >= 0) & (joins <= 1)).all():
            raise ValueError("the head of a second question makes no sense")
        return cls(
            answers=answers,
            pipeline=pipeline,
            temperature=float(head["temperature"]),
            sure_at=float(head["sure_at"]),
            joins_from=joins,
        )


def sets_within(p: Float2, answers: Sequence[str], joins_from: Float1) -> list[tuple[str, ...]]:
    """Return the answers that may be right, the likeliest first; never none.

    Examples
    --------
    >>> p, joins = np.array([[0.1, 0.6, 0.3, 0.0]]), np.array([0.5, 0.5, 0.2, 0.5])
    >>> sets_within(p, SNARLING, joins)
    [('2', '4')]
    """
    order = np.argsort(-p, axis=1, kind="stable")
    return [
        tuple(
            answers[k]
            for place, k in enumerate(places)
            if place == 0 or own[k] >= joins_from[k]
        )
        for places, own in zip(order, p, strict=True)
    ]
