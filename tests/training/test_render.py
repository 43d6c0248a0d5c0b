"""One tiny rendered scene: picture, mask and truth show the same world."""

from __future__ import annotations

import dataclasses

import cv2
import numpy as np
import pytest

pytest.importorskip("mitsuba", reason='the path tracer is in the extra "train"')

from vision.photo.card import CARDS, marker_dictionary, markers_mm
from vision.training.jobs import draw_job
from vision.training.render import CRUMBS, DISTRACTOR, open_renderer, render
from vision.training.scenes import draw_scene


@pytest.fixture(scope="module")
def world():
    try:
        open_renderer()
    except (ImportError, RuntimeError) as error:
        pytest.skip(f"the path tracer does not start here: {error}")
    scene = draw_scene(4, "x", job=draw_job(4))  # jobs lie on a flat, good card
    small = dataclasses.replace(scene.view, size_px=(960, 720))
    scene = dataclasses.replace(scene, view=small)
    return scene, render(scene, samples=8)


def test_printed_markers_lie_where_the_truth_says(world):
    """Independent proof of the homography: OpenCV finds the markers in the picture."""
    scene, rendered = world
    level = rendered.linear / np.percentile(rendered.linear, 95)
    picture = (255 * np.clip(level, 0, 1) ** (1 / 2.2)).astype(np.uint8)
    corners, ids, _ = cv2.aruco.ArucoDetector(marker_dictionary()).detectMarkers(picture)
    assert ids is not None
    assert len(ids) > 20
    h = scene.view.px_from_mm()
    known = markers_mm(CARDS[scene.sheet.card_id])
    gaps = []
    for found, k in zip(corners, ids.ravel(), strict=True):
        there = np.column_stack([known[int(k)], np.ones(4)]) @ h.T
        gaps.append((found[0] - there[:, :2] / there[:, 2:]).mean(axis=0))
    # markers are found to about half a pixel each; the mean of twenty to a tenth
    assert np.abs(np.mean(gaps, axis=0)).max() < 0.15


def test_centre_lines_run_inside_their_masks(world):
    scene, rendered = world
    for placed in scene.chips:
        mask = (rendered.mask == placed.number).astype(np.uint8)
        if mask.sum() < 60:
            continue
        wide = cv2.dilate(mask, np.ones((5, 5), np.uint8))
        at = np.rint(scene.view.pixels(placed.chip.line)).astype(int)
        inside = wide[at[:, 1].clip(0, 719), at[:, 0].clip(0, 959)]
        # two pixels of slack for chips that are thinner than a pixel here
        assert inside.mean() > 0.9


def test_mask_holds_only_documented_values(world):
    scene, rendered = world
    numbers = {p.number for p in scene.chips}
    assert set(np.unique(rendered.mask)) <= numbers | {0, CRUMBS, DISTRACTOR}


def test_nothing_shows_more_than_it_would_alone(world):
    scene, rendered = world
    for placed in scene.chips:
        visible = np.count_nonzero(rendered.mask == placed.number)
        # rays through the same pixel centres: equal but for rays along an edge
        assert visible <= 1.02 * rendered.alone_px[placed.number] + 2
