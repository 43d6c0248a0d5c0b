"""The contact sheet shows every form at one scale; checks complain about what is wrong."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from vision.training.check import Findings, _check_chip, report
from vision.training.contact import _cut, contact_sheet
from vision.training.film_check import film_gaps
from vision.training.rows import SceneFiles, scene_paths
from vision.training.shapes import FORMS


def with_lines(folder, source):
    """Copy scenes and give their chips a centre line."""
    for path in scene_paths(source):
        truth = json.loads(path.read_text())
        h = np.array(truth["px_from_mm"])
        for chip in truth["chips"]:
            x, y = chip["centre_mm"]
            px = h @ [[x - 1, x + 1], [y, y], [1, 1]]
            chip["centre_line_px"] = (px[:2] / px[2]).T.tolist()
        (folder / path.name).write_text(json.dumps(truth))
        for part in (truth["photo"], path.name.replace(".truth.json", ".mask.png")):
            (folder / part).write_bytes((source / part).read_bytes())
    return folder


def test_a_row_for_each_form(made_scenes, tmp_path):
    sheet = contact_sheet(with_lines(tmp_path, made_scenes), columns=3)
    step = 135
    assert sheet.shape[0] >= step * len(FORMS)
    filled = {
        form: bool((sheet[k * step + 20 : k * step + 100, 80:180] < 250).any())
        for k, form in enumerate(FORMS)
    }
    assert sum(filled.values()) >= 3
    assert not filled["1.1"]


def test_crops_show_the_same_millimetres():
    """A black square of 5.5 mm is a quarter of a crop wide, whatever the photo's density."""
    for density in (6.0, 17.0):
        side = round(40 * density)
        rgb = np.full((side, side, 3), 255, np.uint8)
        low, high = round(17.25 * density), round(22.75 * density)
        rgb[low:high, low:high] = 0
        line = [[low, low], [high - 1, high - 1]]
        crop = _cut(rgb, None, {"px_per_mm": density}, {"centre_line_px": line})
        dark = (crop[66, :, 0] < 128).sum()
        assert dark == pytest.approx(crop.shape[1] / 4, abs=1.5)


def test_a_long_chip_shows_in_its_crop():
    """An L of two 30 mm legs: the middle of its box is empty, the crop is not."""
    rgb = np.full((400, 400, 3), 255, np.uint8)
    rgb[50:350, 50:56] = rgb[344:350, 50:350] = 0
    line = [[53, y] for y in range(50, 350, 20)] + [[x, 347] for x in range(60, 350, 20)]
    crop = _cut(rgb, None, {"px_per_mm": 10.0}, {"centre_line_px": line})
    assert (crop[60:73, 60:73] < 128).any()


@pytest.fixture
def helix():
    """An upright truth of a scene with one chip of three turns along a row of pixels."""
    x = np.linspace(10, 50, 41)
    line = np.column_stack([x, np.full(41, 20.0)])
    chip = {
        "number": 3,
        "group": "2",
        "form": "2.2",
        "metal": "aluminium",
        "film_nm": 0.0,
        "counts": True,
        "share_unoccluded": 1.0,
        "width_mm": 0.4,
        "curl_radius_mm": 2.0,
        "turns": 3.0,
        "pitch_mm": 3 * np.pi,
        "length_mm": 15 * np.pi,
        "line_ends": [41],
        "centre_line_px": line.tolist(),
        "centre_line_mm": [[k * 15 * np.pi / 40, 0.0, 0.0] for k in range(41)],
    }
    mask = np.zeros((60, 80), np.uint8)
    mask[18:23, 8:53] = 3
    truth = {"px_per_mm": 10.0, "families": {"side": "train"}, "line_step_deg": 12.0}
    truth["chips"] = [chip]
    return SceneFiles("x", b"", mask, truth, np.bincount(mask.ravel(), minlength=256))


def complaints(scene, **change):
    found = Findings()
    _check_chip(scene.truth["chips"][0] | change, scene, found)
    return found.complaints


def test_a_true_chip_raises_no_complaint(helix):
    assert complaints(helix) == []


def test_wrong_truth_is_complained_about(helix):
    assert "curl" in complaints(helix, turns=3.2)[0]
    short = [[k, 0, 0] for k in range(41)]
    assert "centre line" in complaints(helix, centre_line_mm=short)[0]
    moved = replace(helix, mask=np.roll(helix.mask, 15, axis=0))
    assert "lies on it" in complaints(moved)[0]


def test_a_tip_may_be_too_thin_for_the_mask_but_not_a_middle(helix):
    """Two points more than half a width away from the mask: at an end, then mid-way."""
    short, holed = helix.mask.copy(), helix.mask.copy()
    short[:, :16] = 0
    holed[:, 20:38] = 0
    assert complaints(replace(helix, mask=short)) == []
    assert "lies on it" in complaints(replace(helix, mask=holed))[0]


def test_what_lies_under_another_chip_is_not_missing(helix):
    covered = helix.mask.copy()
    covered[:, 20:38] = 7
    assert complaints(replace(helix, mask=covered)) == []


@pytest.mark.parametrize(("climb_mm", "complains"), [(0.3, False), (1.2, True)])
def test_an_arc_may_climb_a_little(helix, climb_mm, complains):
    """A quarter of a ring of 1 mm, 0.9 mm wide: its line is hypotenuse of ring and climb."""
    length = float(np.hypot(np.pi / 2, climb_mm))
    arc = {
        "form": "6.2",
        "curl_radius_mm": 1.0,
        "turns": 0.25,
        "pitch_mm": None,
        "width_mm": 0.9,
        "length_mm": length,
        "line_ends": [41],
        "centre_line_mm": [[k * length / 40, 0.0, 0.0] for k in range(41)],
    }
    told = [line for line in complaints(helix, **arc) if "curl" in line]
    assert bool(told) == complains


def test_film_colours_agree_with_libraries():
    pytest.importorskip("colour", reason="colour-science is in the extra test")
    pytest.importorskip("tmm", reason="tmm is in the extra test")
    gaps = film_gaps([("iron", "magnetite", 24), ("titanium", "titania", 40)])
    assert gaps
    assert max(gaps.values()) < 2.0


def test_the_report_gathers_complaints_by_kind():
    found = Findings(scenes=2, counts=Counter({"1": 4}), complaints=[])
    found.complaints = [f"s{k}: chip {k} (2.2): length is off by {k} %" for k in range(5)]
    text = "\n".join(report(found, {}))
    assert "1 4; together 4" in text
    assert "5 like: s0" in text
