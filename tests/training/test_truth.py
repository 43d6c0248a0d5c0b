"""The truth beside a rendered photo: small, rounded, and the same map as the camera's."""

from __future__ import annotations

import json

import numpy as np
import pytest

from vision.training.camera import draw_development
from vision.training.check import length_gap
from vision.training.render import Rendered
from vision.training.scenes import GENERATOR
from vision.training.sets import scene_of
from vision.training.truth import photo_px, px_per_mm_at, truth_of


def as_if_rendered(scene, visible=400, alone=500):
    width, height = scene.view.size_px
    mask = np.zeros((height, width), np.uint8)
    for k, p in enumerate(scene.chips):
        mask.reshape(-1)[k * visible : (k + 1) * visible] = p.number
    return Rendered(
        linear=np.zeros((1, 1, 3), np.float32),
        mask=mask,
        alone_px={p.number: alone for p in scene.chips},
    )


@pytest.fixture(scope="module", params=[("dev", 3), ("dev", 8), ("unseen-families", 1)])
def told(request):
    scene = scene_of(*request.param)
    truth = truth_of(scene, as_if_rendered(scene), draw_development(scene), "x.jpg")
    return scene, json.loads(json.dumps(truth, allow_nan=False))


def test_who_made_it_and_where_it_lies(told):
    scene, truth = told
    assert truth["generator"] == GENERATOR
    assert truth["seed"] == scene.seed
    assert (truth["card"] is None) == (truth["ground"] != "card")
    assert (truth["card_state"] is None) == (truth["card"] is None)
    assert {"kelvin", "family", "lamps"} <= set(truth["light"])
    assert {"side", "light", "camera", "bench", "metals"} <= set(truth["families"])


def test_a_scenes_truth_stays_small(told):
    _, truth = told
    assert len(json.dumps(truth, separators=(",", ":"))) < 60_000
    assert max(len(c["centre_line_px"]) for c in truth["chips"]) <= 200


def test_map_and_lens_are_the_cameras(told):
    scene, truth = told
    mm = np.array([[20.0, 30.0], [105.0, 74.0], [190.0, 120.0]])
    world = np.column_stack([mm[:, 0], -mm[:, 1], np.zeros(3)])
    np.testing.assert_allclose(photo_px(truth, mm), scene.view.pixels(world), atol=1e-3)
    spots = [c["centre_mm"] for c in truth["chips"] if c["counts"]]
    if spots:
        heart = np.mean(spots, axis=0, keepdims=True)
        assert truth["px_per_mm"] == pytest.approx(px_per_mm_at(truth, heart)[0], rel=1e-3)


def test_centre_lines_in_pixels_are_those_in_millimetres(told):
    scene, truth = told
    for chip in truth["chips"]:
        line = np.array(chip["centre_line_mm"]) * [1, -1, 1]
        # both are rounded: 0.01 mm at up to 18 px/mm, and 0.1 px
        np.testing.assert_allclose(
            scene.view.pixels(line), np.array(chip["centre_line_px"]), atol=0.3
        )


def test_kept_points_tell_the_whole_line(told):
    scene, truth = told
    for placed, chip in zip(scene.chips, truth["chips"], strict=True):
        kept = np.array(chip["centre_line_mm"]) * [1, -1, 1]
        np.testing.assert_allclose(kept[[0, -1]], placed.chip.line[[0, -1]], atol=0.01)
        strips = np.split(kept, chip["line_ends"][:-1])
        assert len(strips) == len(placed.chip.ends)
        length = sum(np.linalg.norm(np.diff(s, axis=0), axis=1).sum() for s in strips)
        # chords of so many degrees are shorter than their arcs by the square over 24
        shorter = np.radians(min(truth["line_step_deg"], 60)) ** 2 / 24
        if truth["line_step_deg"] <= 24:
            assert length == pytest.approx(chip["length_mm"], rel=0.01 + shorter, abs=0.1)
        assert length <= chip["length_mm"] * 1.01 + 0.1


def test_length_from_the_curl_of_a_known_helix():
    # three turns of radius 2 and pitch 3 pi: sides 4 pi and 3 pi make 5 pi a turn
    chip = {"form": "2.2", "curl_radius_mm": 2.0, "turns": 3.0, "pitch_mm": 3 * np.pi}
    assert length_gap(chip | {"length_mm": 15 * np.pi}) == pytest.approx(0.0, abs=1e-12)
    assert length_gap(chip | {"length_mm": 12 * np.pi}) == pytest.approx(0.25)
    assert length_gap({"form": "8", "curl_radius_mm": None, "turns": None}) is None
