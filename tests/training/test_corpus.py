"""Sets, orders and files of the corpus; nothing here is rendered."""

from __future__ import annotations

import csv
import gzip
import json
from dataclasses import replace
from importlib.resources import files

import cv2
import numpy as np
import pytest

from vision.training import corpus
from vision.training.corpus import Order, is_done, main
from vision.training.manifest import COLUMNS, manifest_bytes
from vision.training.pool import spread
from vision.training.scenes import GENERATOR
from vision.training.sets import SETS, cache_folder, scene_name, scene_of


@pytest.fixture
def order(tmp_path):
    return Order(set_name="dev", index=2, out=tmp_path)


def write(order, **truth):
    order.truth.write_text(json.dumps({"generator": GENERATOR, "scale": 1.0} | truth))


def test_sets_share_no_seed():
    taken = [s.first + k for s in SETS.values() for k in range(s.count)]
    assert len(taken) == len(set(taken))


def test_test_sets_have_a_rung_each_and_nothing_learned_from_draws_held_out_families():
    assert {s.rung for s in SETS.values()} == {"", "R1", "R2", "R3"}
    held_out = [name for name, s in SETS.items() if s.side == "held_out"]
    assert held_out == ["seen-families", "unseen-families"]


def test_a_scene_belongs_to_its_set():
    scene = scene_of("calibration", 7)
    assert scene.seed == SETS["calibration"].first + 7
    assert scene.set_name == "calibration"
    assert scene_name("calibration", 7) == f"calibration-{scene.seed:06d}"
    assert cache_folder("calibration").name == "calibration"


def test_done_means_this_generator_at_this_size(order):
    assert not is_done(order)
    write(order)
    assert is_done(order)
    write(order, generator="another")
    assert not is_done(order)
    write(order)
    assert not is_done(replace(order, scale=0.5))
    order.truth.write_text(order.truth.read_text()[:20])
    assert not is_done(order)


def test_a_broken_run_goes_on_where_it_stopped(tmp_path, monkeypatch, capsys):
    made = []

    def pretend(order):
        made.append(order.index)
        if order.index == 3:
            return "dev-000003: the tracer fell over"
        write(order)
        return ""

    monkeypatch.setattr(corpus, "_render_one", pretend)
    monkeypatch.setattr(corpus, "_begin", lambda: None)
    arguments = ["render", "--set", "dev", "--out", str(tmp_path), "--workers", "1"]
    assert main([*arguments, "--start", "1", "--count", "4", "--step", "2"]) == 1
    assert made == [1, 3]
    said = capsys.readouterr().out
    assert "fell over" in said
    assert "scenes per hour" in said
    made.clear()
    main([*arguments, "--count", "4"])
    assert made == [0, 2, 3]


def test_spread_keeps_the_order():
    assert list(spread(abs, [-3, 2, -1], workers=2)) == [3, 2, 1]


def test_manifest_has_a_line_for_each_scene(made_scenes):
    data = manifest_bytes([made_scenes])
    assert data == manifest_bytes([made_scenes])
    lines = list(csv.DictReader(gzip.decompress(data).decode().splitlines()))
    assert tuple(lines[0]) == COLUMNS
    assert [line["seed"] for line in lines] == ["1", "2", "3"]
    assert {line["ground"] for line in lines} == {"card", "paper"}
    for line in lines:
        assert int(line["counting"]) == sum(int(line[f"group_{g}"]) for g in "12345678")
        assert len(line["sha256"]) == 64


def test_the_committed_manifest_lists_every_set_that_is_learned_from_or_scored():
    packed = files("vision.data").joinpath("manifest.csv.gz").read_bytes()
    lines = list(csv.DictReader(gzip.decompress(packed).decode().splitlines()))
    assert tuple(lines[0]) == COLUMNS
    seeds = {name: [int(x["seed"]) for x in lines if x["set"] == name] for name in SETS}
    for name, chosen in SETS.items():
        rendered = name not in {"dev", "demo", "native"}
        wanted = range(chosen.first, chosen.first + chosen.count) if rendered else ()
        assert seeds[name] == list(wanted), name
    assert {x["generator"] for x in lines} == {GENERATOR}
    assert len({x["sha256"] for x in lines}) == len(lines)


def test_the_training_set_has_700_chips_that_count_of_every_group():
    packed = files("vision.data").joinpath("manifest.csv.gz").read_bytes()
    lines = list(csv.DictReader(gzip.decompress(packed).decode().splitlines()))
    train = [x for x in lines if x["set"] == "train"]
    assert min(sum(int(x[f"group_{g}"]) for x in train) for g in "12345678") >= 700


def test_masks_are_written_without_loss(tmp_path, rng):
    mask = rng.integers(0, 256, (40, 50)).astype(np.uint8)
    corpus._write_mask(tmp_path / "m.png", mask)
    np.testing.assert_array_equal(
        cv2.imread(str(tmp_path / "m.png"), cv2.IMREAD_GRAYSCALE), mask
    )


def test_a_quick_look_is_the_same_scene_in_fewer_pixels():
    scene = scene_of("dev", 1)
    small = corpus._scaled(scene, 0.25)
    assert corpus._scaled(scene, 1.0) is scene
    assert small.view.size_px[0] == pytest.approx(scene.view.size_px[0] / 4, abs=1)
    world = scene.chips[0].chip.points[:20]
    big = (scene.view.pixels(world) + 0.5) / scene.view.size_px
    np.testing.assert_allclose(
        (small.view.pixels(world) + 0.5) / small.view.size_px, big, atol=2e-3
    )
