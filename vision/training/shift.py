"""How far real chips lie from rendered ones, measure by measure.

    python -m vision.training.shift PHOTO BOXES.csv

``BOXES.csv`` has columns file, x0, y0, x1, y1 (photo pixels). Every thing that the reader
finds with most of itself in a box, and most of the box to itself, is that chip. For each
measure the real median stands beside the 5-50-95 % of the rendered chips of the feature
table. Only looked at: nothing is chosen or tuned by it.
"""

from __future__ import annotations

import argparse
import csv
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from vision import bundled
from vision.chips.features import FEATURES
from vision.chips.look import look_at
from vision.forms.fitting import read_table
from vision.forms.model import rows_of
from vision.photo.opened import open_photo

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import numpy.typing as npt

__all__ = ["boxed_rows", "main", "read_boxes", "shift_lines"]

#: A find and a box are the same chip from this overlap of their boxes on.
_SAME = 0.3
_LEAST_RENDERED = 20

Box = tuple[float, float, float, float]


def read_boxes(path: Path, photo: str) -> list[Box]:
    """Return the boxes of a photo from a CSV file, pixels."""
    with path.open(encoding="utf-8", newline="") as lines:
        rows = [r for r in csv.DictReader(lines) if r["file"] == photo]
    return [(float(r["x0"]), float(r["y0"]), float(r["x1"]), float(r["y1"])) for r in rows]


def _overlap(a: Box, b: Box) -> float:
    w = min(a[2], b[2]) - max(a[0], b[0])
    h = min(a[3], b[3]) - max(a[1], b[1])
    if w <= 0 or h <= 0:
        return 0.0
    both = (a[2] - a[0]) * (a[3] - a[1]) + (b[2] - b[0]) * (b[3] - b[1])
    return w * h / (both - w * h)


def boxed_rows(data: bytes, boxes: Sequence[Box]) -> npt.NDArray[np.float64]:
    """Return (N, F) measures of the finds that fill one box each, as a reading takes them."""
    opened = open_photo(data)
    plane = opened.plane
    look = look_at(plane, opened.light, bundled.packaged_eye())
    rows = []
    for seen in look.seen:
        if not seen.outline_mm:
            continue
        px = plane.to_photo_px(np.concatenate(seen.outline_mm))
        (x0, y0), (x1, y1) = px.min(axis=0), px.max(axis=0)
        mine = (float(x0), float(y0), float(x1), float(y1))
        if any(_overlap(mine, box) >= _SAME for box in boxes):
            rows.append(seen.features)
    return rows_of(rows) if rows else np.empty((0, len(FEATURES)))


def shift_lines(
    real: npt.NDArray[np.float64], rendered: npt.NDArray[np.float64]
) -> Iterator[str]:
    """Yield one line for each measure, and how many lie outside of what was rendered."""
    outside = known = 0
    shares = []
    for k, name in enumerate(FEATURES):
        here = real[np.isfinite(real[:, k]), k]
        there = rendered[np.isfinite(rendered[:, k]), k]
        if not len(here) or len(there) < _LEAST_RENDERED:
            yield f"{name}: not measured on enough chips"
            continue
        low, middle, high = np.percentile(there, [5, 50, 95])
        value = float(np.median(here))
        off = not low <= value <= high
        known, outside = known + 1, outside + off
        share = float(np.mean((here < low) | (here > high)))
        shares.append(share)
        yield (
            f"{name}: real {value:.3g}; rendered {low:.3g}, {middle:.3g}, {high:.3g}; "
            f"{100 * share:.0f} % of real ones outside{' <- median outside' if off else ''}"
        )
    yield f"medians outside of the rendered 5-95 %: {outside} of {known} measures"
    if shares:
        yield f"values outside: {100 * np.mean(shares):.0f} % (10 % were there no shift)"


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command; returns the exit code."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("photo", type=Path)
    parser.add_argument("boxes", type=Path)
    parser.add_argument("--table", type=Path, help="feature table (default: the packaged one)")
    args = parser.parse_args(argv)
    boxes = read_boxes(args.boxes, args.photo.name)
    real = boxed_rows(args.photo.read_bytes(), boxes)
    stored = args.table.read_bytes() if args.table else bundled.read_data("features.csv.gz")
    table = read_table(stored)
    chips = table.rows[table.labels != "none"]
    head = f"{len(real)} of {len(boxes)} real chips found; {len(chips)} rendered ones"
    for line in (head, *shift_lines(real, chips)):
        print(line)  # noqa: T201 - a command's answer
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
