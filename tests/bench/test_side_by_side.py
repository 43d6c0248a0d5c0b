"""The photos of the side-by-side bench hold what they say; its stages are the whole."""

from __future__ import annotations

import io
import time

import cv2
import numpy as np
import pytest
import side_by_side as bench
from PIL import Image

STAGES = [
    "decode",
    "card",
    "plane and light",
    "finding",
    "measuring",
    "naming and heat",
    "JSON",
]


@pytest.mark.parametrize("count", bench.LAID)
def test_as_many_chips_lie_in_the_photo_as_asked_for(count):
    photo = bench.drawn(count, (1600, 1200))
    height, width = photo.scene.mask.shape
    # Bridge the gaps of coils that are seen edge-on; chips lie 3.5 mm apart in their boxes.
    gap = 2 * round(0.6 * photo.px_per_mm) + 1
    metal = cv2.dilate((photo.scene.mask > 0).astype(np.uint8), np.ones((gap, gap), np.uint8))
    found, _ = cv2.connectedComponents(metal)
    assert found - 1 == count
    assert sorted(c.number for c in photo.scene.chips) == list(range(1, count + 1))
    with Image.open(io.BytesIO(photo.scene.jpeg)) as image:
        assert image.size == (width, height)
    assert width >= 1600
    assert height >= 1200


def test_a_photo_is_drawn_as_fine_as_its_size_asks_for():
    coarse, fine = (bench.drawn(20, size) for size in ((1200, 900), (2400, 1800)))
    width = {len(p.scene.rgb[0]) / p.px_per_mm for p in (coarse, fine)}
    assert max(width) == pytest.approx(min(width), rel=0.005)  # the same scene
    assert fine.px_per_mm == pytest.approx(2 * coarse.px_per_mm)
    # Enlarged pictures have nothing between their pixels: grain is lost in halving.
    grain = np.diff(fine.scene.rgb[:300, :300, 1].astype(float), axis=1).std()
    assert grain > 2.0


def test_the_stages_of_a_reading_are_the_whole_of_it():
    jpeg = bench.drawn(20, (2000, 1500)).scene.jpeg
    with bench.staged_reading(jpeg) as (run, took):
        run()
        first = took()
        start = time.process_time()
        said = run()
        whole = time.process_time() - start
        stages = took()
    assert '"source": "card"' in said
    assert list(first) == list(stages) == STAGES
    assert all(seconds >= 0 for seconds in stages.values())
    # Not how long: that nothing of the reading falls between two stages or is told twice.
    assert sum(stages.values()) == pytest.approx(whole, rel=0.02)


def test_the_reading_is_left_as_it_was():
    import vision
    from vision.photo import opened

    before = vision.read_photo, opened.decode_photo
    with bench.staged_reading(bench.drawn(1, (800, 600)).scene.jpeg):
        assert vision.read_photo is not before[0]
    assert (vision.read_photo, opened.decode_photo) == before
