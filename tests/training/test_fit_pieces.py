"""What pieces of one chip look like is learned from known chips."""

from __future__ import annotations

import logging
from dataclasses import replace

import numpy as np
import pytest
from sklearn.linear_model import LogisticRegression
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler

from vision import bundled
from vision.chips.gaps import MEASURES as GAP_MEASURES
from vision.chips.part import METAL_AT
from vision.chips.pieces import MEASURES
from vision.training.fit_pieces import fit, known_gaps, known_meetings, main
from vision.training.rows import MOST_CHIPS, load_scene, scene_paths


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


def in_blocks(answer):
    """Cut the whole view into pieces of two cells by two."""
    h, w = answer.reach.shape
    down, right = np.mgrid[:h, :w] // 2
    return (1 + right + down * (w // 2 + 1)).astype(np.int32)


def follows_the_truth(known, scene, eye, *, at_least):
    """Were all its chips one, no pair could be of two; without chips none is known."""
    same = np.where((scene.mask > 0) & (scene.mask <= MOST_CHIPS), 1, 0).astype(np.uint8)
    _, all_one = known(replace(scene, mask=same), eye)
    assert len(all_one) >= at_least
    assert all_one.all()
    _, none = known(replace(scene, mask=np.zeros_like(same)), eye)
    assert len(none) == 0


def test_pieces_are_of_one_chip_where_the_truth_says_so(made_scenes, monkeypatch):
    monkeypatch.setattr("vision.training.fit_pieces.pieces", in_blocks)
    eye = bundled.packaged_eye()
    scene = load_scene(next(iter(scene_paths(made_scenes))))
    measures, one = known_meetings(scene, eye)
    assert measures.shape == (len(one), len(MEASURES))
    assert one.any()
    assert np.isfinite(measures).all()
    follows_the_truth(known_meetings, scene, eye, at_least=len(one))


def all_one_thing(answer):
    """Call all metal one thing, whatever points where."""
    number = (answer.metal > METAL_AT).astype(np.int32)
    return number, [tuple(slice(0, n) for n in number.shape)]


def test_gaps_are_within_one_chip_where_the_truth_says_so(made_scenes, monkeypatch):
    monkeypatch.setattr("vision.training.fit_pieces.things", all_one_thing)
    monkeypatch.setattr("vision.chips.gaps.PIECES_OF_A_CHIP", 10_000)
    eye = bundled.packaged_eye()
    scene = load_scene(next(iter(scene_paths(made_scenes))))
    measures, one = known_gaps(scene, eye)
    assert measures.shape == (len(one), len(GAP_MEASURES))
    # Some ways lead from one chip to another, for here all metal is one thing.
    assert not one.all()
    assert np.isfinite(measures).all()
    follows_the_truth(known_gaps, scene, eye, at_least=len(one))


@pytest.mark.parametrize(
    ("asked", "names"), [([], MEASURES), (["--gaps"], GAP_MEASURES)], ids=["meet", "gaps"]
)
def test_the_command_prints_every_measure(monkeypatch, tmp_path, caplog, asked, names):
    from vision.training import fit_pieces

    rng = np.random.default_rng(3)

    def drawn(*_any, **_more):
        return [(rng.gamma(2.0, 3.0, (40, len(names))), rng.random(40) < 0.7) for _ in range(6)]

    monkeypatch.setattr(fit_pieces, "spread", drawn)
    monkeypatch.setattr(fit_pieces, "scene_paths", lambda _folder: [])
    with caplog.at_level(logging.INFO):
        assert main(["--scenes", str(tmp_path), *asked]) == 0
    said = [r.getMessage().split()[0] for r in caplog.records]
    assert said[0] == "learned"
    assert said[1:-1] == list(names)
    assert said[-1] == "start"


def test_no_scenes_is_an_error(tmp_path):
    with pytest.raises(FileNotFoundError):
        main(["--scenes", str(tmp_path)])
