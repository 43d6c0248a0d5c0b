"""Rows for learning: run the real reading chain on rendered photos, match to truth.

The photo goes through the same rooms as a user's photo; truth only says what each
thing that was found really is. Used by ``fit`` and ``evaluate``. Changing the reader
means measuring again, never rendering again.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from vision.chips.look import look_at
from vision.chips.measure import SIZES, raw_sizes
from vision.photo.card import CHECK_LINE_MM
from vision.photo.opened import open_photo
from vision.training.pool import spread

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    import numpy.typing as npt

    from vision.arrays import BoolMask, Points2
    from vision.chips.eye import Eye
    from vision.chips.look import Seen
    from vision.photo.opened import OpenedPhoto

__all__ = [
    "CRUMBS",
    "MOST_CHIPS",
    "NO_CHIP",
    "Known",
    "SceneFiles",
    "check_line_mm",
    "filled",
    "known_things",
    "load_scene",
    "match_iou",
    "measure_scenes",
    "open_scene",
    "rows_of_scene",
    "scene_paths",
    "scenes_in",
    "thinned",
    "true_label",
]

#: Values in the mask picture that are no single chip.
CRUMBS = 250
NO_CHIP = 255
#: Largest number that a chip has in the mask picture.
MOST_CHIPS = 240
#: Below this overlap a find is not that chip.
_SAME = 0.5
#: A find inside one chip that covers less of it than this is a fragment.
_FRAGMENT = 0.3
#: A find with this little metal under it is ground.
_GROUND = 0.15
#: Labels that clutter brings in hundreds, and how many of each a scene may teach.
_PLENTIFUL = frozenset({"none", "7"})
_MOST_ALIKE = 7


@dataclass(frozen=True, slots=True)
class SceneFiles:
    """One rendered photo with its truth; ``areas[k]`` is how many pixels hold ``k``."""

    name: str
    photo: bytes
    mask: npt.NDArray[np.uint8]
    truth: dict[str, Any]
    areas: npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Known:
    """A thing that was found, its class, the truth of the chip it is, and their overlap."""

    seen: Seen
    label: str
    chip: dict[str, Any] | None
    iou: float
    with_card: bool


def scene_paths(folder: Path) -> list[Path]:
    """Return the truth files of a folder, by name.

    Raises
    ------
    FileNotFoundError
        If there are none.
    """
    paths = sorted(folder.glob("*.truth.json"))
    if not paths:
        raise FileNotFoundError(f"no scenes in {folder}")
    return paths


def load_scene(path: Path) -> SceneFiles:
    """Load the scene that belongs to a truth file.

    Raises
    ------
    FileNotFoundError
        If photo or mask are missing.
    """
    truth = json.loads(path.read_text(encoding="utf-8"))
    stem = path.name.removesuffix(".truth.json")
    mask = cv2.imread(str(path.with_name(f"{stem}.mask.png")), cv2.IMREAD_GRAYSCALE)
    if mask is None:
        raise FileNotFoundError(f"{stem}: no mask picture")
    photo = path.with_name(truth["photo"]).read_bytes()
    areas = np.bincount(mask.ravel(), minlength=256)
    return SceneFiles(stem, photo, np.asarray(mask, np.uint8), truth, areas)


def scenes_in(folder: Path) -> Iterator[SceneFiles]:
    """Yield every scene of a folder, by name."""
    return map(load_scene, scene_paths(folder))


def check_line_mm(truth: dict[str, Any]) -> float:
    """Return what a person would measure on the card's 100 mm line."""
    state = truth.get("card_state") or {}
    return CHECK_LINE_MM * float(state.get("print_scale", 1.0))


def open_scene(scene: SceneFiles) -> OpenedPhoto:
    """Open a scene's photo as a person does who measured the card's line."""
    return open_photo(scene.photo, check_line_mm=check_line_mm(scene.truth))


def filled(
    rings: Sequence[Points2], shape: tuple[int, ...]
) -> tuple[BoolMask, tuple[int, int]]:
    """Fill rings (even-odd) in a box of the photo; return the box mask and its (row, col).

    A pixel is filled where its middle lies inside, within a sixth of a pixel: OpenCV fills
    what the rim touches besides, so this is done three times as fine.
    """
    points = np.concatenate(rings)
    x0, y0 = np.maximum(np.floor(points.min(axis=0)).astype(int) - 1, 0)
    x1, y1 = np.ceil(points.max(axis=0)).astype(int) + 2
    x1, y1 = min(int(x1), shape[1]), min(int(y1), shape[0])
    up, shift = 3, 4
    box = np.zeros((up * max(y1 - y0, 1), up * max(x1 - x0, 1)), np.uint8)
    middle = up // 2
    polygons = [
        np.rint(((r - (x0, y0)) * up + middle) * 2**shift).astype(np.int32) for r in rings
    ]
    cv2.fillPoly(box, polygons, 1, shift=shift)
    return box[middle::up, middle::up] > 0, (int(y0), int(x0))


def match_iou(
    rings: Sequence[Points2], scene: SceneFiles
) -> tuple[dict[int, float], dict[int, float]]:
    """Return IoU with, and share of the find covered by, each mask value under the rings."""
    own, (r, c) = filled(rings, scene.mask.shape)
    under = scene.mask[r : r + own.shape[0], c : c + own.shape[1]]
    own = own[: under.shape[0], : under.shape[1]]
    area = int(own.sum())
    counts = np.bincount(under[own], minlength=256)
    iou, cover = {}, {0: float(counts[0] / max(area, 1))}
    for k in np.flatnonzero(counts):
        if k == 0:
            continue
        whole = int(scene.areas[k])
        iou[int(k)] = float(counts[k] / max(area + whole - counts[k], 1))
        cover[int(k)] = float(counts[k] / max(area, 1))
    return iou, cover


def true_label(chip: dict[str, Any]) -> str:
    """Return the model's class for a truth chip."""
    return _label_of(str(chip["form"]))


def _label_of(form: str) -> str:
    if form.endswith(".3"):
        return "nest"
    return form if form[0] in "36" else form[0]


def _what_it_is(
    rings: Sequence[Points2], scene: SceneFiles
) -> tuple[str | None, dict[str, Any] | None, float]:
    """Return class, truth chip and IoU of a find; class ``None`` where it would mislead."""
    iou, cover = match_iou(rings, scene)
    chips = {int(c["number"]): c for c in scene.truth["chips"]}
    best = max((k for k in iou if k in chips), key=lambda k: iou[k], default=None)
    if best is not None and iou[best] >= _SAME:
        labels = {_label_of(f) for f in (chips[best]["form"], *chips[best].get("also", ()))}
        # A chip that may be called two things teaches neither.
        return (labels.pop() if len(labels) == 1 else None), chips[best], iou[best]
    if best is not None and iou[best] < _FRAGMENT and cover[best] > 0.5:
        return "none", None, 0.0  # a broken-off part of one chip must not be called a chip
    if cover.get(NO_CHIP, 0) > 0.5:
        return "none", None, 0.0
    if cover.get(CRUMBS, 0) > 0.4:
        return "7", None, 0.0
    if 1 - cover[0] < _GROUND:
        return "none", None, 0.0
    return None, None, 0.0  # part of a chip, or several: says nothing about a form


def known_things(scene: SceneFiles, eye: Eye) -> Iterator[Known]:
    """Yield the things found in a scene whose nature is clear."""
    opened = open_scene(scene)
    for seen in look_at(opened.plane, opened.light, eye).seen:
        rings = [opened.plane.to_photo_px(r) for r in seen.outline_mm]
        label, chip, iou = _what_it_is(rings, scene) if rings else (None, None, 0.0)
        if label is not None:
            yield Known(seen, label, chip, iou, opened.plane.card is not None)


def _row(known: Known, scene: str) -> dict[str, Any]:
    seen, label, chip, with_card = known.seen, known.label, known.chip, known.with_card
    row: dict[str, Any] = {"scene": scene, "card": int(with_card), "label": label}
    row |= {"iou": round(known.iou, 3)}
    row |= {name: float(f"{v:.4g}") for name, v in seen.features.items()}
    row |= _glanced(seen)
    if chip is not None:
        group = str(chip["group"])
        row |= {"form": chip["form"], "group": group}
        if with_card:
            row |= _size_pairs(seen, chip, group, nest=label == "nest")
    return row


def _glanced(seen: Seen) -> dict[str, float]:
    """Return guessed sizes and their spreads, logarithms."""
    g = seen.shape.glance
    if g is None:
        return {}
    named = [k for k in SIZES if k in g.log_size]
    out = {f"seems_{k}": float(f"{g.log_size[k]:.4g}") for k in named}
    return out | {f"doubt_{k}": float(f"{g.log_spread[k]:.4g}") for k in named}


def _size_pairs(seen: Seen, chip: dict[str, Any], group: str, *, nest: bool) -> dict[str, Any]:
    """Return raw sizes, pixels of the crop, beside true ones, mm; only a card gives a scale."""
    raw = raw_sizes(seen.shape, group, nest=nest)
    pairs: dict[str, Any] = {f"raw_{k}": float(f"{raw[k]:.4g}") for k in SIZES if k in raw}
    for k in SIZES:
        value = chip.get("turns" if k == "turns" else f"{k}_mm")
        if value is not None:
            pairs[f"true_{k}"] = value
    return pairs


def rows_of_scene(scene: SceneFiles, eye: Eye) -> list[dict[str, Any]]:
    """Return one row per thing found in a scene whose nature is clear."""
    return [_row(known, scene.name) for known in known_things(scene, eye)]


def _measure(path: Path, eye: Eye) -> list[dict[str, Any]]:
    return rows_of_scene(load_scene(path), eye)


def measure_scenes(
    folder: Path, eye: Eye, *, part: str, workers: int = 1, label: str = ""
) -> list[dict[str, Any]]:
    """Return the rows of all scenes of a folder, each marked with the ``part`` it plays.

    The same rows in the same order, whatever the number of workers.
    """
    done = spread(partial(_measure, eye=eye), scene_paths(folder), workers=workers, label=label)
    return [{"part": part, **row} for rows in done for row in rows]


def thinned(rows: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return training rows with clutter and crumbs thinned to seven a scene, evenly.

    A cluttered photo yields hundreds of things that are no chips; learned from in full
    they teach the model to call chips clutter. Rows of calibration scenes stay whole.
    """
    of_scene: dict[tuple[str, str], list[int]] = {}
    for i, row in enumerate(rows):
        plenty = row["label"] in _PLENTIFUL and row.get("part") == "train"
        if plenty and not row.get("form"):
            of_scene.setdefault((row["scene"], row["label"]), []).append(i)
    left_out: set[int] = set()
    for at in of_scene.values():
        if len(at) > _MOST_ALIKE:
            kept = {at[k * (len(at) - 1) // (_MOST_ALIKE - 1)] for k in range(_MOST_ALIKE)}
            left_out |= set(at) - kept
    return [row for i, row in enumerate(rows) if i not in left_out]
