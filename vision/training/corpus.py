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

from vision import bundled
from vision.training.camera import develop, draw_development, encode, photo_suffix
from vision.training.check import check_folder, report
from vision.training.contact import contact_sheet
from vision.training.exposure import light_gradient, sheet_level
from vision.training.film_check import gaps_of_some
from vision.training.jobs import draw_job
from vision.training.manifest import manifest_bytes
from vision.training.pool import cores, spread
from vision.training.render import open_renderer, render
from vision.training.scenes import GENERATOR
from vision.training.sets import SETS, cache_folder, scene_name, scene_of
from vision.training.truth import truth_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    import numpy.typing as npt

    from vision.training.scenes import Scene

__all__ = ["Order", "is_done", "main", "render_scene", "render_set"]

_LOG = logging.getLogger(__name__)
_SAMPLES = 12


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
    rgb = develop(rendered.linear, sheet_level(scene, rendered), plan, light_gradient(scene))
    for old in (".jpg", ".heic"):
        stem.with_name(stem.name + old).unlink(missing_ok=True)
    photo = stem.with_name(stem.name + photo_suffix(plan))
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


def _write_mask(path: Path, mask: npt.NDArray[np.uint8]) -> None:
    if not cv2.imwrite(str(path), mask, [cv2.IMWRITE_PNG_COMPRESSION, 5]):
        raise OSError(f"cannot write {path}")


def _scaled(scene: Scene, scale: float) -> Scene:
    """Return the same scene in fewer pixels; sides stay even."""
    if scale == 1.0:
        return scene
    width, height = (2 * max(round(s * scale / 2), 8) for s in scene.view.size_px)
    return replace(scene, view=replace(scene.view, size_px=(width, height)))


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


def _remeasure(wish: Any) -> int:  # noqa: ANN401
    from vision.training.fit import measure, table_bytes  # noqa: PLC0415 - only for this verb

    calibration = wish.calibration
    rows = measure(_folder(wish), calibration, bundled.packaged_eye(), workers=wish.workers)
    wish.out.write_bytes(table_bytes(rows))
    _say(f"{len(rows)} rows in {wish.out}")
    return 0


def _check(wish: Any) -> int:  # noqa: ANN401
    folder = _folder(wish)
    found = check_folder(folder, workers=wish.workers, every=wish.every, label="check")
    for line in report(found, gaps_of_some(found.films)):
        _say(line)
    return 1 if found.complaints else 0


def _contact(wish: Any) -> int:  # noqa: ANN401
    sheet = contact_sheet(
        _folder(wish), columns=wish.columns, workers=wish.workers, label="crops"
    )
    quality = [cv2.IMWRITE_JPEG_QUALITY, wish.quality]
    if not cv2.imwrite(str(wish.out), cv2.cvtColor(sheet, cv2.COLOR_RGB2BGR), quality):
        raise OSError(f"cannot write {wish.out}")
    _say(f"{wish.out}: {wish.out.stat().st_size / 1000:.0f} kB")
    return 0


def _manifest(wish: Any) -> int:  # noqa: ANN401
    folders = wish.scenes or [cache_folder(s) for s in SETS if cache_folder(s).is_dir()]
    wish.out.write_bytes(manifest_bytes(folders))
    _say(f"{wish.out}: {len(folders)} sets")
    return 0


def _folder(wish: Any) -> Path:  # noqa: ANN401
    return Path(wish.scenes or cache_folder(wish.set))


def _from(parser: argparse.ArgumentParser) -> None:
    """Add where the scenes are and how many processes look at them."""
    where = parser.add_mutually_exclusive_group(required=True)
    where.add_argument("--set", choices=sorted(SETS), help="a set in the user's cache")
    where.add_argument("--scenes", type=Path, help="a folder of scenes")
    parser.add_argument("--workers", type=int, default=cores())


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m vision.training.corpus",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    verbs = parser.add_subparsers(dest="verb", required=True)
    _add_render(verbs.add_parser("render", help="render scenes of a set"))
    again = verbs.add_parser("remeasure", help="feature table of scenes, with today's reader")
    _from(again)
    again.add_argument("--calibration", type=Path, help="folder of calibration scenes")
    again.add_argument("--out", required=True, type=Path)
    again.set_defaults(run=_remeasure)
    check = verbs.add_parser("check", help="check the truth of all scenes against itself")
    _from(check)
    check.add_argument("--every", type=int, default=1, help="draw every n-th seed again")
    check.set_defaults(run=_check)
    contact = verbs.add_parser("contact", help="picture of chips by form, at one scale")
    _from(contact)
    contact.add_argument("--out", required=True, type=Path)
    contact.add_argument("--columns", type=int, default=12)
    contact.add_argument("--quality", type=int, default=80)
    contact.set_defaults(run=_contact)
    listed = verbs.add_parser("manifest", help="one line for each scene")
    listed.add_argument("--scenes", nargs="+", type=Path, help="folders (default: the cache)")
    listed.add_argument("--out", required=True, type=Path)
    listed.set_defaults(run=_manifest)
    return parser


def _add_render(draw: argparse.ArgumentParser) -> None:
    draw.add_argument("--set", required=True, choices=sorted(SETS))
    draw.add_argument("--out", type=Path, help="folder (default: in the user's cache)")
    draw.add_argument("--start", type=int, default=0, help="first scene of the set")
    draw.add_argument("--count", type=int, help="how many scenes (default: to the end)")
    draw.add_argument("--step", type=int, default=1, help="take every n-th scene")
    draw.add_argument("--samples", type=int, default=_SAMPLES, help="light paths per pixel")
    draw.add_argument("--scale", type=float, default=1.0, help="picture size, for a quick look")
    draw.add_argument("--workers", type=int, default=cores())
    draw.set_defaults(run=_render)


def main(arguments: list[str] | None = None) -> int:
    """Run the command line; returns the exit code."""
    wish: Any = _parser().parse_args(arguments)
    return int(wish.run(wish))


if __name__ == "__main__":
    raise SystemExit(main())
