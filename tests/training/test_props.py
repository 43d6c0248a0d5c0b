"""Things, worn cards and grounds: sizes as stated, lying on what carries them."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.photo.card import CARDS, marker_dictionary, markers_mm
from vision.training.card_wear import (
    FLAT,
    CardWear,
    draw_wear,
    seated,
    sheet_height,
    sheet_mesh,
    soiled,
    with_toner,
)
from vision.training.families import families, pick_family
from vision.training.grounds import draw_ground
from vision.training.layout import Floor
from vision.training.sheet import sheet_picture, sheet_plan
from vision.training.things import DISTRACTORS, distractor

BENT = [CardWear(sagitta_mm=4.0), CardWear(sagitta_mm=-3.0, bend_deg=80.0)]


@pytest.mark.parametrize("kind", DISTRACTORS)
def test_things_lie_on_the_plane_with_sound_meshes(kind):
    for seed in range(3):
        thing = distractor(np.random.default_rng(seed), kind)
        mesh = thing.mesh
        assert thing.kind == kind
        assert mesh.points[:, 2].min() == pytest.approx(0, abs=1e-6)
        assert np.isfinite(mesh.points).all()
        assert mesh.faces.max() < len(mesh.points)
        length = np.linalg.norm(mesh.normals, axis=1)
        assert np.abs(length - 1).max() < 1e-6
        if thing.colours is not None:
            assert thing.colours.shape == mesh.points.shape
            assert 0 <= thing.colours.min() <= thing.colours.max() <= 1.3


def test_a_rule_is_as_long_as_rules_are():
    thing = distractor(np.random.default_rng(5), "rule")
    low, high = thing.mesh.points.min(axis=0), thing.mesh.points.max(axis=0)
    diagonal = np.hypot(*(high - low)[:2])
    assert 100 < diagonal < 230


@pytest.mark.parametrize("wear", BENT)
def test_a_bent_sheet_keeps_its_size(wear):
    """Paper does not stretch: lengths along the surface stay those of the flat sheet."""
    sheet = sheet_plan("a5")
    mesh = sheet_mesh(sheet, wear, cells=64)
    grid = mesh.points.reshape(65, 65, 3)
    width = np.linalg.norm(np.diff(grid, axis=1), axis=2).sum(axis=1)
    height = np.linalg.norm(np.diff(grid, axis=0), axis=2).sum(axis=0)
    # second-order terms only: slopes are under a tenth
    assert np.abs(width / sheet.size_mm[0] - 1).max() < 3e-4
    assert np.abs(height / sheet.size_mm[1] - 1).max() < 3e-4


def test_sagitta_is_the_rise_of_the_middle_over_the_edges():
    sheet = sheet_plan("a5")
    width, height = sheet.size_mm
    edge_and_middle = np.array([[0, -height / 2, 0], [width / 2, -height / 2, 0]])
    edge, middle = sheet_height(sheet, CardWear(sagitta_mm=3.0), edge_and_middle)
    assert middle - edge == pytest.approx(3.0)
    everywhere = np.column_stack([np.linspace(0, width, 2001), *np.full((2, 2001), -50.0)])
    # the plane of the truth is the mean plane of the sheet
    assert sheet_height(sheet, CardWear(sagitta_mm=3.0), everywhere).mean() == pytest.approx(
        0, abs=3e-3
    )


@pytest.mark.parametrize("wear", BENT)
def test_a_body_on_a_bent_sheet_touches_it_and_does_not_sink_in(wear):
    sheet = sheet_plan("a5")
    rng = np.random.default_rng(3)
    body = rng.uniform([30, -90, 0], [60, -70, 8], (400, 3))
    body[:, 2] -= body[:, 2].min()
    turn, shift = seated(sheet, wear, body)
    moved = body @ turn.T + shift
    gap = moved[:, 2] - sheet_height(sheet, wear, moved)
    assert gap.min() == pytest.approx(0, abs=1e-9)
    assert np.abs(turn @ turn.T - np.eye(3)).max() < 1e-9


def test_print_scale_moves_marks_to_where_the_matrix_says():
    """OpenCV finds the markers of a print that came out at 95 %."""
    px_per_mm, wear = 8.0, CardWear(print_scale=0.95)
    flat = np.asarray(sheet_picture("a5", px_per_mm)[:, :, 0] / 255, np.float32)
    picture = np.rint(with_toner(flat, wear, px_per_mm) * 255).astype(np.uint8)
    corners, ids, _ = cv2.aruco.ArucoDetector(marker_dictionary()).detectMarkers(picture)
    assert len(ids) > 30
    known = markers_mm(CARDS["a5"])
    matrix = wear.true_from_nominal(sheet_plan("a5").size_mm)
    gaps = []
    for found, k in zip(corners, ids.ravel(), strict=True):
        nominal = np.column_stack([known[int(k)], np.ones(4)])
        gaps.append(found[0] - ((nominal @ matrix.T)[:, :2] * px_per_mm - 0.5))
    # a pixel at the most each, and none on the mean
    assert np.abs(gaps).max() < 1.5
    assert np.abs(np.mean(gaps, axis=(0, 1))).max() < 0.3


def test_pale_toner_lightens_the_print_and_leaves_paper_alone():
    card = np.asarray(sheet_picture("a5", 4.0)[:, :, 0] / 255, np.float32)
    pale = with_toner(card, CardWear(toner=0.6, streaks=0.3, seed=4), 4.0)
    assert pale[card < 0.05].mean() > 0.38
    assert pale[card == 1.0].min() == pytest.approx(1.0)
    assert (with_toner(card, FLAT, 4.0) == card).all()


def test_dirt_takes_light_and_never_gives_any():
    keep = soiled((148 * 3, 210 * 3), CardWear(dirt=0.12, seed=8), 3.0)
    assert 0.2 < keep.min() < 0.95
    assert keep.max() <= 1.0
    assert (soiled((20, 30), FLAT, 3.0) == 1).all()


def test_half_of_the_cards_have_nothing_wrong_with_their_print():
    drawn = [draw_wear(np.random.default_rng(k)) for k in range(400)]
    bent = np.mean([w.sagitta_mm != 0 for w in drawn])
    resized = [w.print_scale for w in drawn if w.print_scale != 1]
    assert 0.15 < bent < 0.35
    assert 0.94 <= min(resized) < max(resized) <= 1.03


ALL_BENCHES = {
    name: spec
    for side in ("train", "held_out")
    for name, spec in families("benches", side).items()
}


@pytest.mark.parametrize("name", sorted(ALL_BENCHES))
def test_grounds_are_possible_surfaces_and_repeat(name):
    ground = draw_ground(11, ALL_BENCHES[name])
    again = draw_ground(11, ALL_BENCHES[name])
    assert ground.rgb.shape[2] == 3
    assert ground.rgb.min() >= 0
    assert ground.rgb.max() <= 1
    assert ground.rgb.std() > 0
    rough = np.asarray(ground.roughness)
    assert 0.05 < rough.min() <= rough.max() < 1
    assert (ground.rgb == again.rgb).all()
    assert np.asarray(again.roughness).tobytes() == rough.tobytes()


def test_families_are_drawn_by_their_weight():
    table = {"a": {"w": 0.0}, "b": {"w": 3.0}, "c": {"w": 1.0}}
    rng = np.random.default_rng(0)
    names = [pick_family(rng, table, "w")[0] for _ in range(400)]
    assert names.count("a") == 0
    assert 0.65 < names.count("b") / 400 < 0.85


def block(size=6.0):
    """Points of a solid block standing on the plane around the origin."""
    k = np.linspace(-size / 2, size / 2, 25)
    x, y, z = np.meshgrid(k, k, k + size / 2)
    return np.column_stack([x.ravel(), y.ravel(), z.ravel()])


def test_a_body_laid_against_another_touches_it_and_goes_no_further():
    area = (0.0, 0.0, 100.0, 100.0)
    for seed in range(10):
        floor = Floor(area=area)
        first = block() + np.array([50.0, 50.0, 0.0])
        floor.occupy(first)
        rng = np.random.default_rng(seed)
        shift = floor.touch(block(), rng, area, np.array([50.0, 50.0]), tangled=False)
        gap = np.abs(shift[:2] - 50).max() - 6.0  # two axis-parallel squares of 6 mm
        # the grid has cells of half a millimetre
        assert -0.6 < gap < 0.65
        assert shift[2] == 0


def test_a_body_that_falls_on_another_rests_on_it():
    area = (0.0, 0.0, 8.0, 8.0)
    floor = Floor(area=area)
    floor.occupy(block() + np.array([4.0, 4.0, 0.0]))
    shift = floor.place(block(), np.random.default_rng(1), area, overlap=True)
    assert shift[2] == pytest.approx(6.0)
    assert floor.place(block(), np.random.default_rng(1), area) is None
