"""Contact sheet: crops of rendered chips by form, all at one scale, for a critical eye."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from vision.photo.colour import linear_from_rgb, srgb_from_linear
from vision.photo.decode import decode_photo
from vision.training.pool import spread
from vision.training.rows import load_scene, scene_paths
from vision.training.shapes import FORMS

if TYPE_CHECKING:
    from pathlib import Path

    from vision.arrays import Rgb8

__all__ = ["contact_sheet"]

#: Crops: side in pixels, and millimetres that they show; long chips are cut.
_SIDE_PX, _SIDE_MM = 132, 22.0
_LABEL_PX, _GAP_PX = 64, 3
_CLEAR_SHARE = 0.85


@dataclass(frozen=True, slots=True)
class _Crop:
    form: str
    picture: Rgb8


def _crops(path: Path) -> list[_Crop]:
    """Cut the chips of a scene that count and lie clear; one of each form."""
    scene = load_scene(path)
    photo = decode_photo(scene.photo)
    rgb = photo.rgb
    out: dict[str, _Crop] = {}
    for chip in scene.truth["chips"]:
        clear = chip["counts"] and chip["share_unoccluded"] >= _CLEAR_SHARE
        if not clear or chip["form"] in out:
            continue
        out[chip["form"]] = _Crop(chip["form"], _cut(rgb, photo.icc, scene.truth, chip))
    return list(out.values())


def _cut(rgb: Rgb8, icc: bytes | None, truth: dict[str, Any], chip: dict[str, Any]) -> Rgb8:
    """Cut a square of fixed millimetres round the middle of a chip, in sRGB.

    The middle of a long chip may lie far beside it: then the nearest point of its line.
    """
    line = np.array(chip["centre_line_px"])
    low, high = line.min(axis=0), line.max(axis=0)
    middle = (low + high) / 2
    half = _SIDE_MM / 2 * truth["px_per_mm"]
    if (high - low).max() > 2 * half:
        middle = line[np.linalg.norm(line - middle, axis=1).argmin()]
    scale = _SIDE_PX / (2 * half)
    shift = _SIDE_PX / 2 - 0.5 - scale * middle
    if scale < 1:
        rgb = np.asarray(cv2.GaussianBlur(rgb, (0, 0), 0.4 / scale), np.uint8)
    matrix = np.array([[scale, 0, shift[0]], [0, scale, shift[1]]])
    cut = cv2.warpAffine(rgb, matrix, (_SIDE_PX, _SIDE_PX), flags=cv2.INTER_LINEAR)
    return srgb_from_linear(linear_from_rgb(np.asarray(cut, np.uint8), icc))


def contact_sheet(
    folder: Path, *, columns: int = 12, workers: int = 1, label: str = ""
) -> Rgb8:
    """Return a picture with a row for each form and ``columns`` chips in it.

    Scenes are taken evenly over the set and at most one chip of a form from each, so the
    rows show many metals, grounds and lights. All crops show the same millimetres.
    """
    paths = scene_paths(folder)
    paths = paths[:: max(1, len(paths) // (columns * 12))]
    rows: dict[str, list[Rgb8]] = {form: [] for form in FORMS}
    for crops in spread(_crops, paths, workers=workers, label=label):
        for crop in crops:
            row = rows.setdefault(crop.form, [])
            if len(row) < columns:
                row.append(crop.picture)
    return _laid_out(rows, columns)


def _laid_out(rows: dict[str, list[Rgb8]], columns: int) -> Rgb8:
    step = _SIDE_PX + _GAP_PX
    sheet = np.full((step * len(rows) + 24, _LABEL_PX + step * columns, 3), 255, np.uint8)
    for r, (form, pictures) in enumerate(rows.items()):
        top = r * step
        cv2.putText(
            sheet, form, (6, top + 74), cv2.FONT_HERSHEY_SIMPLEX, 0.9, (0, 0, 0), 2, cv2.LINE_AA
        )
        for c, picture in enumerate(pictures):
            left = _LABEL_PX + c * step
            sheet[top : top + _SIDE_PX, left : left + _SIDE_PX] = picture
    note = f"every picture is {_SIDE_MM:g} mm wide; rendered, not photographed"
    at = (_LABEL_PX, len(sheet) - 7)
    cv2.putText(sheet, note, at, cv2.FONT_HERSHEY_SIMPLEX, 0.55, (0, 0, 0), 1, cv2.LINE_AA)
    return sheet
