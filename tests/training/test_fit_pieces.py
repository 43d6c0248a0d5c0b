"""What pieces of one chip look like is learned from known chips."""

from __future__ import annotations

import logging

import numpy as np
import pytest
from sklearn.linear_model import LogisticRegression
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler

from vision import bundled
from vision.chips.pieces import MEASURES
from vision.training.fit_pieces import fit, known_meetings, main
from vision.training.rows import load_scene, scene_paths


def test_the_two_constants_say_what_the_library_says():
    rng = np.random.default_rng(2)
    measures = rng.gamma(2.0, 3.0, (300, len(MEASURES)))
    one = np.log1p(measures[:, 0]) + 0.3 * rng.standard_normal(300) < 1.6
    speaks, start = fit(measures, one)
    # scikit-learn's own answer, scaler and all.
    model = make_pipeline(StandardScaler(), LogisticRegression(C=1.0, max_iter=5000))
    model.fit(np.log1p(measures), one)
    np.testing.assert_allclose(
        np.log1p(measures) @ speaks + start,
        model.decision_function(np.log1p(measures)),
        rtol=1e-9,
        atol=1e-9,  # where the log-odds cross zero
    )
    assert np.argmax(np.abs(speaks)) == 0


def test_meetings_of_drawn_scenes_are_known(made_scenes):
    found = [
        known_meetings(load_scene(p), bundled.packaged_eye()) for p in scene_paths(made_scenes)
    ]
    for measures, one in found:
        assert measures.shape == (len(one), len(MEASURES))
        assert np.isfinite(measures).all()


def test_the_command_prints_every_measure(monkeypatch, tmp_path, caplog):
    from vision.training import fit_pieces

    rng = np.random.default_rng(3)

    def drawn(_paths, **_more):
        return [
            (rng.gamma(2.0, 3.0, (40, len(MEASURES))), rng.random(40) < 0.7) for _ in range(6)
        ]

    monkeypatch.setattr(fit_pieces, "spread", lambda _work, paths, **more: drawn(paths, **more))
    monkeypatch.setattr(fit_pieces, "scene_paths", lambda _folder: [])
    with caplog.at_level(logging.INFO):
        assert main(["--scenes", str(tmp_path)]) == 0
    said = [r.getMessage().split()[0] for r in caplog.records]
    assert said[0] == "learned"
    assert said[1:-1] == list(MEASURES)
    assert said[-1] == "start"


def test_no_scenes_is_an_error(tmp_path):
    with pytest.raises(FileNotFoundError):
        main(["--scenes", str(tmp_path)])
