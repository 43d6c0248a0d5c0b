"""The plain way to measure chips: threshold, label, regions, skeletons at full size.

A baseline to compare readings with, on purpose without any of our own code: what one
gets from scikit-image in an afternoon, without card, white balance or form model.

    python tests/bench/plain_pipeline.py PHOTO...        one line per chip
    python tests/bench/plain_pipeline.py --time PHOTO... CPU seconds per photo
"""

from __future__ import annotations

import argparse
import io
import os
import sys
import time
from dataclasses import dataclass
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np
from PIL import Image
from skimage.color import rgb2gray
from skimage.filters import threshold_otsu
from skimage.measure import label, regionprops
from skimage.morphology import skeletonize

AREA_MIN_PX = 150


@dataclass(frozen=True)
class PlainChip:
    """One region: mask inside its bounding box, and sizes in pixels."""

    bbox: tuple[int, int, int, int]
    mask: np.ndarray
    area_px: float
    extent_px: float
    length_px: float
    width_px: float


def plain_pipeline(data: bytes) -> list[PlainChip]:
    """Return everything darker than Otsu's threshold, with the length of its skeleton."""
    rgb = np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))
    grey = rgb2gray(rgb)
    dark = grey < threshold_otsu(grey)
    skeleton = skeletonize(dark)
    chips = []
    for region in regionprops(label(dark)):
        if region.area < AREA_MIN_PX:
            continue
        top, left, bottom, right = region.bbox
        length = float(np.count_nonzero(skeleton[top:bottom, left:right] & region.image))
        chips.append(
            PlainChip(
                bbox=region.bbox,
                mask=region.image,
                area_px=float(region.area),
                extent_px=float(region.feret_diameter_max),
                length_px=length,
                width_px=float(region.area) / max(length, 1.0),
            )
        )
    return chips


def main() -> int:
    """Print what the plain way finds, or how long it takes."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("photos", nargs="+", type=Path)
    parser.add_argument("--time", action="store_true")
    arguments = parser.parse_args()
    for path in arguments.photos:
        start = time.process_time()
        chips = plain_pipeline(path.read_bytes())
        seconds = time.process_time() - start
        if arguments.time:
            print(f"{path.name}\t{len(chips)} regions\t{seconds:.2f} s CPU")  # noqa: T201
            continue
        for chip in chips:
            sizes = (chip.area_px, chip.extent_px, chip.length_px, chip.width_px)
            print(path.name, *chip.bbox, *(f"{v:.1f}" for v in sizes), sep="\t")  # noqa: T201
    return 0


if __name__ == "__main__":
    sys.exit(main())
