"""The JSON that scripts rest on, through the real command line and the real cores.

Fields may be added; one that is missing here breaks somebody's script.
"""

from __future__ import annotations

import contextlib
import io
import json
import math

import pytest

from app.cli import main
from app.demo import default_demo, demos

READING = {
    "schema", "photo", "photos", "sha256", "size_px", "scale", "chips", "form", "heat", "flags",
    "usable", "versions", "sha256s",
}  # fmt: skip
CHIP = {
    "number", "photo_number", "kind", "outline_px", "group", "form", "sure", "candidates",
    "probability", "p_not_chip", "group_set", "why", "length_mm", "width_mm", "extent_mm",
    "curl_radius_mm", "curl_radius_range_mm", "pitch_mm", "turns", "tint", "flags",
}  # fmt: skip
TINT = {"name", "sure", "candidates", "film_nm", "lab", "share_tinted"}
FORM = {"code", "group", "main", "share", "sure", "candidates", "mix"}
ADVICE = {
    "schema", "verdict", "because", "do", "cautions", "change", "alternatives", "next_cut",
    "checks", "trust", "gauges",
}  # fmt: skip
GAUGES = {"width", "thickness"}
WIDTH = {
    "state", "why", "ratio", "width_mm", "expected_mm", "usual", "measured", "chips", "missing",
}  # fmt: skip
THICKNESS = {
    "thickness_mm", "measured", "compression", "usual", "shear_angle_deg", "missing", "trend",
}  # fmt: skip
CHANGE = {"lever", "from", "to", "unit", "because", "expect", "if_not", "sources"}
NEXT_CUT = {"spindle_rev_min", "feed_mm_rev", "depth_mm", "power_feed", "coolant"}
CHECK = {"limit", "value", "bound", "kind", "unit", "severity", "source"}
PLAN = {"schema", "feasible", "passes", "cautions", "why_not", "would_help"}
STEP = {
    "number", "kind", "diameter_from_mm", "diameter_to_mm", "cut", "dial_divisions", "checks",
    "expected_deflection_mm", "expected_diameter_error_mm", "seconds",
}  # fmt: skip
VERDICTS = {"start", "keep", "change", "look at the edge", "stop", "retake the photo", "done"}
LEVERS = {"speed", "feed", "depth", "edge", "support", "coolant"}
KINDS = {"rough", "semi", "trial", "measure", "cool", "finish"}
GROUPS = {str(g) for g in range(1, 9)}

#: The worked case of the contract, with its long, bright, snarled ribbon.
CASE = {
    "schema": "bluecurl.case/1",
    "work": {
        "material": "Ti-6Al-4V", "stock": "round", "diameter_mm": 12.0, "stickout_mm": 40,
        "cut_length_mm": 30, "holding": "chuck and centre", "target_diameter_mm": 10.0,
        "tolerance_mm": 0.05, "roughness_rz_um": 16, "waste_end_mm": 12,
    },
    "edge": {
        "id": "hss-3", "material": "HSS", "rake_deg": 8, "kapr_deg": 75,
        "end_edge_angle_deg": 15,
        "re_mm": 0.4, "edge_radius_um": 10, "condition": "fresh", "chip_groove": False,
        "overhang_mm": 15, "shank_mm": 10, "centre_height_mm": 0.0, "blade_width_mm": None,
    },
    "lathe": {
        "power_w": 400, "efficiency": 0.75,
        "spindle_rev_min": [160, 260, 430, 700, 900, 1150, 1900],
        "ranges": [
            {"from": 100, "to": 700, "rated_rev_min": 500},
            {"from": 700, "to": 2000, "rated_rev_min": 1700},
        ],
        "chuck_max_rev_min": 2000, "feeds_mm_rev": [0.04, 0.06, 0.1, 0.15],
        "cross_feeds_mm_rev": None, "feed_change": "lever",
        "dial": {"mm_per_division": 0.02, "reads": "radius"}, "stiffness_n_um": 8,
    },
    "passes": [
        {
            "cut": {
                "direction": "along", "spindle_rev_min": 900, "feed_mm_rev": 0.04,
                "depth_mm": 0.3, "diameter_mm": 12.0, "length_mm": 30, "coolant": "cutting oil",
                "power_feed": True,
            },
            "edge": None, "holding": None, "stickout_mm": None,
            "measured_mm": [[5, 11.46], [25, 11.44]], "chip_thickness_mm": None,
            "reading": None,
            "signs": {
                "form": "1.3", "share": 0.9, "sure": True, "length_mm": 180,
                "curl_radius_mm": None, "tint": "bright", "width_mm": 0.4,
            },
            "noticed": ["rubbing"], "edge_looked_at": "not yet",
        }
    ],
}  # fmt: skip


def _run(capsys, *arguments):
    code = main(list(arguments))
    lines = [
        json.loads(line, parse_constant=_refuse)
        for line in capsys.readouterr().out.splitlines()
    ]
    return code, lines


def _refuse(name):
    raise AssertionError(f"{name} is not JSON")


def _case_file(tmp_path, *cases):
    path = tmp_path / "cases.jsonl"
    path.write_text("\n".join(json.dumps(case) for case in cases))
    return str(path)


def test_advice_has_every_field(capsys, tmp_path):
    new_job = {**CASE, "passes": []}
    code, (advice, start) = _run(
        capsys, "advise", _case_file(tmp_path, CASE, new_job), "--json"
    )
    assert code == 0
    for answer in (advice, start):
        assert answer["schema"] == "bluecurl.advice/1"
        assert answer.keys() >= ADVICE
        assert answer["verdict"] in VERDICTS
        assert answer["because"]
        assert answer["trust"] in {"good", "fair", "poor"}
        assert answer["next_cut"].keys() >= NEXT_CUT
        assert answer["checks"]
        for check in answer["checks"]:
            assert check.keys() >= CHECK
            assert check["kind"] in {"max", "min"}
            assert check["severity"] in {"ok", "near", "exceeded"}
            assert check["source"]
        assert answer["next_cut"]["spindle_rev_min"] in CASE["lathe"]["spindle_rev_min"]
        assert answer["next_cut"]["feed_mm_rev"] in CASE["lathe"]["feeds_mm_rev"]
    assert start["verdict"] == "start"
    assert start["change"] is None
    assert (advice["change"] is not None) == (advice["verdict"] in {"change", "stop"})
    if advice["change"] is not None:
        assert advice["change"].keys() >= CHANGE
        assert advice["change"]["lever"] in LEVERS
        assert advice["change"]["sources"]


def test_gauges_have_every_field(capsys, tmp_path):
    measured = [{**CASE["passes"][0], "chip": {"thickness_mm": 0.1, "width_mm": 0.4}}]
    new_job, bare = {**CASE, "passes": []}, CASE
    path = _case_file(tmp_path, {**CASE, "passes": measured}, bare, new_job)
    code, answers = _run(capsys, "advise", path, "--json")
    assert code == 0
    full, nothing_measured, start = (answer["gauges"] for answer in answers)
    for gauges in (full, nothing_measured):
        assert gauges.keys() >= GAUGES
        assert gauges["width"].keys() >= WIDTH
        assert gauges["width"]["state"] in {"sound", "narrow", "wide", "unsure"}
    assert full["thickness"].keys() >= THICKNESS
    assert full["width"]["measured"] == "by hand"
    assert nothing_measured["thickness"] is None
    assert start is None
    for found in _measures(full):
        assert found["u"] > 0


def test_a_snarled_ribbon_is_never_answered_with_keep(capsys, tmp_path):
    """A nest wraps round work and hands (any shop-safety rule): something has to change."""
    _, (advice,) = _run(capsys, "advise", _case_file(tmp_path, CASE), "--json")
    assert advice["verdict"] in {"change", "stop", "look at the edge"}
    assert advice["cautions"]


def test_plan_has_every_field_and_reaches_the_target(capsys, tmp_path):
    code, (plan,) = _run(capsys, "plan", _case_file(tmp_path, {**CASE, "passes": []}), "--json")
    assert plan["schema"] == "bluecurl.plan/1"
    assert plan.keys() >= PLAN
    assert code == 0
    assert plan["feasible"] is True
    for step in plan["passes"]:
        assert step.keys() >= STEP
        assert step["kind"] in KINDS
    last = plan["passes"][-1]["diameter_to_mm"]
    assert abs(last - 10.0) <= 0.05  # target and tolerance of the case


def test_a_plan_that_cannot_be_made_says_why_and_exits_with_7(capsys, tmp_path):
    whip = {**CASE["work"], "diameter_mm": 3.0, "target_diameter_mm": 2.0, "stickout_mm": 400,
            "cut_length_mm": 390, "holding": "chuck"}  # fmt: skip
    code, (plan,) = _run(
        capsys, "plan", _case_file(tmp_path, {**CASE, "work": whip, "passes": []}), "--json"
    )
    assert code == 7
    assert (plan["feasible"], plan["passes"]) == (False, [])
    assert plan["why_not"]
    assert plan["would_help"]


@pytest.mark.parametrize(
    ("change", "code", "exit_code"),
    [
        ({"work": {"material": "unobtainium", "diameter_mm": 12}}, "outside-tables", 6),
        ({"work": {"diameter_mm": 12}}, "case-invalid", 2),
        ({"work": {"material": "304", "diameter_mm": -3}}, "case-invalid", 2),
        ({"edge": {}}, "case-invalid", 2),
        ({"lathe": {"spindle_rev_min": []}}, "case-invalid", 2),
        ({"passes": [{"cut": {}}]}, "case-invalid", 2),
        ({"passes": "none"}, "case-invalid", 2),
    ],
)
def test_error_lines_of_cases(capsys, tmp_path, change, code, exit_code):
    path = _case_file(tmp_path, {**CASE, **change})
    got, (line,) = _run(capsys, "advise", path, "--json")
    assert got == exit_code
    assert line.keys() == {"schema", "input", "line", "code", "message"}
    assert (line["schema"], line["code"]) == ("bluecurl.error/1", code)
    assert line["message"].count(".") >= 2, "what, why and what to do"


# readings ---------------------------------------------------------------------------


@pytest.fixture(scope="module")
def readings():
    """Every demo photo, read once by the command line."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        code = main(["read", *(str(d.photo) for d in demos()), "--json"])
    lines = [json.loads(line, parse_constant=_refuse) for line in out.getvalue().splitlines()]
    assert code == 0, lines
    return lines


def _measures(node):
    if isinstance(node, dict):
        if {"value", "u"} <= node.keys():
            yield node
        for child in node.values():
            yield from _measures(child)
    elif isinstance(node, list):
        for child in node:
            yield from _measures(child)


def test_there_are_demo_photos():
    assert default_demo().photo.exists()


def test_readings_have_every_field(readings):
    assert readings
    for reading in readings:
        assert reading["schema"] == "bluecurl.reading/1"
        assert reading.keys() >= READING
        assert reading["usable"] in {"yes", "with care", "retake"}
        assert reading["scale"].keys() >= {"source", "px_per_mm", "residual_mm"}
        assert reading["versions"].keys() >= {"reader", "features", "model"}
        assert reading["form"] is None or reading["form"].keys() >= FORM
        for flag in reading["flags"]:
            assert flag.keys() >= {"code", "text", "do"}


def test_chips_have_every_field(readings):
    chips = [chip for reading in readings for chip in reading["chips"]]
    assert chips
    for chip in chips:
        assert chip.keys() >= CHIP
        assert chip["kind"] in {"chip", "nest", "grains"}
        assert chip["probability"].keys() == GROUPS
        # Eight numbers printed to four places: half a unit of the last place each.
        assert math.isclose(sum(chip["probability"].values()), 1.0, abs_tol=8 * 0.5e-4)
        assert 0 <= chip["p_not_chip"] <= 1
        assert chip["tint"] is None or chip["tint"].keys() >= TINT
        assert chip["form"] is None or chip["form"].split(".")[0] == chip["group"]


def test_outlines_lie_inside_the_photo(readings):
    for reading in readings:
        width, height = reading["size_px"]
        for chip in reading["chips"]:
            for ring in chip["outline_px"]:
                assert len(ring) >= 3
                # Pixel centres run from 0 to size - 1; two pixels for the way back from crops.
                assert all(-2 <= x <= width + 1 and -2 <= y <= height + 1 for x, y in ring)


def test_measures_carry_a_positive_uncertainty(readings):
    found = list(_measures(readings))
    assert found
    for measured in found:
        assert measured["value"] is not None
        assert measured["u"] > 0
        assert measured.get("bound", "at_least") == "at_least"


def test_without_a_card_nothing_is_in_millimetres(capsys, tmp_path):
    """A demo photo cropped to the chips alone: the reader must not guess a scale."""
    from PIL import Image

    photo = Image.open(default_demo().photo)
    w, h = photo.size
    photo.crop((int(0.3 * w), int(0.3 * h), int(0.7 * w), int(0.7 * h))).save(
        tmp_path / "crop.png"
    )
    _, (reading,) = _run(capsys, "read", str(tmp_path / "crop.png"), "--json")
    if reading["schema"] == "bluecurl.error/1":
        assert reading["code"] == "no-chips"
        return
    assert reading["scale"]["source"] == "none"
    for chip in reading["chips"]:
        assert all(chip[name] is None for name in chip if name.endswith("_mm"))
