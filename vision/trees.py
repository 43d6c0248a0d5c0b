"""All trees of a fitted gradient boosting asked at once, for a few rows at a time.

The library asks tree by tree, which for the few chips of a photo costs a hundred times
the answer. Here each tree keeps a set of the leaves still open, as bits from left to
right: a split answered with "right" closes the leaves on its left, and the lowest open
leaf is the tree's answer. All splits of all trees are answered in one comparison.
They serve the form model (``forms.model``) and the sizes (``chips.sizing``). Not in here:
temperature, reasons in words, units.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from operator import itemgetter
from typing import TYPE_CHECKING, Any

import numpy as np
from sklearn.ensemble import HistGradientBoostingClassifier, HistGradientBoostingRegressor

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    import numpy.typing as npt
    from sklearn.pipeline import Pipeline

    Bits = npt.NDArray[np.unsignedinteger[Any]]

__all__ = ["Trees", "sums_of", "trees_of"]

_ALL = 2**32 - 1
_LEAVES_MAX, _LEAVES_SHORT = 32, 16
#: So many splits are answered at once, some twenty rows of the form model: with more the
#: numbers no longer stay near the processor, and a row takes twice as long.
_AT_ONCE = 1 << 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Trees:
    """T trees with S splits in all, for C scores; each score is a sum of leaves.

    Classes have a score each, of two classes the first always 0; a number is one score.

    ``feature``, ``threshold``, ``blank_left`` (S,) are the questions: a value at most the
    threshold goes left, an unknown one where ``blank_left`` says. ``closed`` (S,) are the
    leaves open after "right", in short words where trees have few; ``first`` (T,) is each
    tree's first split. ``leaves`` (T, L) are the answers, ``belongs`` (T,) the class each
    tree speaks about, ``start`` (C,) the scores before any tree.
    """

    feature: npt.NDArray[np.intp]
    threshold: npt.NDArray[np.float64]
    blank_left: npt.NDArray[np.bool_]
    closed: Bits
    first: npt.NDArray[np.intp]
    leaves: npt.NDArray[np.float64]
    belongs: npt.NDArray[np.intp]
    start: npt.NDArray[np.float64]
    pairs: _Pairs | None = None

    @classmethod
    def of_arrays(cls, arrays: Mapping[str, Any]) -> Trees:
        """Return the trees that :meth:`arrays` told of."""
        return cls(**{name: arrays[name] for name in _ARRAYS})

    def arrays(self) -> dict[str, npt.NDArray[Any]]:
        """Return all there is to know but the pairs, to be written down."""
        return {name: getattr(self, name) for name in _ARRAYS}

    def sums(self, rows: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Return (N,) the one score of (N, F) rows, before any link to another scale."""
        return self._block_by_block(rows)[:, 0]

    def _block_by_block(self, rows: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Return (N, C) scores; whole tables of rows would fill the memory."""
        parts = self._parts(rows)
        return np.concatenate([self._scores(self._answers(self._open(p))) for p in parts])

    def _parts(self, rows: npt.NDArray[np.float64]) -> Iterator[npt.NDArray[np.float64]]:
        """Return some rows at a time, at least one part."""
        block = max(_AT_ONCE // max(len(self.feature), 1), 1)
        return (rows[k : k + block] for k in range(0, max(len(rows), 1), block))

    def _open(self, rows: npt.NDArray[np.float64]) -> Bits:
        """Return (N, S) the leaves that each split leaves open."""
        values = np.take(rows, self.feature, axis=1)
        right = values > self.threshold
        if np.isnan(rows).any():
            right |= np.isnan(values) & ~self.blank_left
        # Less one, "right" is no leaf and "left" all; choosing would take five times as long.
        still_open = right.astype(self.closed.dtype)
        still_open -= 1
        still_open |= self.closed
        return still_open

    def _answers(self, still_open: Bits) -> npt.NDArray[np.float64]:
        """Return (N, T) the value of the lowest leaf that all splits leave open."""
        open_leaves = np.bitwise_and.reduceat(still_open, self.first, axis=1)
        return self.leaves[np.arange(len(self.first)), _place(_first_alone(open_leaves))]

    def _scores(self, answers: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Return (N, C) the sums over each class's trees."""
        ours = self.belongs[:, None] == np.arange(len(self.start))
        return np.asarray(self.start + answers @ ours.astype(np.float64))

    def probabilities(self, rows: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Return (N, C) what the library's ``predict_proba`` gives for (N, F) rows."""
        return _softmax(self._block_by_block(rows))

    def probed(
        self, rows: npt.NDArray[np.float64], medians: npt.NDArray[np.float64]
    ) -> list[npt.NDArray[np.float64]]:
        """Return, for each row, (1 + F, C) probabilities of it and of F copies.

        Each copy has one measure at its median. A tree's leaves left open are then those
        that its splits on this measure leave open at the median and all others as before, so
        no split is answered again for a copy.

        Raises
        ------
        ValueError
            The trees were made without pairs.
        """
        if self.pairs is None:
            raise ValueError("these trees were made without pairs")
        swapped = self.pairs.open_of(self._open(medians[None, :]))
        parts = self._parts(rows)
        return [p for part in parts for p in self._probed(part, self.pairs, swapped)]

    def _probed(
        self, rows: npt.NDArray[np.float64], pairs: _Pairs, swapped: Bits
    ) -> npt.NDArray[np.float64]:
        """Return (N, 1 + F, C); ``swapped`` (1, K, T) is what pairs leave open at medians."""
        own = pairs.open_of(self._open(rows))
        closed = ~own
        once = np.zeros((len(rows), len(self.first)), own.dtype)
        twice = once.copy()
        for k in range(own.shape[1]):
            twice |= once & closed[:, k]
            once |= closed[:, k]
        # What one pair alone has closed, all others have left open.
        others = (closed & ~twice[:, None]) | ~once[:, None]
        before, after = _first_alone(~once), _first_alone(others & swapped)
        changed = np.flatnonzero(after != before[:, None])
        row, place = np.divmod(changed, pairs.feature.size)
        tree = place % len(self.first)
        answers = self.leaves[np.arange(len(self.first)), _place(before)]
        change = self.leaves[tree, _place(after.ravel()[changed])] - answers[row, tree]
        count, classes = rows.shape[1], len(self.start)
        at = (row * count + pairs.feature.ravel()[place]) * classes + self.belongs[tree]
        moved = np.bincount(at, weights=change, minlength=len(rows) * count * classes)
        scores = self._scores(answers)[:, None]
        both = np.concatenate([scores, scores + moved.reshape(-1, count, classes)], axis=1)
        return _softmax(both)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pairs:
    """Each tree with each measure it asks for: the splits of a pair follow each other.

    All are (K, T) for trees of at most K splits, whose last is repeated where they have
    fewer: ``split`` is the number of each tree's k-th, ``feature`` its measure, ``goes_on``
    has all bits where a pair does not end yet.
    """

    split: npt.NDArray[np.intp]
    feature: npt.NDArray[np.intp]
    goes_on: Bits

    def open_of(self, still_open: Bits) -> Bits:
        """Return (N, K, T) what each pair leaves open, where it ends, from what splits do.

        Elsewhere all leaves are open.
        """
        own = np.take(still_open, self.split, axis=1)
        for k in range(1, len(self.split)):
            own[:, k] &= own[:, k - 1] | ~self.goes_on[k - 1]
        own |= self.goes_on
        return own


#: What is written down of trees.
_ARRAYS = tuple(f.name for f in fields(Trees) if f.name != "pairs")


def _first_alone(bits: Bits) -> Bits:
    """Return the lowest set bit alone."""
    return np.asarray(bits & (~bits + 1))


def _place(alone: Bits) -> npt.NDArray[np.intp]:
    """Return the place of the one set bit."""
    exact = alone.astype(np.float32)  # a power of two
    return np.asarray(np.frexp(exact)[1] - 1, np.intp)


def _softmax(scores: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    e = np.exp(scores - scores.max(axis=-1, keepdims=True))
    return np.asarray(e / e.sum(axis=-1, keepdims=True))


def _one_tree(
    nodes: npt.NDArray[Any],
) -> tuple[list[tuple[int, float, bool, int]], list[float]]:
    """Return splits (feature, threshold, blank goes left, leaves open) and leaf values.

    Raises
    ------
    ValueError
        For splits on categories and for trees of too many leaves.
    """
    if nodes["is_categorical"].any():
        raise ValueError("a split on categories")
    table = {name: nodes[name].tolist() for name in nodes.dtype.names or ()}
    is_leaf, value, left, right = (table[k] for k in ("is_leaf", "value", "left", "right"))
    asked = ("feature_idx", "num_threshold", "missing_go_to_left")
    questions = list(zip(*(table[k] for k in asked), strict=True))
    splits: list[tuple[int, float, bool, int]] = []
    leaves: list[float] = []

    def walk(k: int) -> None:
        if is_leaf[k]:
            leaves.append(value[k])
            return
        at, begin = len(splits), len(leaves)
        splits.append((*questions[k], 0))
        walk(left[k])
        passed = (1 << len(leaves)) - (1 << begin)
        splits[at] = (*questions[k], _ALL & ~passed)
        walk(right[k])

    walk(0)
    if len(leaves) > _LEAVES_MAX:
        raise ValueError("too many leaves")
    # Their order says nothing; by measure, what belongs together stands together.
    splits.sort(key=itemgetter(0))
    # A tree that asks nothing still needs a question, which leaves all open.
    return splits or [(0, np.inf, True, _ALL)], leaves


def _pairs_of(
    feature: npt.NDArray[np.intp], first: npt.NDArray[np.intp], word: np.dtype[Any]
) -> _Pairs:
    """Return the pairs of trees whose splits stand by measure, tree by tree."""
    last = np.append(first[1:], len(feature)) - 1
    step = np.arange((last - first).max() + 1)
    split = np.minimum(first + step[:, None], last)
    asked = feature[split]
    goes_on = np.zeros(asked.shape, word)
    goes_on[:-1] -= asked[1:] == asked[:-1]
    return _Pairs(split=split, feature=asked, goes_on=goes_on)


def trees_of(pipeline: Pipeline) -> Trees | None:
    """Return the trees of a pipeline; ``None`` where it is no plain boosting of classes.

    Notes
    -----
    Reads what the library keeps to itself (the node table of its predictors); where
    another version keeps it otherwise the result is ``None`` too.
    """
    if len(pipeline.steps) != 1:
        return None
    boosting = pipeline.steps[0][1]
    if not isinstance(boosting, HistGradientBoostingClassifier):
        return None
    try:
        trees = _all_trees(boosting, pairs=True)
    except (AttributeError, ValueError, KeyError, TypeError):
        return None
    if len(boosting.classes_) == 2:  # noqa: PLR2004 - the library grows trees for one alone
        return replace(trees, belongs=trees.belongs + 1, start=np.append(0.0, trees.start))
    return trees


def sums_of(boosting: HistGradientBoostingRegressor) -> Trees:
    """Return the trees of a fitted regression; its prediction is :meth:`Trees.sums`, linked.

    Raises
    ------
    ValueError
        For splits on categories and for trees of too many leaves.
    """
    return _all_trees(boosting, pairs=False)


def _all_trees(
    boosting: HistGradientBoostingClassifier | HistGradientBoostingRegressor, *, pairs: bool
) -> Trees:
    start = np.asarray(boosting._baseline_prediction, np.float64).ravel()  # noqa: SLF001
    rounds = boosting._predictors  # noqa: SLF001
    grown = [(k, *_one_tree(tree.nodes)) for trees in rounds for k, tree in enumerate(trees)]
    most = max(len(leaves) for _, _, leaves in grown)
    splits = [s for _, some, _ in grown for s in some]
    first = np.cumsum([0, *(len(some) for _, some, _ in grown)])[:-1]
    feature = np.array([s[0] for s in splits], np.intp)
    closed = np.array([s[3] for s in splits], np.uint32)
    if most <= _LEAVES_SHORT:
        closed = closed.astype(np.uint16)  # the upper bits are of no leaf
    return Trees(
        feature=feature,
        threshold=np.array([s[1] for s in splits]),
        blank_left=np.array([s[2] for s in splits], bool),
        closed=closed,
        first=first.astype(np.intp, copy=False),
        leaves=np.array([leaves + [0.0] * (most - len(leaves)) for _, _, leaves in grown]),
        belongs=np.array([k for k, _, _ in grown], np.intp),
        start=start,
        pairs=_pairs_of(feature, first, closed.dtype) if pairs else None,
    )
