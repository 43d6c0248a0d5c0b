"""Fit what tells sizes: corrections and chip-wise uncertainties, from the feature table.

Both learn from training scenes only. What the uncertainty learns from are corrections of
chips whose scene the correction had not seen, or it would believe the trees too much. How
large it is on the whole is set on calibration scenes, where there are enough.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from sklearn.ensemble import HistGradientBoostingRegressor
from sklearn.model_selection import GroupKFold

from vision.chips.features import CROP_PX_PER_MM, FEATURES
from vision.chips.measure import SIZES
from vision.chips.sizing import (
    KEYS,
    SIZES_OF,
    TOO_UNSURE,
    Base,
    Facts,
    SizeModel,
    SizeTrees,
    questions,
    second_questions,
)
from vision.trees import sums_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import numpy.typing as npt

    Numbers = npt.NDArray[np.float64]
    Strings = npt.NDArray[np.str_]

__all__ = ["fit_sizes", "told_of"]

_FOLDS = 3
#: Rounds, leaves and least rows in a leaf of the trees that correct, and of those that doubt.
_CORRECTING, _DOUBTING = (300, 16, 20), (80, 8, 40)
#: Least rows of a group that a size of it is learned from.
_LEAST_ROWS = 12
#: Of the chips not learned from, so many lie within twice their uncertainty: for errors that
#: are normal that makes it a standard uncertainty.
_WITHIN = 0.95
#: Least chips of calibration scenes that set it.
_LEAST_HELD = 100
#: What is too unsure to be told depends on the scale, and the scale on what is told.
_ROUNDS = 4
#: An error counts as no larger, and no smaller, than this: logarithms of a size.
_LARGEST, _SMALLEST = 1.0, 0.003


def fit_sizes(records: Sequence[dict[str, str]]) -> SizeModel:
    """Return the sizes model of a feature table's rows.

    Raises
    ------
    ValueError
        The table has too few scenes or no size with enough rows.
    """
    chips = [r for r in records if r["group"]]
    mine = [r for r in chips if r.get("part", "train") == "train"]
    held = [r for r in chips if r.get("part", "train") != "train"]
    keys, rows, facts = _keys(mine), _rows(mine), _facts(mine)
    scenes = np.array([r["scene"] for r in mine])
    bases: dict[str, dict[str, Base]] = {}
    trees: dict[str, SizeTrees] = {}
    for size in SIZES:
        true = _log(mine, f"true_{size}")
        has = np.array([size in SIZES_OF[k] for k in keys]) & np.isfinite(true)
        if has.sum() < _LEAST_ROWS * len(KEYS):
            continue
        bases[size], trees[size] = _one_size(
            size,
            rows[has],
            keys[has],
            facts=_of_some(facts, has),
            true=true[has],
            scenes=scenes[has],
        )
    if not trees:
        raise ValueError("no size has enough rows to learn from")
    return _rescaled(SizeModel(bases=bases, trees=trees), held)


def _rescaled(model: SizeModel, held: Sequence[dict[str, str]]) -> SizeModel:
    """Return the model with uncertainties that are true of chips not learned from.

    True as they are told: the size within twice the uncertainty of what was told, in mm. A
    size told too small is farther off so than as a logarithm. Nests, told as "at least", and
    what is too unsure to be told are left out.
    """
    trees = dict(model.trees)
    single = [r for r in held if r["label"] != "nest"]
    for size, grown in model.trees.items():
        told, u = told_of(single, model, size)
        off = np.abs(1 - np.exp(_log(single, f"true_{size}")) / told) / u
        known = np.isfinite(off)
        if known.sum() < _LEAST_HELD:
            continue
        wider = 1.0
        for _ in range(_ROUNDS):
            is_told = known & (u * wider < TOO_UNSURE)
            if not is_told.any():
                break
            wider = float(np.quantile(off[is_told], _WITHIN)) / 2
        trees[size] = replace(grown, scale=grown.scale * wider)
    return replace(model, trees=trees)


def told_of(
    records: Sequence[dict[str, str]], model: SizeModel, size: str
) -> tuple[Numbers, Numbers]:
    """Return what a model tells of a size of a table's rows: mm and relative u, (N,) each.

    NaN where it tells nothing; however unsure it is. Rows that are no chips are not asked.
    """
    if not records:
        return np.empty(0), np.empty(0)
    keys = _keys(records).tolist()
    told, u = model.told(size, _rows(records), keys, _facts(records))
    return np.exp(told), u


def _keys(records: Sequence[dict[str, str]]) -> Strings:
    return np.array(["nest" if r["label"] == "nest" else r["group"] for r in records])


def _rows(records: Sequence[dict[str, str]]) -> Numbers:
    return np.array([[float(r[f] or "nan") for f in FEATURES] for r in records])


def _facts(records: Sequence[dict[str, str]]) -> Facts:
    """Return what ``sizing.facts_of`` does, from rows of the table."""
    raw = {k: _log(records, f"raw_{k}") for k in SIZES}
    per_mm = float(np.log(CROP_PX_PER_MM))
    return Facts(
        raw={k: v if k == "turns" else v - per_mm for k, v in raw.items()},
        seems={k: _numbers(records, f"seems_{k}") for k in SIZES},
        doubt={k: _numbers(records, f"doubt_{k}") for k in SIZES},
    )


def _of_some(facts: Facts, taken: npt.NDArray[np.bool_]) -> Facts:
    """Return what is known of some of the chips."""
    raw, seems, doubt = (
        {size: values[taken] for size, values in of.items()}
        for of in (facts.raw, facts.seems, facts.doubt)
    )
    return Facts(raw, seems, doubt)


def _one_size(
    size: str, rows: Numbers, keys: Strings, *, facts: Facts, true: Numbers, scenes: Strings
) -> tuple[dict[str, Base], SizeTrees]:
    bases = _bases(keys, facts.raw[size], facts.seems[size], true)
    asked, base = questions(size, rows, keys.tolist(), bases, facts)
    known = np.isfinite(base)
    asked, base, true, scenes = asked[known], base[known], true[known], scenes[known]
    correction = _grower("absolute_error", *_CORRECTING).fit(_filled(asked), true - base)
    told = base.copy()
    for train, test in _folds(scenes):
        part = _grower("absolute_error", *_CORRECTING)
        part.fit(_filled(asked[train]), (true - base)[train])
        told[test] += part.predict(_filled(asked[test]))
    error = np.abs(told - true)
    second = _filled(second_questions(asked, told))
    target = np.clip(error, _SMALLEST, _LARGEST)
    expected = np.empty(len(error))
    for train, test in _folds(scenes):
        part = _grower("gamma", *_DOUBTING).fit(second[train], target[train])
        expected[test] = part.predict(second[test])
    off = _grower("gamma", *_DOUBTING).fit(second, target)
    scale = float(np.quantile(error / expected, _WITHIN)) / 2
    return bases, SizeTrees(sums_of(correction), sums_of(off), scale)


def _grower(loss: str, rounds: int, leaves: int, least: int) -> HistGradientBoostingRegressor:
    return HistGradientBoostingRegressor(
        loss=loss,
        max_iter=rounds,
        max_leaf_nodes=leaves,
        min_samples_leaf=least,
        learning_rate=0.06,
        l2_regularization=1.0,
        early_stopping=False,
        random_state=0,
    )


def _bases(keys: Strings, raw: Numbers, seems: Numbers, true: Numbers) -> dict[str, Base]:
    """Return, for each key with enough rows, the raw size's factor and what leads."""
    out = {}
    for key in np.unique(keys).tolist():
        mine = keys == key
        measured, glanced = mine & np.isfinite(raw), mine & np.isfinite(seems)
        if max(measured.sum(), glanced.sum()) < _LEAST_ROWS:
            continue
        shift, errors = 0.0, [np.inf, np.inf]
        if measured.sum() >= _LEAST_ROWS:
            shift = float(np.median((true - raw)[measured]))
            errors[0] = float(np.median(np.abs(true - raw - shift)[measured]))
        if glanced.sum() >= _LEAST_ROWS:
            errors[1] = float(np.median(np.abs(true - seems)[glanced]))
        out[key] = Base(float(np.exp(shift)), errors[1] < errors[0])
    return out


def _folds(scenes: Strings) -> Iterator[tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]]:
    return iter(GroupKFold(_FOLDS).split(scenes, groups=scenes))


def _filled(asked: Numbers) -> Numbers:
    """Return what is asked with columns of which nothing is known set to 0."""
    empty = ~np.isfinite(asked).any(axis=0)
    return np.where(empty, 0.0, asked)


def _numbers(records: Sequence[dict[str, str]], column: str) -> Numbers:
    return np.array([float(r[column]) if r.get(column) else np.nan for r in records])


def _log(records: Sequence[dict[str, str]], column: str) -> Numbers:
    with np.errstate(all="ignore"):
        out = np.log(_numbers(records, column))
    return np.where(np.isfinite(out), out, np.nan)
