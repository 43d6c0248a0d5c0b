"""Render sets of scenes to files, and what is done with the files as a whole.

    python -m vision.training.corpus render --set train [--out DIR] [--workers 2]
    python -m vision.training.corpus remeasure --set train
    python -m vision.training.corpus check --set train
    python -m vision.training.corpus contact --set train --out SHEET.jpg
    python -m vision.training.corpus manifest --out vision/data/manifest.csv.gz

Scenes live in the user's cache unless a folder is named. A scene is done when its truth
file says so for the same generator; the truth is written last, so a broken run goes on
where it stopped. Changing the reader asks for ``remeasure``, never for ``render``.

Mask (``NAME.mask.png``, uint8, pixels of the upright photo): 0 ground, 1-240 chip of
that number in the truth file, 250 crumbs, 255 things that are no chips.
"""

from __future__ import annotations

import argparse
import json
import logging
import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from vision.training import camera
from vision.training.camera import develop, draw_development, encode
from vision.training.jobs import draw_job
from vision.training.pool import cores, spread
from vision.training.render import Rendered, open_renderer, render
from vision.training.scenes import GENERATOR
from vision.training.sets import SETS, cache_folder, scene_name, scene_of
from vision.training.truth import truth_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from vision.training.scenes import Scene

__all__ = ["Order", "is_done", "main", "render_scene", "render_set"]

_LOG = logging.getLogger(__name__)
_SAMPLES = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """One scene to render; ``scale`` under 1 is a quick look, no training picture."""

    set_name: str
    index: int
    out: Path
    samples: int = _SAMPLES
    scale: float = 1.0

    @property
    def truth(self) -> Path:
        """Path of the truth file."""
        return self.out / f"{scene_name(self.set_name, self.index)}.truth.json"


def render_scene(scene: Scene, order: Order) -> Path:
    """Render one scene and write its files, the truth last; returns the truth's path."""
    stem = order.out / scene_name(order.set_name, order.index)
    scene = _scaled(scene, order.scale)
    rendered = render(scene, order.samples)
    plan = draw_development(scene)
    rgb = develop(rendered.linear, _sheet_level(scene, rendered), plan, _gradient(scene))
    for old in (".jpg", ".heic"):
        stem.with_name(stem.name + old).unlink(missing_ok=True)
    photo = stem.with_name(stem.name + _suffix(plan))
    photo.write_bytes(encode(rgb, plan))
    _write_mask(stem.with_name(f"{stem.name}.mask.png"), rendered.mask)
    if scene.job is not None:
        case = draw_job(scene.seed).case()
        text = json.dumps(case, indent=1)
        stem.with_name(f"{stem.name}.case.json").write_text(text, encoding="utf-8")
    truth = truth_of(scene, rendered, plan, photo.name)
    truth |= {"samples": order.samples, "scale": order.scale}
    draft = order.truth.with_suffix(".part")
    draft.write_text(json.dumps(truth, separators=(",", ":")) + "\n", encoding="utf-8")
    draft.replace(order.truth)
    return order.truth


def _suffix(plan: camera.Development) -> str:
    known = getattr(camera, "photo_suffix", None)
    return str(known(plan)) if known else ".jpg"


def _write_mask(path: Path, mask: npt.NDArray[np.uint8]) -> None:
    if not cv2.imwrite(str(path), mask, [cv2.IMWRITE_PNG_COMPRESSION, 9]):
        raise OSError(f"cannot write {path}")


def _scaled(scene: Scene, scale: float) -> Scene:
    """Return the same scene in fewer pixels; sides stay even."""
    if scale == 1.0:
        return scene
    width, height = (2 * max(round(s * scale / 2), 8) for s in scene.view.size_px)
    return replace(scene, view=replace(scene.view, size_px=(width, height)))


def _sheet_level(scene: Scene, rendered: Rendered) -> float:
    """Linear green value that the camera exposes for: the bare sheet in the empty field.

    Without a card a dark ground is lifted half of the way, as exposure meters do, as
    far as the highlights allow.
    """
    green = rendered.linear[:, :, 1]
    ground = rendered.mask == 0
    if getattr(scene, "ground", "card") != "card":
        level = float(np.percentile(green[ground] if ground.any() else green, 60))
        high = float(np.percentile(green, 97))
        return max(float(np.sqrt(max(level, 1e-3))), 0.7 * high, 1e-3)
    field = _field_mask(scene) & ground
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


def is_done(order: Order) -> bool:
    """Tell whether the truth of this scene is there, from this generator at this scale."""
    try:
        truth = json.loads(order.truth.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return bool(truth.get("generator") == GENERATOR and truth.get("scale") == order.scale)


def _begin() -> None:
    """Start the path tracer in a worker, on one core of its own."""
    cv2.setNumThreads(1)
    open_renderer()
    import drjit as dr  # noqa: PLC0415 - comes with the renderer

    dr.set_thread_count(1)


def _render_one(order: Order) -> str:
    """Render one scene; return what went wrong, so that one scene never ends a night's run."""
    import drjit as dr  # noqa: PLC0415 - comes with the renderer

    try:
        render_scene(scene_of(order.set_name, order.index), order)
    except Exception as error:  # noqa: BLE001 - said at the end, the others go on
        _LOG.exception("%s", order.truth.name)
        return f"{order.truth.name}: {error!r}"
    finally:
        dr.flush_malloc_cache()
    return ""


def render_set(orders: Sequence[Order], *, workers: int, label: str = "") -> list[str]:
    """Render what is not done yet; return a line for each, empty where it went well."""
    left = [o for o in orders if not is_done(o)]
    return list(spread(_render_one, left, workers=workers, label=label, begin=_begin))


def _say(text: str) -> None:
    print(text, flush=True)  # noqa: T201 - a command's answer


def _render(wish: Any) -> int:  # noqa: ANN401 - the parser's answer
    out = wish.out or cache_folder(wish.set)
    out.mkdir(parents=True, exist_ok=True)
    last = SETS[wish.set].count
    if wish.count is not None:
        last = min(last, wish.start + wish.count)
    orders = [
        Order(set_name=wish.set, index=k, out=out, samples=wish.samples, scale=wish.scale)
        for k in range(wish.start, last, wish.step)
    ]
    began = time.monotonic()
    done = render_set(orders, workers=wish.workers, label=wish.set)
    hours = (time.monotonic() - began) / 3600
    failed = [line for line in done if line]
    rate = f"{len(done) / hours:.0f} scenes per hour" if done else "nothing was left to do"
    _say(
        f"{wish.set}: {len(done) - len(failed)} scenes rendered, "
        f"{len(orders) - len(done)} were there; {rate} with {wish.workers} workers, "
        f"{wish.samples} paths per pixel; {out}"
    )
    for line in failed:
        _say(f"failed: {line}")
    return 1 if failed else 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m vision.training.corpus")
    verbs = parser.add_subparsers(dest="verb", required=True)
    draw = verbs.add_parser("render", help="render scenes of a set")
    draw.add_argument("--set", required=True, choices=sorted(SETS))
    draw.add_argument("--out", type=Path, help="folder (default: in the user's cache)")
    draw.add_argument("--start", type=int, default=0, help="first scene of the set")
    draw.add_argument("--count", type=int, help="how many scenes (default: to the end)")
    draw.add_argument("--step", type=int, default=1, help="take every n-th scene")
    draw.add_argument("--samples", type=int, default=_SAMPLES, help="light paths per pixel")
    draw.add_argument("--scale", type=float, default=1.0, help="picture size, for a quick look")
    draw.add_argument("--workers", type=int, default=cores())
    draw.set_defaults(run=_render)
    return parser


def main(arguments: list[str] | None = None) -> int:
    """Run the command line; returns the exit code."""
    wish: Any = _parser().parse_args(arguments)
    return int(wish.run(wish))


if __name__ == "__main__":
    raise SystemExit(main())
