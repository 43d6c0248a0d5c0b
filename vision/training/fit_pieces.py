"""Learn which pieces of metal are of one chip, from scenes of known truth.

    python -m vision.training.fit_pieces [--scenes DIR] [--every N] [--gaps]

Scenes are looked at as the reader looks at them; the pieces of ``vision.chips.part`` that
meet are of one chip or of two, as most of their cells show; so are the parts of a thing that
do not touch, with ``--gaps``. Prints the constants of ``vision.chips.pieces``, or of
``vision.chips.gaps``, and, on every scene in between, how often they are right.
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
from vision.chips.eye import CELL_PX
from vision.chips.gaps import MEASURES as GAP_MEASURES
from vision.chips.gaps import parts_with_gaps
from vision.chips.ground import judge, whole_ground
from vision.chips.look import sheet_view
from vision.chips.part import pieces, things
from vision.chips.pieces import MEASURES, meetings
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
    #: What is seen of pairs of pieces, a row each, and whether they are of one chip.
    Known = tuple[Floats, npt.NDArray[np.bool_]]

__all__ = ["fit", "known_gaps", "known_meetings", "main"]

_LOG = logging.getLogger(__name__)
#: A piece is of the chip that at least so many of its pixels show, and most of them.
_LEAST_PX, _MOST_OF = 8, 0.6


def _answer(scene: SceneFiles, eye: Eye) -> tuple[Answer, Labels]:
    """Return what the eye says of a scene, and the chip that each pixel shows, or 0."""
    opened = open_scene(scene)
    box, linear, expected, seen = sheet_view(opened.plane, opened.light)
    answer = judge(whole_ground(linear, expected), eye, where=seen)
    x, y = opened.plane.photo_maps(box, (seen.shape[1], seen.shape[0]))
    labels = cv2.remap(scene.mask, x, y, cv2.INTER_NEAREST, borderValue=0)
    return answer, np.where(labels <= MOST_CHIPS, labels, 0).astype(np.intp)


def _chip_of(piece: Labels, whose: Labels) -> tuple[Labels, npt.NDArray[np.bool_]]:
    """Return the chip that each piece shows most, by number, and whether that is clear."""
    count = np.zeros((int(piece.max()) + 1, MOST_CHIPS + 1), np.intp)
    np.add.at(count, (piece.ravel(), whose.ravel()), 1)
    count[:, 0] = 0
    most, all_ = count.max(axis=1), count.sum(axis=1)
    return count.argmax(axis=1), (most >= _LEAST_PX) & (most > _MOST_OF * all_)


def _known(pairs: Labels, measures: Floats, piece: Labels, whose: Labels) -> Known:
    """Return the pairs of pieces that clearly show a chip each."""
    chip, clear = _chip_of(piece, whose)
    both = clear[pairs].all(axis=0)
    one = chip[pairs[:, both]]
    return measures[both], one[0] == one[1]


def known_meetings(scene: SceneFiles, eye: Eye) -> Known:
    """Return what is seen where pieces meet, (N, 9), and whether they are of one chip.

    Meetings of pieces that show no chip, or several, are left out.
    """
    answer, labels = _answer(scene, eye)
    grid = pieces(answer)
    rows, cols = grid.shape
    whose = np.zeros((rows * CELL_PX, cols * CELL_PX), np.intp)
    whose[: labels.shape[0], : labels.shape[1]] = labels
    piece = grid.repeat(CELL_PX, axis=0).repeat(CELL_PX, axis=1)
    return _known(*meetings(grid, answer), piece, whose)


def known_gaps(scene: SceneFiles, eye: Eye) -> Known:
    """Return what is seen of parts with gaps between, (N, 4), and whether they are one chip.

    Parts that show no chip, or several, are left out.
    """
    answer, labels = _answer(scene, eye)
    number, boxes = things(answer)
    found = [(np.zeros((0, len(GAP_MEASURES))), np.zeros(0, bool))]
    for k, box in enumerate(boxes, 1):
        if box is not None:
            own = number[box] == k
            parts, pairs, measures = parts_with_gaps(own, box, answer)
            found.append(_known(pairs, measures, np.where(own, parts, 0), labels[box]))
    return _joined(found)


def _joined(some: Sequence[Known]) -> Known:
    """Return the pairs of all together."""
    return np.concatenate([m for m, _ in some]), np.concatenate([o for _, o in some])


def fit(measures: Floats, one: npt.NDArray[np.bool_]) -> tuple[Floats, float]:
    """Return the change of the log-odds for each measure, and where they start."""
    model = make_pipeline(StandardScaler(), LogisticRegression(C=1.0, max_iter=5000))
    model.fit(np.log1p(measures), one)
    scaler, line = model[0], model[-1]
    speaks = line.coef_[0] / scaler.scale_
    return speaks, float(line.intercept_[0] - speaks @ scaler.mean_)


def _of_path(path: Path, eye: Eye, *, gaps: bool) -> Known:
    return (known_gaps if gaps else known_meetings)(load_scene(path), eye)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command; returns the exit code."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--scenes", type=Path, default=cache_folder("train"))
    parser.add_argument("--every", type=int, default=1, help="every so many scenes")
    parser.add_argument("--gaps", action="store_true", help="parts that do not touch")
    parser.add_argument("--workers", type=int, default=cores())
    args = parser.parse_args(argv)
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    paths = scene_paths(args.scenes)[:: args.every]
    work = partial(_of_path, eye=packaged_eye(), gaps=args.gaps)
    found = list(spread(work, paths, workers=args.workers, label="pieces"))
    speaks, start = fit(*_joined(found[::2]))
    measures, one = _joined(found[1::2])
    right = (np.log1p(measures) @ speaks + start > 0) == one
    _LOG.info(
        "learned from half of %d scenes, right for %.3f of %d pairs in the other half, "
        "of which %.3f are of one chip",
        len(found),
        right.mean(),
        len(one),
        one.mean(),
    )
    speaks, start = fit(*_joined(found))
    for name, value in zip(GAP_MEASURES if args.gaps else MEASURES, speaks, strict=True):
        _LOG.info("%s %.3f", name, value)
    _LOG.info("start %.3f", start)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
