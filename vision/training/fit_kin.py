"""Learn which parts of the metal are one chip, from scenes of known truth.

    python -m vision.training.fit_kin [--scenes DIR ...] [--every N]

Scenes are looked at as the reader looks at them. Parts are put together as the truth says,
the likeliest first, and whatever pair is met on the way is of one chip or of two, as most of
their cells show. Prints the constants of ``vision.chips.kin``, and, on every scene in
between, how often they are right.
"""

from __future__ import annotations

import argparse
import logging
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from sklearn.linear_model import LogisticRegression
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler

from vision.bundled import packaged_eye
from vision.chips.eye import CELL_PX, SteadyEye
from vision.chips.ground import judge, whole_ground
from vision.chips.kin import MEASURES, SUREST, Parts
from vision.chips.look import sheet_view
from vision.chips.part import METAL_AT, pieces
from vision.training.pool import cores, spread
from vision.training.rows import MOST_CHIPS, load_scene, open_scene, scene_paths
from vision.training.sets import cache_folder

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from vision.chips.eye import Eye
    from vision.chips.ground import Answer
    from vision.training.rows import SceneFiles

    Floats = npt.NDArray[np.float64]
    Labels = npt.NDArray[np.integer[Any]]
    #: What is seen of pairs of parts, a row each, and whether they are of one chip.
    Known = tuple[Floats, npt.NDArray[np.bool_]]

__all__ = ["fit", "known_pairs", "main"]

_LOG = logging.getLogger(__name__)
#: A part shows what at least so many of its pixels show, and most of them.
_LEAST_PX, _MOST_OF = 6, 0.6


def _answer(scene: SceneFiles, eye: Eye) -> tuple[Answer, Labels]:
    """Return what the eye says of a scene, and what each pixel shows."""
    opened = open_scene(scene)
    box, linear, expected, seen = sheet_view(opened.plane, opened.light)
    look = SteadyEye(eye) if opened.plane.card is None else eye
    answer = judge(whole_ground(linear, expected), look, where=seen)
    x, y = opened.plane.photo_maps(box, (seen.shape[1], seen.shape[0]))
    labels = cv2.remap(scene.mask, x, y, cv2.INTER_NEAREST, borderValue=0)
    return answer, np.asarray(labels, np.uint8)


def _shown_by(parts: Labels, metal: npt.NDArray[np.bool_], labels: Labels) -> Labels:
    """Return what each part shows most but ground, by its number in the mask; 0 if unclear."""
    h, w = metal.shape
    part = parts.repeat(CELL_PX, axis=0).repeat(CELL_PX, axis=1)[:h, :w] * metal
    count = np.zeros((int(parts.max()) + 1, 256), np.intp)
    np.add.at(count, (part.ravel(), labels.ravel()), 1)
    count[:, 0] = 0
    most = count.max(axis=1)
    clear = (most >= _LEAST_PX) & (most > _MOST_OF * count.sum(axis=1))
    return np.where(clear, count.argmax(axis=1), 0)


def known_pairs(scene: SceneFiles, eye: Eye) -> Known:
    """Return what is seen of pairs of parts, (N, 5), and whether they are of one chip.

    Pairs with a part that shows nothing clearly are left out, and pairs of two that are no
    chips: two crumbs may be one or not.
    """
    answer, labels = _answer(scene, eye)
    parts = Parts(pieces(answer), answer)
    shown = _shown_by(parts.grid, answer.metal > METAL_AT, labels)
    rows, same = [np.zeros((0, len(MEASURES)))], [np.zeros(0, bool)]

    def as_the_truth_says(one: int, others: list[int], measures: Floats) -> Floats:
        a, b = shown[one], shown[others]
        told = (a > 0) & (b > 0) & ((a != b) | (a <= MOST_CHIPS))
        rows.append(measures[told])
        same.append((a == b)[told])
        likely = measures[:, MEASURES.index("kin")]
        return np.where(told & (a == b), likely + SUREST + 1, -1.0)

    parts.join(as_the_truth_says)
    return _joined(list(zip(rows, same, strict=True)))


def _joined(some: Sequence[Known]) -> Known:
    """Return the pairs of all together."""
    return np.concatenate([m for m, _ in some]), np.concatenate([o for _, o in some])


def fit(scenes: Sequence[Known]) -> tuple[Floats, float]:
    """Return the change of the log-odds for each measure, and where they start.

    A scene of many pairs weighs more than one of few, but as the root of their number.
    """
    measures, one = _joined(scenes)
    weight = np.concatenate([np.full(len(o), 1 / np.sqrt(max(len(o), 1))) for _, o in scenes])
    model = make_pipeline(StandardScaler(), LogisticRegression(C=1.0, max_iter=5000))
    model.fit(measures, one, logisticregression__sample_weight=weight / weight.mean())
    scaler, line = model[0], model[-1]
    speaks = line.coef_[0] / scaler.scale_
    return speaks, float(line.intercept_[0] - speaks @ scaler.mean_)


def _of_path(path: Path, eye: Eye) -> Known:
    return known_pairs(load_scene(path), eye)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command; returns the exit code."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--scenes", type=Path, nargs="+", default=[cache_folder("calibration")])
    parser.add_argument("--every", type=int, default=1, help="every so many scenes")
    parser.add_argument("--workers", type=int, default=cores())
    args = parser.parse_args(argv)
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    paths = [path for folder in args.scenes for path in scene_paths(folder)][:: args.every]
    work = partial(_of_path, eye=packaged_eye())
    found = list(spread(work, paths, workers=args.workers, label="parts"))
    speaks, start = fit(found[::2])
    measures, one = _joined(found[1::2])
    right = (measures @ speaks + start > 0) == one
    _LOG.info(
        "learned from half of %d scenes, right for %.3f of %d pairs in the other half, "
        "of which %.3f are of one chip",
        len(found),
        right.mean(),
        len(one),
        one.mean(),
    )
    speaks, start = fit(found)
    for name, value in zip(MEASURES, speaks, strict=True):
        _LOG.info("%s %.3f", name, value)
    _LOG.info("start %.3f", start)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
