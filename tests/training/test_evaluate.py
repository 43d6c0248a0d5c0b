"""Scores: known answers, the lens in the true map, photos without a card, many workers."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from vision.photo.card import CARDS, field_mm
from vision.training.evaluate import lines_of, macro_f1, main, score_folder, summary
from vision.training.rows import load_scene, scene_paths
from vision.training.score import Named, SceneScore, score_scene
from vision.training.score_scale import corners_shown, draw_segments
from vision.training.truth import photo_px, px_per_mm_at
from vision.training.view import View


@pytest.fixture(scope="module")
def scores(made_scenes):
    return score_folder(made_scenes)


def test_macro_f1_of_known_answers():
    # group 1: 2 of 3 right, once called in vain: F1 = 2*2/(3+3); group 2: F1 = 2/(1+2)
    pairs = [("1", "1"), ("1", "1"), ("1", "2"), ("2", "2"), ("none", "1")]
    assert macro_f1(pairs, end_to_end=True) == pytest.approx((2 / 3 + 2 / 3) / 2)
    assert macro_f1(pairs, end_to_end=False) == pytest.approx((4 / 5 + 2 / 3) / 2)
    assert macro_f1([("1", "missed")], end_to_end=True) == 0.0
    assert np.isnan(macro_f1([("1", "missed")], end_to_end=False))


def named(**change):
    base = Named("2", "4", sure=True, true_form="2.2", read_form="4.2", also=("4.2",))
    return replace(base, **change)


def test_photos_of_one_form_and_mixtures_have_their_own_lines():
    one = SceneScore("one", card=True, present={"2": 3, "4": 2}, pairs=[("2", "2"), ("4", "4")])
    mixture = SceneScore("two", card=True, present={"2": 1, "4": 1}, pairs=[("2", "4")])
    empty = SceneScore("none", card=True)
    out = summary([one, mixture, empty])
    # Three of five chips are of one group, that is 60 %; one of two is not.
    assert out["macro_f1_one_form"][0] == 1.0
    assert out["macro_f1_mixture"][0] == 0.0
    alone = summary([mixture])
    assert np.isnan(alone["macro_f1_one_form"][0])
    assert "macro_f1_one_form: nothing to count" in list(lines_of(alone))


def test_a_second_right_name_is_accepted_and_said_apart():
    assert named().accepted
    assert named().form_accepted
    assert not named(also=()).accepted
    assert not named(also=("4.1",)).form_accepted
    assert named(true="nest", true_form="2.3", read="nest", also=()).accepted
    score = SceneScore("x", card=True, named=[named(), named(also=()), named(read="2")])
    out = summary([score])
    assert out["accuracy"] == pytest.approx(1 / 3)
    assert out["accepted"] == pytest.approx(2 / 3)


def test_photos_with_and_without_a_card_are_told_apart(scores):
    by = {s.name: s for s in scores}
    assert [by[f"made-{k}"].card for k in (1, 2, 3)] == [True, True, False]
    assert by["made-1"].card_found
    assert by["made-3"].scale_rel is None
    assert not by["made-3"].sizes
    assert sum(map(len, by["made-1"].answered.values())) > 3
    assert by["made-3"].truth > 0


def bare(ground, found, missed, false):
    """One scene without a card: chips found, chips missed, false chips."""
    score = SceneScore("x", card=False, ground=ground, usable="good")
    score.present["1"], score.found["1"], score.false_by["1"] = found + missed, found, false
    return score


def test_each_surface_without_a_card_has_its_own_line():
    scores = [bare("wood", 6, 2, 2), bare("wood", 3, 1, 0), bare("cloth", 0, 5, 0)]
    out = summary(scores)
    wood, cloth = out["surfaces"]["wood"], out["surfaces"]["cloth"]
    assert (wood["scenes"], wood["chips"], wood["found"], wood["called"]) == (2, 12, 9, 11)
    assert wood["recall"][0] == pytest.approx(9 / 12)
    assert wood["precision"][0] == pytest.approx(9 / 11)
    assert wood["precision"][1] == pytest.approx(6 / 8)
    assert cloth["recall"][0] == 0.0
    lines = list(lines_of(out))
    assert "on cloth: recall 0.000 (one scene, no interval), precision nothing to count; " in (
        "\n".join(lines)
    )
    assert "surfaces" not in summary([SceneScore("x", card=True, ground="card")])


def test_close_outlines_are_shares_of_the_chips_that_count():
    one = replace(bare("wood", 1, 0, 0), wide=4, wide_close=3, thin=6, thin_close=6)
    two = replace(bare("wood", 1, 0, 0), wide=4, wide_close=1, thin=2, thin_close=0)
    out = summary([one, two])
    assert out["recall_iou_0.75_wide"] == (4, 8)
    assert out["recall_iou_0.75_wide_share"] == pytest.approx((0.5, 0.25, 0.75))
    assert out["recall_boundary_f_0.75_thin"] == (6, 8)
    assert out["recall_boundary_f_0.75_thin_share"] == pytest.approx((0.75, 0.0, 1.0))


def test_wide_and_thin_are_all_the_chips_that_count(scores):
    assert all(s.wide + s.thin == s.truth for s in scores)
    assert sum(s.wide_close + s.thin_close for s in scores) > 0


def test_drawn_chips_are_found_at_the_right_scale(scores):
    cards = [s for s in scores if s.card]
    out = summary(cards)
    # drawn chips are no metal, so some are missed; that any are found shows the matching
    assert out["recall"][0] >= 0.25
    assert out["scale_error"][0] < 0.002
    assert out["segment_error"][0] < 0.002
    assert sum(v["present"] for v in out["groups"].values()) == out["chips"]


def test_truth_that_is_one_percent_off_shows_as_one_percent(made_scenes):
    scene = load_scene(scene_paths(made_scenes)[0])
    truth = json.loads(json.dumps(scene.truth))
    truth["px_from_mm"] = (np.array(truth["px_from_mm"]) @ np.diag([1.01, 1.01, 1])).tolist()
    score = score_scene(replace(scene, truth=truth))
    assert score.scale_rel == pytest.approx(0.01, abs=0.001)
    assert score.segment_rel == pytest.approx(0.01, abs=0.001)


def test_corners_count_as_shown_where_the_photo_shows_them_bare(made_scenes):
    scene = load_scene(scene_paths(made_scenes)[0])
    bare_mask = np.zeros_like(scene.mask)
    whole = corners_shown(replace(scene, mask=bare_mask))
    assert 0.9 < whole <= 1
    assert corners_shown(replace(scene, mask=bare_mask + np.uint8(3))) == 0
    # The left half covered hides about half of them, the left half cut off as well.
    covered, middle = bare_mask.copy(), bare_mask.shape[1] // 2
    covered[:, :middle] = 255
    half = corners_shown(replace(scene, mask=covered))
    assert 0.3 * whole < half < 0.7 * whole
    assert corners_shown(replace(scene, mask=bare_mask[:, :middle])) == pytest.approx(
        whole - half, abs=0.05
    )


def test_the_scale_is_asked_of_a_card_that_is_seen_well(made_scenes):
    scene = load_scene(scene_paths(made_scenes)[0])
    steep = {**scene.truth, "tilt_deg": 30.5}
    hidden = np.full_like(scene.mask, 255)
    told = [
        summary([score_scene(s)])["card_found_as_asked"]
        for s in (scene, replace(scene, truth=steep), replace(scene, mask=hidden))
    ]
    assert told == [(1, 1), (0, 0), (0, 0)]


def test_more_workers_give_the_same_scores(made_scenes, scores):
    again = summary(score_folder(made_scenes, workers=2))
    assert json.dumps(again) == json.dumps(summary(scores))


def test_one_line_for_each_figure_and_part(made_scenes, capsys, tmp_path):
    out = tmp_path / "scores.json"
    assert main(["--scenes", str(made_scenes), "--workers", "1", "--json", str(out)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert {line.split(" | ")[0].split(", ")[1] for line in lines} == {
        "with card",
        "without card",
        "all photos",
    }
    every = [line for line in lines if ", all photos | " in line]
    asked = ("90 % asked", "sets of group 8", "in a set, mean:", "of found chips")
    assert all(sum(words in line for line in every) == 1 for words in asked)
    assert not any(
        "scale_error" in line or "_mm," in line for line in lines if "without" in line
    )
    for part, figures in json.loads(out.read_text()).items():
        assert ("set_coverage" in figures) == ("all photos" in part)
        if "all photos" in part:
            continue
        assert ("surfaces" in figures) == ("without" in part)
        assert all(
            (key in figures) == ("without" not in part)
            for key in ("sizes", "uncertainty", "widths")
        )
    assert all("\n" not in line for line in lines_of(summary(score_folder(made_scenes))))


@pytest.fixture
def bent_view():
    return View(
        eye=(100.0, -160.0, 300.0),
        target=(105.0, -74.0, 0.0),
        up=(0.0, 1.0, 0.0),
        fov_deg=50.0,
        size_px=(3000, 2200),
        distortion=(-0.08, 0.02),
    )


def as_truth(view):
    return {
        "px_from_mm": view.px_from_mm().tolist(),
        "lens": {
            "k1": view.distortion[0],
            "k2": view.distortion[1],
            "focal_px": view.focal_px,
            "middle_px": view.middle_px().tolist(),
        },
        "size_px": list(view.size_px),
        "card": "a5",
    }


def test_the_true_map_is_the_cameras_with_its_lens(bent_view, rng):
    mm = rng.uniform((0, 0), (210, 148), (50, 2))
    world = np.column_stack([mm[:, 0], -mm[:, 1], np.zeros(50)])
    truth = as_truth(bent_view)
    np.testing.assert_allclose(photo_px(truth, mm), bent_view.pixels(world), atol=1e-6)
    straight = as_truth(replace(bent_view, distortion=(0.0, 0.0)))
    assert np.abs(photo_px(truth, mm) - photo_px(straight, mm)).max() > 5


def test_density_is_what_a_small_square_measures(bent_view):
    truth = as_truth(bent_view)
    at = np.array([[150.0, 40.0]])
    corners = at + 0.2 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    x, y = photo_px(truth, corners).T
    area = 0.5 * abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1)))
    assert px_per_mm_at(truth, at)[0] == pytest.approx(np.sqrt(area) / 0.4, rel=1e-4)


def test_segments_lie_in_the_field_and_in_the_photo(bent_view):
    truth = as_truth(replace(bent_view, fov_deg=20.0))
    segments = draw_segments(truth, np.random.default_rng(0))
    assert len(segments) == 20
    assert np.hypot(*(segments[:, 1] - segments[:, 0]).T) == pytest.approx(20.0)
    x0, y0, x1, y1 = field_mm(CARDS["a5"])
    ends = segments.reshape(-1, 2)
    assert (ends >= (x0, y0)).all()
    assert (ends <= (x1, y1)).all()
    px = photo_px(truth, ends)
    assert (px >= 0).all()
    assert (px <= np.array(truth["size_px"]) - 1).all()
