"""Rows and pixels for learning: from the real reading chain, told apart by the truth."""

from __future__ import annotations

import csv
import gzip
import io
import json
from dataclasses import replace

import cv2
import numpy as np
import pillow_heif
import pytest

from vision import bundled
from vision.forms.fitting import fit_model, read_table
from vision.forms.model import CLASSES
from vision.training.fit import table_bytes
from vision.training.rows import (
    CRUMBS,
    MOST_CHIPS,
    NO_CHIP,
    SceneFiles,
    check_line_mm,
    load_scene,
    match_iou,
    measure_scenes,
    open_scene,
    rows_of_scene,
    scene_paths,
    thinned,
)
from vision.training.windows import Windows, sheet_of


@pytest.fixture(scope="module")
def rows(made_scenes):
    return measure_scenes(made_scenes, bundled.packaged_eye(), part="train")


def square(mask):
    areas = np.bincount(mask.ravel(), minlength=256)
    return SceneFiles("x", b"", mask, {}, areas)


def test_overlap_of_a_square_with_half_of_it_found():
    mask = np.zeros((60, 80), np.uint8)
    mask[10:30, 20:40] = 7
    ring = np.array([[19.5, 9.5], [29.5, 9.5], [29.5, 29.5], [19.5, 29.5]])
    iou, cover = match_iou([ring], square(mask))
    # the edge of the ring runs between pixels; the fill takes edge pixels too
    assert iou[7] == pytest.approx(0.5, abs=0.06)
    assert cover[7] == pytest.approx(1.0, abs=0.1)


def test_every_row_says_where_it_came_from(rows):
    assert {r["scene"] for r in rows} == {"made-1", "made-2", "made-3"}
    assert {r["part"] for r in rows} == {"train"}
    assert {r["label"] for r in rows} <= set(CLASSES)
    assert sum(r["label"] != "none" for r in rows) >= 10


def test_sizes_are_learned_only_where_a_card_gives_a_scale(rows):
    with_card = [r for r in rows if r["card"] and r["label"] not in ("none", "7")]
    assert with_card
    assert all("raw_extent" in r and "true_extent" in r for r in with_card)
    bare = [r for r in rows if not r["card"]]
    assert bare
    assert not any(k.startswith(("raw_", "true_")) for r in bare for k in r)


def test_more_workers_give_the_same_rows(made_scenes, rows):
    again = measure_scenes(made_scenes, bundled.packaged_eye(), part="train", workers=2)
    assert table_bytes(again) == table_bytes(rows)


def test_windows_to_learn_from_hold_what_lies_there(made_scenes):
    sheets = [sheet_of(load_scene(p)) for p in scene_paths(made_scenes)]
    windows = Windows([s for s in sheets if s is not None], side=96)
    drawn = windows.draw(60, np.random.default_rng(3))
    assert windows.draw(60, np.random.default_rng(3)) == drawn
    on_chip, light_on, light_off, known = 0, [], [], []
    for w in drawn:
        sheet = windows.sheets[w.sheet]
        seen = sheet.seen[w.top : w.top + 96, w.left : w.left + 96, :3].mean(axis=2)
        labels = sheet.labels[::2, ::2][w.top : w.top + 96, w.left : w.left + 96]
        assert seen.shape == labels.shape == (96, 96)
        chips = (labels > 0) & (labels <= MOST_CHIPS)
        on_chip += chips.any()
        light_on += seen[chips].tolist()
        light_off += seen[labels == 0].tolist()
        known += np.isfinite(sheet.sizes[np.unique(labels[chips]), :2]).all(axis=1).tolist()
    # Four windows of five lie on something; chips are seldom as light as the white sheet.
    assert on_chip >= 30
    assert np.mean(light_on) < np.mean(light_off)
    # All but nests and crumbs have a true length and width.
    assert np.mean(known) > 0.6


def test_a_sheet_with_nothing_on_it_teaches_nothing(made_scenes):
    scene = load_scene(scene_paths(made_scenes)[0])
    assert sheet_of(replace(scene, mask=np.zeros_like(scene.mask))) is None


def test_a_heic_photo_is_measured_as_well(made_scenes):
    scene = load_scene(scene_paths(made_scenes)[0])
    rgb = cv2.imdecode(np.frombuffer(scene.photo, np.uint8), cv2.IMREAD_COLOR_RGB)
    out = io.BytesIO()
    pillow_heif.from_bytes("RGB", rgb.shape[1::-1], rgb.tobytes()).save(out, quality=90)
    heic = SceneFiles(scene.name, out.getvalue(), scene.mask, scene.truth, scene.areas)
    assert open_scene(heic).plane.card is not None
    assert len(rows_of_scene(heic, bundled.packaged_eye())) >= 2


def test_a_chip_with_two_names_teaches_neither(made_scenes):
    scene = load_scene(scene_paths(made_scenes)[0])
    eye = bundled.packaged_eye()
    before = {r["form"] for r in rows_of_scene(scene, eye) if "form" in r}
    truth = json.loads(json.dumps(scene.truth))
    for chip in truth["chips"]:
        chip["also"] = ["8"] if chip["group"] != "8" else ["1.2"]
    two = SceneFiles(scene.name, scene.photo, scene.mask, truth, scene.areas)
    assert before
    assert not {r["form"] for r in rows_of_scene(two, eye) if "form" in r}


def test_things_and_crumbs_get_their_own_labels(made_scenes):
    scene = load_scene(scene_paths(made_scenes)[0])
    eye = bundled.packaged_eye()

    def labels(value):
        mask = np.where(scene.mask > 0, value, 0).astype(np.uint8)
        areas = np.bincount(mask.ravel(), minlength=256)
        other = SceneFiles(scene.name, scene.photo, mask, scene.truth, areas)
        return {r["label"] for r in rows_of_scene(other, eye)}

    assert labels(NO_CHIP) == {"none"}
    assert "7" in labels(CRUMBS)


def test_a_badly_printed_card_is_measured_by_the_person():
    assert check_line_mm({"card_state": {"print_scale": 0.97}}) == pytest.approx(97.0)
    assert check_line_mm({"card_state": None}) == 100.0


def test_clutter_and_crumbs_of_a_scene_are_thinned_evenly_and_nothing_else():
    def rows(count, **more):
        return [
            {"scene": "a", "part": "train", "n": n, "form": "", **more} for n in range(count)
        ]

    clutter, few = rows(19, label="none"), rows(7, label="none", scene="b")
    chips, held = rows(19, label="7", form="7"), rows(19, label="none", part="calibration")
    kept = thinned([*clutter, *few, *chips, *held])
    # Seven of 0 to 18, both ends and every third between.
    assert [r["n"] for r in kept[:7]] == [0, 3, 6, 9, 12, 15, 18]
    assert kept[7:] == [*few, *chips, *held]


@pytest.mark.timeout(300)
def test_calibration_rows_set_sureness_and_teach_nothing():
    text = gzip.decompress(bundled.read_data("features.csv.gz")).decode()
    stored = [dict(r) for r in csv.DictReader(io.StringIO(text))]
    scenes = sorted({r["scene"] for r in stored})[:40]
    stored = [r for r in stored if r["scene"] in set(scenes)]
    held = set(scenes[::4])
    for r in stored:
        r["part"] = "calibration" if r["scene"] in held else "train"
        r.setdefault("card", "1")
    data = table_bytes(stored)
    table = read_table(data)
    assert set(np.unique(table.learned().scenes)) == set(scenes) - held
    model = fit_model(table)
    # calibration scenes with all labels wrong: the model learns nothing, but is never sure
    for r in stored:
        if r["part"] == "calibration":
            r["label"] = "8" if r["label"] != "8" else "1"
    wrong = fit_model(read_table(table_bytes(stored)))
    rows = table.rows[:50]
    order = model.pipeline.predict_proba(rows)
    np.testing.assert_array_equal(order, wrong.pipeline.predict_proba(rows))
    # Of ten scenes a limit may already be the strictest one, which nonsense cannot raise.
    assert wrong.sure_at >= model.sure_at
    assert wrong.sure_at_bare > model.sure_at_bare
    assert wrong.temperature > model.temperature
