"""Render sets of scenes to files: photo, mask and truth, one scene at a time.

    python -m vision.training.corpus render --set pilot-train --count 110 --out DIR

A scene is skipped when its truth file is already there for the same generator, so a
broken run goes on where it stopped.

Mask (``NAME.mask.png``, uint8, pixels of the upright photo): 0 ground, 1-240 chip of
that number in the truth file, 250 crumbs, 255 things that are no chips.
"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from vision.training.camera import develop, draw_development, encode
from vision.training.jobs import draw_job
from vision.training.render import Rendered, render
from vision.training.scenes import GENERATOR, draw_scene
from vision.training.truth import truth_of

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.training.families import Side
    from vision.training.scenes import Scene

__all__ = ["SETS", "SceneSet", "main", "render_scene", "scene_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SceneSet:
    """Seeds from ``first`` on, families from ``side``; workshop jobs or 12 Mpx photos."""

    first: int
    count: int
    side: Side = "train"
    jobs: bool = False
    native: bool = False


#: Sets by name; their seeds never meet.
SETS: dict[str, SceneSet] = {
    "dev": SceneSet(first=0, count=16),
    "pilot-train": SceneSet(first=1_000, count=112),
    "pilot-test": SceneSet(first=20_000, count=40),
    "pilot-demo": SceneSet(first=40_000, count=14, jobs=True),
    "pilot-native": SceneSet(first=80_000, count=3, native=True),
    "pilot-held-out": SceneSet(first=60_000, count=40, side="held_out"),
}


def scene_of(set_name: str, index: int) -> Scene:
    """Scene number ``index`` (from 0) of a set."""
    chosen = SETS[set_name]
    seed = chosen.first + index
    job = draw_job(seed) if chosen.jobs else None
    return draw_scene(seed, set_name, side=chosen.side, job=job, native=chosen.native)


def render_scene(scene: Scene, out: Path, *, samples: int = 24) -> Path:
    """Render one scene and write its files; returns the path of the truth file."""
    name = _name(scene.set_name, scene.seed)
    rendered = render(scene, samples)
    plan = draw_development(scene)
    rgb = develop(rendered.linear, _sheet_level(scene, rendered), plan, _gradient(scene))
    photo = out / f"{name}.jpg"
    photo.write_bytes(encode(rgb, plan))
    cv2.imwrite(str(out / f"{name}.mask.png"), rendered.mask)
    if scene.job is not None:
        case = draw_job(scene.seed).case()
        (out / f"{name}.case.json").write_text(json.dumps(case, indent=1), encoding="utf-8")
    truth = out / f"{name}.truth.json"
    truth.write_text(json.dumps(truth_of(scene, rendered, plan, photo.name)), encoding="utf-8")
    return truth


def _name(set_name: str, seed: int) -> str:
    return f"{set_name}-{seed:05d}"


def _sheet_level(scene: Scene, rendered: Rendered) -> float:
    """Median light of the bare sheet in the empty field."""
    field = _field_mask(scene) & (rendered.mask == 0)
    green = rendered.linear[:, :, 1]
    chosen = green[field] if field.any() else green
    return max(float(np.percentile(chosen, 60)), 1e-4)


def _field_mask(scene: Scene) -> npt.NDArray[np.bool_]:
    x0, y0, x1, y1 = scene.sheet.field_area
    corners = np.array([[x0, y0, 0], [x1, y0, 0], [x1, y1, 0], [x0, y1, 0]])
    width, height = scene.view.size_px
    picture = np.zeros((height, width), dtype=np.uint8)
    cv2.fillConvexPoly(picture, np.rint(scene.view.pixels(corners)).astype(np.int32), 1)
    return picture.astype(bool)


def _gradient(scene: Scene) -> npt.NDArray[np.float32]:
    """Light that falls off along the card, as a factor for each pixel."""
    h = np.linalg.inv(scene.view.px_from_mm())
    width, height = scene.view.size_px
    x, y = np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32)[:, None]
    w = h[2, 0] * x + h[2, 1] * y + h[2, 2]
    mm_x = (h[0, 0] * x + h[0, 1] * y + h[0, 2]) / w - scene.sheet.size_mm[0] / 2
    mm_y = (h[1, 0] * x + h[1, 1] * y + h[1, 2]) / w - scene.sheet.size_mm[1] / 2
    gx, gy = scene.light.gradient
    return np.asarray(np.clip(1 + (gx * mm_x + gy * mm_y) / 100, 0.5, 1.5), dtype=np.float32)


def _done(path: Path) -> bool:
    if not path.exists():
        return False
    try:
        return bool(json.loads(path.read_text(encoding="utf-8"))["generator"] == GENERATOR)
    except (ValueError, KeyError):
        return False


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m vision.training.corpus")
    verbs = parser.add_subparsers(dest="verb", required=True)
    draw = verbs.add_parser("render", help="render scenes of a set")
    draw.add_argument("--set", required=True, choices=sorted(SETS))
    draw.add_argument("--out", required=True, type=Path)
    draw.add_argument("--start", type=int, default=0, help="first scene of the set")
    draw.add_argument("--count", type=int, help="how many scenes (default: to the end)")
    draw.add_argument("--step", type=int, default=1, help="take every n-th scene")
    draw.add_argument("--samples", type=int, default=24, help="light paths per pixel")
    return parser


def main(arguments: list[str] | None = None) -> int:
    """Run the command line; returns the exit code."""
    from tqdm import tqdm  # noqa: PLC0415 - only with the extra "train"

    wish: Any = _parser().parse_args(arguments)
    wish.out.mkdir(parents=True, exist_ok=True)
    chosen = SETS[wish.set]
    last = chosen.count if wish.count is None else min(chosen.count, wish.start + wish.count)
    for index in tqdm(range(wish.start, last, wish.step), desc=wish.set, file=sys.stderr):
        truth = wish.out / f"{_name(wish.set, chosen.first + index)}.truth.json"
        if not _done(truth):
            render_scene(scene_of(wish.set, index), wish.out, samples=wish.samples)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
