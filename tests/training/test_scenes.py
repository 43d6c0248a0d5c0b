"""Scenes are pure data from a seed; sets and families never meet."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict

import numpy as np
import pytest

from vision.photo.card import CARDS, field_mm
from vision.training import scenes
from vision.training.camera import draw_development
from vision.training.card_wear import sheet_height
from vision.training.corpus import SETS, scene_of
from vision.training.families import families, span
from vision.training.jobs import draw_job
from vision.training.layout import Floor
from vision.training.render import Rendered
from vision.training.scenes import draw_scene
from vision.training.truth import truth_of


def digest(scene):
    """Fingerprint of everything in a scene."""
    return hashlib.sha256(
        json.dumps(asdict(scene), default=lambda a: a.tobytes().hex()).encode()
    ).hexdigest()


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


@pytest.mark.parametrize("seed", [3, 8])
def test_same_seed_same_scene(seed):
    assert digest(draw_scene(seed, "x")) == digest(draw_scene(seed, "x"))
    assert digest(draw_scene(seed, "x")) != digest(draw_scene(seed + 1, "x"))


def test_sets_share_no_seed():
    taken = [
        s for name in SETS for s in range(SETS[name].first, SETS[name].first + SETS[name].count)
    ]
    assert len(taken) == len(set(taken))


@pytest.mark.parametrize("kind", ["metals", "lights", "cameras", "benches"])
def test_held_out_families_are_other_families(kind):
    assert families(kind, "train")
    assert not set(families(kind, "train")) & set(families(kind, "held_out"))


def test_a_held_out_scene_uses_only_held_out_families():
    scene = draw_scene(5, "x", side="held_out")
    assert {p.metal for p in scene.chips} <= set(families("metals", "held_out"))
    assert scene.light.family in families("lights", "held_out")
    assert scene.camera[0] in families("cameras", "held_out")


def test_chips_stand_on_the_card_and_apart(monkeypatch):
    # Which seeds are crowded hangs on the processor: settling chips draw as long as they must.
    monkeypatch.setattr(scenes, "_CROWDED", 0.0)
    for seed in (1, 2, 6, 7):
        scene = draw_scene(seed, "x")
        x0, y0, x1, y1 = scene.sheet.card_area
        floor = Floor(area=scene.sheet.card_area, gap_mm=0.0)
        overlaps = 0
        for placed in scene.chips:
            points = placed.chip.points
            assert points[:, 0].min() >= x0 - 1
            assert points[:, 0].max() <= x1 + 1
            assert points[:, 1].min() >= y0 - 1
            assert points[:, 1].max() <= y1 + 1
            overlaps += bool(floor.height[floor._cells(points)].any())
            floor.occupy(points)
        assert overlaps <= 2


def test_field_is_the_cards_empty_field():
    scene = draw_scene(1, "x")
    x0, y0, x1, y1 = field_mm(CARDS[scene.sheet.card_id])
    assert scene.sheet.field_area == (x0, -y1, x1, -y0)


def test_a_set_is_balanced_by_group():
    counts = dict.fromkeys("12345678", 0)
    for index in range(16):
        for placed in scene_of("train", index).chips:
            counts[placed.chip.group] += 1
    # sixteen scenes are one turn of all groups; grains come in crowds
    assert min(counts.values()) * 3 > max(v for k, v in counts.items() if k != "7")


def test_truth_counts_by_the_rule():
    scene = draw_scene(4, "x")
    plan = draw_development(scene)
    clear = truth_of(scene, as_if_rendered(scene), plan, "x.jpg")
    assert clear["schema"] == "bluecurl.truth/1"
    assert all(c["counts"] == c["in_frame"] for c in clear["chips"])
    hidden = truth_of(scene, as_if_rendered(scene, alone=900), plan, "x.jpg")
    assert not any(c["counts"] for c in hidden["chips"])
    tiny = truth_of(scene, as_if_rendered(scene, visible=149, alone=149), plan, "x.jpg")
    assert not any(c["counts"] for c in tiny["chips"])
    json.dumps(clear, allow_nan=False)


def test_truth_puts_lines_where_the_photo_shows_them():
    scene = draw_scene(4, "x")
    truth = truth_of(scene, as_if_rendered(scene), draw_development(scene), "x.jpg")
    h = np.array(truth["px_from_mm"])
    chip = min(truth["chips"], key=lambda c: max(p[2] for p in c["centre_line_mm"]))
    line = np.array(chip["centre_line_mm"])
    plane = np.column_stack([line[:, :2], np.ones(len(line))]) @ h.T
    world = line * [1, -1, 1]
    gap = plane[:, :2] / plane[:, 2:] - scene.view.pixels(world)
    # what is left is parallax: height over distance times the way from the middle
    limit = line[:, 2].max() / scene.view.eye[2] * np.hypot(*scene.view.size_px)
    assert np.abs(gap).max() < limit


def test_density_and_tilt_stay_in_their_ranges():
    low, high = span("px_per_mm", "train")
    for index in range(0, 60, 6):
        view = scene_of("unseen", index).view
        # the density at the edge of a tilted card differs from that in its middle
        assert low * 0.8 < view.px_per_mm(105, 74) < high * 1.25
        assert view.tilt_deg() <= span("tilt_deg", "train")[1] + 1e-6


@pytest.mark.parametrize("seed", range(14))
def test_jobs_give_cases_with_all_that_is_needed(seed):
    case = draw_job(seed).case()
    assert case["schema"] == "bluecurl.case/1"
    assert {"material", "diameter_mm"} <= set(case["work"])
    assert case["edge"]["material"] in {"HSS", "carbide", "coated carbide"}
    cut = case["passes"][0]["cut"]
    assert cut["spindle_rev_min"] in case["lathe"]["spindle_rev_min"]
    assert cut["feed_mm_rev"] in case["lathe"]["feeds_mm_rev"]
    # the last cut must not pass the target
    work = case["work"]
    assert work["diameter_mm"] - 2 * cut["depth_mm"] >= work["target_diameter_mm"] - 1e-9


@pytest.fixture(scope="module")
def many():
    return [draw_scene(seed, "x") for seed in range(5_000, 5_060)]


def test_two_thirds_of_the_scenes_have_a_card_and_the_rest_says_what_it_lies_on(many):
    with_card = sum(s.ground == "card" for s in many)
    # 60 draws: two standard deviations are 0.12
    assert 0.54 < with_card / len(many) < 0.79
    for scene in many:
        assert scene.ground in {"card", scene.bench[0]}
        if scene.ground != "card":
            assert scene.wear.sagitta_mm == 0
            assert not scene.oil


def test_counts_reach_from_a_few_chips_to_forty(many):
    counts = [len(s.chips) for s in many]
    assert min(counts) <= 4
    assert max(counts) >= 28
    assert max(counts) <= 44


def test_about_half_of_the_scenes_show_nothing_but_chips(many):
    bare = sum(not s.props for s in many)
    assert 0.3 < bare / len(many) < 0.65
    assert len({p.kind for s in many for p in s.props}) >= 10


def test_half_of_the_scenes_mix_metals_cuts_and_forms(many):
    for scene in many:
        if scene.seed % 2 == 0:
            assert len({p.metal for p in scene.chips} - {"steel"}) <= 1
    mixed = [s for s in many if s.seed % 2 == 1 and len(s.chips) > 8]
    assert all(len({p.chip.group for p in s.chips}) >= 5 for s in mixed)


def test_heat_scenes_show_tints_of_all_thicknesses():
    scenes = [draw_scene(600_000 + k, "x", kind="heat") for k in range(12)]
    means = []
    for scene in scenes:
        assert scene.ground == "card"
        assert all(p.film.mean_nm > 0 for p in scene.chips)
        assert {p.metal for p in scene.chips} <= {
            name for name, m in families("metals", "train").items() if "film" in m
        }
        means.append(np.mean([p.film.mean_nm for p in scene.chips]))
    assert min(means) < 12
    assert max(means) > 70


def test_boundary_scenes_hold_only_chips_between_two_names():
    scene = draw_scene(500_001, "x", kind="boundary")
    assert scene.ground == "card"
    assert scene.chips
    assert all(p.chip.also for p in scene.chips)


def test_a_bent_card_carries_its_chips():
    seeds = (s for s in range(7_000, 7_100) if draw_scene(s, "x").wear.sagitta_mm)
    scene = draw_scene(next(seeds), "x")
    for placed in scene.chips:
        points = placed.chip.points
        gap = points[:, 2] - sheet_height(scene.sheet, scene.wear, points)
        # chips that lie on others stand higher; none sinks into the sheet
        assert gap.min() > -1e-6
    lowest = [
        (p.chip.points[:, 2] - sheet_height(scene.sheet, scene.wear, p.chip.points)).min()
        for p in scene.chips
    ]
    assert np.median(lowest) < 1e-6
