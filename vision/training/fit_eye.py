"""Learn the eye from the truth masks of rendered scenes.

Scenes with and without a card are looked at the way the reader looks at them. They are
held in memory, some 12 MB each. What is learned from them is in ``windows``, how in
``teach_eye``, the network itself in ``network``.
"""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING

from vision.chips.eye import Eye
from vision.training.network import onnx_of
from vision.training.pool import spread
from vision.training.rows import load_scene, scene_paths
from vision.training.teach_eye import learn
from vision.training.windows import Windows, sheet_of

if TYPE_CHECKING:
    from pathlib import Path

    from vision.training.windows import Sheet

__all__ = ["STEPS", "fit_eye"]

_LOG = logging.getLogger(__name__)
#: Batches to learn from.
STEPS = 22_000


def _sheet_at(path: Path) -> Sheet | None:
    return sheet_of(load_scene(path))


def fit_eye(
    folder: Path, *, seed: int, workers: int = 1, label: str = "", steps: int = STEPS
) -> Eye:
    """Learn the eye from all scenes of a folder.

    Raises
    ------
    FileNotFoundError
        There are no scenes.
    RuntimeError
        The extra ``train`` is not installed.
    """
    found = spread(_sheet_at, scene_paths(folder), workers=workers, label=label)
    sheets = [sheet for sheet in found if sheet is not None]
    _LOG.info("%d sheets", len(sheets))

    def told(step: int, costs: dict[str, float]) -> None:
        each = ", ".join(f"{name} {cost:.4f}" for name, cost in costs.items())
        _LOG.info("step %d of %d: %s", step, steps, each)

    return Eye(onnx_of(learn(Windows(sheets), steps=steps, seed=seed, told=told)))
