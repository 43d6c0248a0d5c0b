"""Learn which pieces of metal are of one chip, from scenes of known truth.

    python -m vision.training.fit_pieces [--scenes DIR] [--every N]

Scenes are looked at as the reader looks at them; the pieces of ``vision.chips.part`` that
meet are of one chip or of two, as most of their cells show. Prints the two constants of
``vision.chips.pieces`` and, on every scene in between, how often they are right.
"""

from __future__ import annotations

import argparse
import logging
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np
from sklearn.linear_model import LogisticRegression
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler

from vision.bundled import packaged_eye
from vision.chips.eye import CELL_PX
from vision.chips.ground import judge, whole_ground
from vision.chips.look import sheet_view
from vision.chips.part import pieces
from vision.chips.pieces import MEASURES, meetings
from vision.training.pool import cores, spread
from vision.training.rows import MOST_CHIPS, load_scene, open_scene, scene_paths
from vision.training.sets import cache_folder

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from vision.chips.eye import Eye
    from vision.training.rows import SceneFiles

    Floats = npt.NDArray[np.float64]
    #: What is seen where pieces meet, (N, 9), and whether they are of one chip.
    Known = tuple[Floats, npt.NDArray[np.bool_]]

__all__ = ["fit", "known_meetings", "main"]

_LOG = logging.getLogger(__name__)
#: A piece is of the chip that at least so many of its pixels show, and most of them.
_LEAST_PX, _MOST_OF = 8, 0.6


def known_meetings(scene: SceneFiles, eye: Eye) -> Known:
    """Return what is seen where pieces meet, (N, 9), and whether they are of one chip.

    Meetings of pieces that show no chip, or several, are left out.
    """
    opened = open_scene(scene)
    box, linear, expected, seen = sheet_view(opened.plane, opened.light)
    answer = judge(whole_ground(linear, expected), eye, where=seen)
    grid = pieces(answer)
    rows, cols = grid.shape
    x, y = opened.plane.photo_maps(box, (seen.shape[1], seen.shape[0]))
    labels = cv2.remap(scene.mask, x, y, cv2.INTER_NEAREST, borderValue=0)
    whose = np.zeros((rows * CELL_PX, cols * CELL_PX), np.intp)
    whose[: labels.shape[0], : labels.shape[1]] = np.where(labels <= MOST_CHIPS, labels, 0)
    piece = grid.repeat(CELL_PX, axis=0).repeat(CELL_PX, axis=1)
    count = np.zeros((int(grid.max()) + 1, MOST_CHIPS + 1), np.intp)
    np.add.at(count, (piece.ravel(), whose.ravel()), 1)
    count[:, 0] = 0
    most, all_ = count.max(axis=1), count.sum(axis=1)
    known = (most >= _LEAST_PX) & (most > _MOST_OF * all_)
    pairs, measures = meetings(grid, answer)
    both = known[pairs].all(axis=0)
    chip = count.argmax(axis=1)[pairs[:, both]]
    return measures[both], chip[0] == chip[1]


def fit(measures: Floats, one: npt.NDArray[np.bool_]) -> tuple[Floats, float]:
    """Return the change of the log-odds for each measure, and where they start."""
    model = make_pipeline(StandardScaler(), LogisticRegression(C=1.0, max_iter=5000))
    model.fit(np.log1p(measures), one)
    scaler, line = model[0], model[-1]
    speaks = line.coef_[0] / scaler.scale_
    return speaks, float(line.intercept_[0] - speaks @ scaler.mean_)


def _of_path(path: Path, eye: Eye) -> Known:
    return known_meetings(load_scene(path), eye)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command; returns the exit code."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--scenes", type=Path, default=cache_folder("train"))
    parser.add_argument("--every", type=int, default=1, help="every so many scenes")
    parser.add_argument("--workers", type=int, default=cores())
    args = parser.parse_args(argv)
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    paths = scene_paths(args.scenes)[:: args.every]
    work = partial(_of_path, eye=packaged_eye())
    found = list(spread(work, paths, workers=args.workers, label="pieces"))

    def of(some: Sequence[Known]) -> Known:
        return np.concatenate([m for m, _ in some]), np.concatenate([o for _, o in some])

    speaks, start = fit(*of(found[::2]))
    measures, one = of(found[1::2])
    right = (np.log1p(measures) @ speaks + start > 0) == one
    _LOG.info(
        "learned from half of %d scenes, right for %.3f of %d meetings in the other half, "
        "of which %.3f are of one chip",
        len(found),
        right.mean(),
        len(one),
        one.mean(),
    )
    speaks, start = fit(*of(found))
    for name, value in zip(MEASURES, speaks, strict=True):
        _LOG.info("%s %.3f", name, value)
    _LOG.info("start %.3f", start)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
