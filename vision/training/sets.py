"""The sets of scenes: which seeds, which families, how many. Seeds of sets never meet."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from platformdirs import user_cache_path

from vision.training.jobs import draw_job
from vision.training.scenes import draw_scene

if TYPE_CHECKING:
    from vision.training.families import Side
    from vision.training.scenes import Kind, Scene

__all__ = ["SETS", "SceneSet", "cache_folder", "scene_name", "scene_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SceneSet:
    """Seeds from ``first`` on; families from ``side``; the kind of scene.

    ``jobs``: chips of invented workshop jobs instead of free draws. ``rung``: short
    name of a test set in the model card.
    """

    first: int
    count: int
    side: Side = "train"
    kind: Kind = "plain"
    jobs: bool = False
    rung: str = ""


#: Sets by name. ``dev`` is for looking; nothing is learned or scored on it. ``seen`` and
#: ``seen-families`` were test sets until choices had been made after looks at them; they are
#: for development, ``unseen`` and ``unseen-families`` took their place.
SETS: dict[str, SceneSet] = {
    "dev": SceneSet(first=0, count=16),
    "demo": SceneSet(first=40_000, count=14, jobs=True),
    "native": SceneSet(first=80_000, count=3, kind="native"),
    "train": SceneSet(first=100_000, count=10_545),
    "calibration": SceneSet(first=200_000, count=350),
    "seen": SceneSet(first=300_000, count=100),
    "unseen": SceneSet(first=300_100, count=200, rung="R1"),
    "seen-families": SceneSet(first=400_000, count=150, side="held_out"),
    "unseen-families": SceneSet(first=400_150, count=300, side="held_out", rung="R2"),
    "boundary": SceneSet(first=500_000, count=60, kind="boundary", rung="R3"),
    "heat": SceneSet(first=600_000, count=100, kind="heat"),
}


def cache_folder(set_name: str) -> Path:
    """Where the scenes of a set are kept unless told otherwise: the user's cache."""
    return Path(user_cache_path("bluecurl")) / "scenes" / set_name


def scene_name(set_name: str, index: int) -> str:
    """First part of the file names of scene number ``index`` of a set."""
    return f"{set_name}-{SETS[set_name].first + index:06d}"


def scene_of(set_name: str, index: int) -> Scene:
    """Scene number ``index`` (from 0) of a set."""
    chosen = SETS[set_name]
    seed = chosen.first + index
    job = draw_job(seed) if chosen.jobs else None
    return draw_scene(seed, set_name, side=chosen.side, job=job, kind=chosen.kind)
