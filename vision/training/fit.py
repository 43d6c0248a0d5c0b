"""Rebuild everything learned: eye, look at coils, feature table, form model, sizes.

    python -m vision.training.fit [--scenes DIR] [--taught DIR] [--calibration DIR] [--compare]

Folders hold rendered scenes (``vision.training.corpus``); the results go into
``vision/data``. From the training scenes come the eye, the form model and the sizes with
their uncertainties; from the calibration scenes only sureness. With ``--taught`` the networks
learn from scenes of their own: what they guess of scenes that they know is too good, and the
trees would trust it too much. With ``--compare`` plain baselines and bigger models are scored
over scene-grouped folds first; with ``--table`` nothing is measured, only fitted.
"""

from __future__ import annotations

import argparse
import csv
import gzip
import io
import logging
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from sklearn.dummy import DummyClassifier
from sklearn.ensemble import ExtraTreesClassifier
from sklearn.impute import SimpleImputer
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import f1_score
from sklearn.model_selection import StratifiedGroupKFold
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler
from sklearn.tree import DecisionTreeClassifier

from vision.bundled import packaged_eye
from vision.chips.features import FEATURES
from vision.chips.measure import SIZES
from vision.forms.company import in_company_by
from vision.forms.fitting import fit_model, form_pipeline, read_table
from vision.forms.model import CLASSES, GROUPS, dump_model
from vision.forms.sets import best_labels, chip_for_sure, kept_at
from vision.training.fit_eye import fit_eye
from vision.training.fit_sizes import fit_sizes
from vision.training.pool import cores
from vision.training.rows import measure_scenes, thinned
from vision.training.sets import cache_folder
from vision.training.teach_lie import fit_lie

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from sklearn.pipeline import Pipeline

    from vision.chips.eye import Eye
    from vision.forms.fitting import Table
    from vision.forms.model import FormModel

__all__ = ["compare", "held_out_line", "joins_line", "learn", "main", "measure", "table_bytes"]

_LOG = logging.getLogger(__name__)
DATA = Path(__file__).parent.parent / "data"


def table_bytes(rows: Iterable[dict[str, Any]]) -> bytes:
    """Return the feature table as gzip-compressed CSV, byte for byte repeatable."""
    sizes = [f"{kind}_{k}" for k in SIZES for kind in ("raw", "seems", "doubt", "true")]
    text = io.StringIO()
    names = ["part", "scene", "card", "label", "form", "group", "iou", *FEATURES, *sizes]
    writer = csv.DictWriter(text, names, restval="", lineterminator="\n")
    writer.writeheader()
    for row in rows:
        clean = {k: ("" if isinstance(v, float) and np.isnan(v) else v) for k, v in row.items()}
        writer.writerow(clean)
    return gzip.compress(text.getvalue().encode(), mtime=0)


def _candidates() -> dict[str, Pipeline]:
    def fill() -> SimpleImputer:
        return SimpleImputer(strategy="median", add_indicator=True)

    return {
        "majority": make_pipeline(fill(), DummyClassifier()),
        "depth-3 tree, two measures": make_pipeline(
            fill(), DecisionTreeClassifier(max_depth=3, class_weight="balanced", random_state=0)
        ),
        "logistic regression": make_pipeline(
            fill(),
            StandardScaler(),
            LogisticRegression(C=0.5, max_iter=2000, class_weight="balanced"),
        ),
        "extra trees": make_pipeline(
            fill(),
            ExtraTreesClassifier(
                n_estimators=160,
                min_samples_leaf=2,
                max_features=0.35,
                class_weight="balanced_subsample",
                bootstrap=True,
                random_state=0,
            ),
        ),
        "boosted trees": form_pipeline(),
    }


def compare(table: Table) -> dict[str, tuple[float, float]]:
    """Return macro-F1 over scene-grouped folds and its standard error, by kind of model."""
    table = table.learned()
    two = [list(FEATURES).index(n) for n in ("curls", "lie")]
    out = {}
    folds = list(
        StratifiedGroupKFold(5, shuffle=True, random_state=1).split(
            table.rows, table.labels, table.scenes
        )
    )
    for name, model in _candidates().items():
        rows = table.rows[:, two] if "two measures" in name else table.rows
        scores = []
        for train, test in folds:
            model.fit(rows[train], table.labels[train])
            guess = model.predict(rows[test])
            scores.append(f1_score(table.labels[test], guess, average="macro"))
        out[name] = (
            float(np.mean(scores)),
            float(np.std(scores, ddof=1) / np.sqrt(len(scores))),
        )
        _LOG.info("%s: macro-F1 %.3f, standard error %.3f", name, *out[name])
    return out


def measure(
    scenes: Path, calibration: Path | None, eye: Eye, *, workers: int
) -> list[dict[str, Any]]:
    """Return the rows of training and calibration scenes."""
    rows = measure_scenes(scenes, eye, part="train", workers=workers, label="measure")
    if calibration is not None:
        rows += measure_scenes(
            calibration, eye, part="calibration", workers=workers, label="calibration"
        )
    return thinned(rows)


def held_out_line(table: Table, model: FormModel) -> str:
    """Return how the model does on what was found in the calibration scenes, by group.

    These scenes set its temperature and threshold; the figures are no test.
    """
    known = np.array([c.split(".")[0] for c in CLASSES])
    names = np.unique(known)
    p = model.probabilities(table.rows[table.held])
    p = in_company_by(p, table.scenes[table.held], kept_at(p))
    groups = np.stack([p[:, known == n].sum(axis=1) for n in names], axis=1)
    said = np.array([str(c).split(".")[0] for c in best_labels(p)])
    truth = np.array([str(c).split(".")[0] for c in table.labels[table.held]])
    named, chip = kept_at(p), truth != "none"
    unlike = model.clouds.unlike(table.rows[table.held])
    at = np.where(table.bare[table.held], model.sure_at_bare, model.sure_at)
    sure = (groups.max(axis=1) >= at) & ~unlike & chip_for_sure(p)
    right = said == truth
    area = np.exp(table.rows[table.held][:, list(FEATURES).index("log_area")])
    metal = float((area * right)[named & sure].sum() / area[named & sure].sum())
    return (
        f"calibration scenes: chips called a chip {named[chip].mean():.3f} of {chip.sum()}, "
        f"group right for {right[named & chip].mean():.3f} of them; "
        f"sure {sure[named & chip].mean():.3f}, of those right "
        f"{right[named & chip & sure].mean():.3f}, clutter called a chip counted as wrong "
        f"{right[named & sure].mean():.3f}, and of the metal named with sureness {metal:.3f}; "
        f"unlike any chip {unlike[named & chip].mean():.3f} of the chips called one and "
        f"{unlike[named & ~chip].mean():.3f} of the clutter"
    )


def joins_line(table: Table, model: FormModel) -> str:
    """Return from which probability each group joins a set, and on how many chips it rests."""
    at = np.flatnonzero(table.held if table.held.any() else np.ones(len(table.labels), bool))
    at = at[kept_at(model.probabilities(table.rows[at]))]
    labels, scenes = table.labels[at], table.scenes[at]
    own = {g: np.char.startswith(labels, g) for g in GROUPS}
    texts = (
        f"{g} from {join:.3f} ({own[g].sum()} chips, {len(np.unique(scenes[own[g]]))} scenes)"
        for g, join in zip(GROUPS, model.joins_from, strict=True)
    )
    return "groups join a set: " + ", ".join(texts)


def learn(data: bytes, out: Path) -> None:
    """Fit sizes and form model from a feature table and write them."""
    records = list(csv.DictReader(io.StringIO(gzip.decompress(data).decode())))
    (out / "sizes.npz").write_bytes(fit_sizes(records).dump())
    table = read_table(data)
    model = fit_model(table)
    (out / "forms.model").write_bytes(dump_model(model))
    _LOG.info(
        "%d rows of %d scenes; temperature %.2f, sure from %.2f, without a card from %.2f",
        len(records),
        len(np.unique(table.scenes)),
        model.temperature,
        model.sure_at,
        model.sure_at_bare,
    )
    if table.held.any():
        _LOG.info("%s", held_out_line(table, model))
    _LOG.info("%s", joins_line(table, model))


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--scenes", type=Path, default=cache_folder("train"))
    parser.add_argument("--taught", type=Path, help="scenes for the networks, if others")
    parser.add_argument("--calibration", type=Path, help="scenes that only set sureness and u")
    parser.add_argument("--out", type=Path, default=DATA)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--workers", type=int, default=cores())
    parser.add_argument("--compare", action="store_true")
    parser.add_argument("--keep-eye", action="store_true", help="use the packaged networks")
    parser.add_argument("--table", type=Path, help="a feature table; nothing is measured")
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command; returns the exit code."""
    args = _parser().parse_args(argv)
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    cv2.setNumThreads(1)  # one scene after the other; idle threads only get in the way
    args.out.mkdir(parents=True, exist_ok=True)
    if args.table is None:
        if args.keep_eye:
            eye = packaged_eye()
        else:
            taught, seed, workers = args.taught or args.scenes, args.seed, args.workers
            eye = fit_eye(taught, seed=seed, workers=workers, label="sheets")
            (args.out / "eye.onnx").write_bytes(eye.onnx)
            lie = fit_lie(taught, eye, seed=seed, workers=workers, label="coils")
            (args.out / "lie.onnx").write_bytes(lie.onnx)
            eye = replace(eye, lie=lie)
        rows = measure(args.scenes, args.calibration, eye, workers=args.workers)
        data = table_bytes(rows)
        (args.out / "features.csv.gz").write_bytes(data)
    else:
        data = args.table.read_bytes()
    if args.compare:
        compare(read_table(data))
    learn(data, args.out)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
