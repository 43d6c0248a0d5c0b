"""Coverage and size of sets: known answers worked by hand, and a world without scenes."""

from __future__ import annotations

import numpy as np
import pytest

from vision.forms.model import CLASSES
from vision.training.evaluate import sets_summary
from vision.training.score import Named, SceneScore, _things_of
from vision.training.score_sets import (
    Told,
    crossed,
    main,
    set_figures,
    set_lines,
    told_of,
    unlike_lines,
)


def chip(true, may_be, *, also=(), unlike=False):
    form = {"nest": "2.3"}.get(true, f"{true}.2")
    name = may_be[0] if may_be else "nest"
    return Named(
        true, name, True, form, None, also, 0.9, group_set=tuple(may_be), unlike=unlike
    )


def test_what_covers_a_chip():
    scene = SceneScore(
        "x",
        card=True,
        named=[
            chip("2", "2"),
            chip("2", "45"),
            chip("2", "42"),
            chip("2", "4", also=("4.2",)),
            chip("nest", "1245"),
        ],
    )
    assert told_of(scene) == [
        Told("2", True, 1, sure=True),
        Told("2", False, 2, sure=True),
        Told("2", True, 2, sure=True),
        Told("2", True, 1, sure=True),
    ]


def test_crumbs_of_a_population_are_told_of_one_by_one(grain):
    rings = tuple(np.full((3, 2), float(k)) for k in range(3))
    own = (("7",), ("7", "6"), ("7",))
    population = grain(kind="grains", outline_px=rings, group_set=("7", "6"), group_sets=own)
    things = _things_of(population)
    assert [c.group_set for c, _ in things] == [("7",), ("7", "6"), ("7",)]
    assert all(own[0] is ring for (_, own), ring in zip(things, rings, strict=True))


def test_figures_of_known_scenes():
    one = [Told("2", True, 1), Told("2", False, 1), Told("4", True, 3)]
    two = [Told("4", False, 2), Told("4", True, 3)]
    out = set_figures([one, two, []])
    assert out["set_coverage"][0] == pytest.approx(3 / 5)
    assert out["set_size"][0] == pytest.approx(10 / 5)
    assert out["set_groups"]["4"]["coverage"][0] == pytest.approx(2 / 3)
    assert (out["set_groups"]["4"]["chips"], out["set_groups"]["4"]["scenes"]) == (3, 2)
    # Drawn again, two scenes with one of one and one of two right give nothing but these.
    assert out["set_groups"]["4"]["coverage"][1:] == pytest.approx((1 / 2, 1))
    assert out["set_groups"]["2"]["scenes"] == 1
    assert np.isnan(out["set_groups"]["8"]["coverage"][0])
    lines = list(set_lines(out))
    assert len(lines) == 10
    assert "sets of group 2: hold it 0.500 (one scene, no interval), 2 chips in 1 scenes" in (
        lines
    )
    assert "sets of group 8: hold it nothing to count, 0 chips in 0 scenes" in lines


def test_chips_that_are_not_sure_are_told_of_apart():
    one = [Told("2", True, 1, sure=True), Told("2", False, 2), Told("4", True, 3)]
    out = set_figures([one])
    assert out["set_coverage"][0] == pytest.approx(2 / 3)
    assert out["set_coverage_unsure"][0] == pytest.approx(1 / 2)
    assert out["set_size_unsure"][0] == pytest.approx(5 / 2)
    assert len(list(set_lines(out))) == 12


def test_unlike_chips_and_false_finds_have_their_own_lines():
    first = SceneScore("x", card=True, named=[chip("2", "2", unlike=True), chip("4", "4")])
    first.false_by["2"], first.false_unlike = 4, 3
    first.distractors_called, first.distractors_unlike = 2, 1
    second = SceneScore("y", card=False, named=[chip("4", "4"), chip("4", "4")])
    out = sets_summary([first, second])
    assert out["unlike_chips"]["share"][0] == pytest.approx(1 / 4)
    chips, false, distractors = unlike_lines(out)
    assert "of found chips: 1 of 4, 0.250" in chips
    assert "that are none: 3 of 4, 0.750" in false
    assert "distractors called a chip: 1 of 2, 0.500" in distractors


def test_no_scene_is_told_of_by_thresholds_it_has_set():
    # Every chip of group 2 is called 1; its scene's number is in its probability. Each part
    # is one scene, whose chips have less than all others and so lie below the threshold.
    scenes = np.repeat([f"s{k}" for k in range(4)], 30)
    p = np.full((120, len(CLASSES)), 1e-9)
    p[:, 1] = np.repeat([0.1, 0.2, 0.3, 0.4], 30)
    p[:, 0] = 1 - p[:, 1]
    rng = np.random.default_rng(0)
    parts = list(crossed(p, np.full(120, "2"), scenes, parts=4, rng=rng))
    assert [len(part) for part in parts] == [1, 1, 1, 1]
    shares = sorted(np.mean([t.covered for t in part[0]]) for part in parts)
    assert shares == [0, 1, 1, 1]


def test_chips_alike_in_all_scenes_are_covered_as_asked():
    rng = np.random.default_rng(9)
    n = 4000
    p = np.full((n, len(CLASSES)), 1e-9)
    p[:, 1] = 0.45 * rng.random(n)
    p[:, 0] = 1 - p[:, 1]
    scenes = np.array([f"s{k}" for k in rng.integers(0, 80, n)])
    parts = crossed(p, np.full(n, "2"), scenes, parts=2, rng=rng)
    out = set_figures([scene for part in parts for scene in part])
    # Nine in ten; three standard errors of counting 4000 and of two calibrations of 2000.
    assert out["set_coverage"][0] == pytest.approx(0.9, abs=3 * (2 * 0.09 / n) ** 0.5)
    assert out["set_size"][0] == pytest.approx(1 + out["set_coverage"][0] + 6, abs=1e-9)


def test_the_command_tells_what_the_calibration_scenes_show(caplog):
    with caplog.at_level("INFO"):
        assert main(["--shuffles", "20"]) == 0
    lines = [record.getMessage() for record in caplog.records]
    assert sum(line.startswith("tenths: sets of group ") for line in lines) == 8
    (whole,) = [line for line in lines if line.startswith("halves: hold the true group")]
    coverage = float(whole.split("group ")[1].split()[0])
    # Nine in ten are asked of each group; easy groups, always named, can only be above.
    assert 0.87 <= coverage <= 0.97
