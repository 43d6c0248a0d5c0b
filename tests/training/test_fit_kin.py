"""What parts of one chip look like is learned from known chips."""

from __future__ import annotations

import logging
from dataclasses import replace

import numpy as np
import pytest
from sklearn.linear_model import LogisticRegression
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler

from vision import bundled
from vision.chips.kin import MEASURES
from vision.training.fit_kin import fit, known_pairs, main
from vision.training.rows import CRUMBS, MOST_CHIPS, load_scene, scene_paths


def test_the_constants_say_what_the_library_says():
    rng = np.random.default_rng(2)
    measures = rng.gamma(2.0, 3.0, (300, len(MEASURES)))
    one = measures[:, 0] + rng.standard_normal(300) < 6
    scenes = [(measures[:40], one[:40]), (measures[40:], one[40:])]
    speaks, start = fit(scenes)
    # scikit-learn's own answer, scaler and all.
    model = make_pipeline(StandardScaler(), LogisticRegression(C=1.0, max_iter=5000))
    weight = np.r_[np.full(40, 40**-0.5), np.full(260, 260**-0.5)]
    model.fit(measures, one, logisticregression__sample_weight=weight / weight.mean())
    np.testing.assert_allclose(
        measures @ speaks + start,
        model.decision_function(measures),
        rtol=1e-9,
        atol=1e-9,  # where the log-odds cross zero
    )
    assert np.argmax(np.abs(speaks)) == 0


def in_blocks(answer):
    """Cut the whole view into pieces of two cells by two."""
    h, w = answer.reach.shape
    down, right = np.mgrid[:h, :w] // 2
    return (1 + right + down * (w // 2 + 1)).astype(np.int32)


def test_parts_are_of_one_chip_where_the_truth_says_so(made_scenes, monkeypatch):
    monkeypatch.setattr("vision.training.fit_kin.pieces", in_blocks)
    eye = bundled.packaged_eye()
    scene = load_scene(next(iter(scene_paths(made_scenes))))
    measures, one = known_pairs(scene, eye)
    assert measures.shape == (len(one), len(MEASURES))
    assert one.any()
    assert np.isfinite(measures).all()
    # Were all its chips one, no pair could be of two; without chips none is known, and of
    # two crumbs nobody knows.
    same = np.where((scene.mask > 0) & (scene.mask <= MOST_CHIPS), 1, 0).astype(np.uint8)
    _, all_one = known_pairs(replace(scene, mask=same), eye)
    assert len(all_one) > 0
    assert all_one.all()
    for none in (0, CRUMBS):
        _, known = known_pairs(replace(scene, mask=none * same), eye)
        assert len(known) == 0


def test_the_command_prints_every_measure(monkeypatch, tmp_path, caplog):
    from vision.training import fit_kin

    rng = np.random.default_rng(3)

    def drawn(*_any, **_more):
        return [
            (rng.gamma(2.0, 3.0, (40, len(MEASURES))), rng.random(40) < 0.7) for _ in range(6)
        ]

    monkeypatch.setattr(fit_kin, "spread", drawn)
    monkeypatch.setattr(fit_kin, "scene_paths", lambda _folder: [])
    with caplog.at_level(logging.INFO):
        assert main(["--scenes", str(tmp_path)]) == 0
    said = [r.getMessage().split()[0] for r in caplog.records]
    assert said[0] == "learned"
    assert said[1:-1] == list(MEASURES)
    assert said[-1] == "start"


def test_no_scenes_is_an_error(tmp_path):
    with pytest.raises(FileNotFoundError):
        main(["--scenes", str(tmp_path)])
