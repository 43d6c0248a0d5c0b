"""Width and thickness of the chip in the log and at the terminal, in words and as a picture.

Only the reader is a stand-in; the advice is the real one.
"""

from __future__ import annotations

import base64
import csv
import io
import json
import re
from contextlib import closing

import pytest

from app import engine
from app.cli import main
from app.gauge_words import (
    gauge_lines,
    thickness_lines,
    thickness_short,
    thickness_trend_words,
    width_lines,
)
from app.logbook.export import log_csv
from app.logbook.store import Logbook
from app.parts.thickness_picture import thickness_picture, thickness_rows, thickness_text
from app.show import Units


def _case(hands, *chips, coolant="cutting oil"):
    return {
        "schema": "bluecurl.case/1",
        "work": hands.WORK,
        "edge": hands.EDGE,
        "lathe": hands.LATHE,
        "passes": [{"cut": {**hands.CUT, "coolant": coolant}, "chip": chip} for chip in chips],
    }


def test_advise_prints_the_gauges_and_gives_them_as_json(tmp_path, capsys, hands):
    path = tmp_path / "case.json"
    path.write_text(json.dumps(_case(hands, {"thickness_mm": 0.2}, {"thickness_mm": 0.3})))
    assert main(["advise", str(path)]) == 0
    out = capsys.readouterr().out
    assert "Look at the edge" in out
    assert "Chip     Chip 0.30 mm ± 0.03 thick by micrometer" in out
    assert "best sign of a dulling edge under oil" in out
    assert main(["advise", str(path), "--json"]) == 0
    gauges = json.loads(capsys.readouterr().out)["gauges"]
    assert gauges["thickness"]["trend"] == "thicker"
    assert gauges["width"]["state"] == "unsure"


def test_a_bad_measure_is_a_wrong_case(tmp_path, capsys, hands):
    path = tmp_path / "case.json"
    path.write_text(json.dumps(_case(hands, {"mass_g": 0})))
    assert main(["advise", str(path), "--json"]) == 2
    assert "passes[0].chip.mass_g" in capsys.readouterr().out


@pytest.mark.usefixtures("eye")
def test_read_with_a_case_gives_the_gauges_too(tmp_path, fakes, capsys, hands):
    photo, case = tmp_path / "chips.jpg", tmp_path / "case.json"
    photo.write_bytes(fakes.photo_bytes())
    case.write_text(json.dumps(_case(hands, {"thickness_mm": 0.25})))
    assert main(["read", str(photo), "--case", str(case), "--json"]) == 0
    reading = json.loads(capsys.readouterr().out)
    assert reading["gauges"]["thickness"]["thickness_mm"]["value"] == 0.25
    assert main(["read", str(photo), "--json"]) == 0
    assert "gauges" not in json.loads(capsys.readouterr().out)
    case.write_text(
        json.dumps({**_case(hands, {}), "work": {**hands.WORK, "material": "cheese"}})
    )
    assert main(["read", str(photo), "--case", str(case), "--json"]) == 0
    out, err = capsys.readouterr()
    assert json.loads(out)["gauges"] is None
    assert "cheese" in err


def test_the_table_of_the_log_has_thickness_compression_and_width(axle, data_home, hands):
    with closing(Logbook(data_home)) as book:
        advice = engine.advise_case(_case(hands, {"thickness_mm": 0.25, "width_mm": 0.6}))
        book.add_pass(axle.id, cut=hands.CUT, advice=advice)
        book.add_pass(axle.id, cut=hands.CUT)
        one, two = csv.DictReader(io.StringIO(log_csv(book)))
    assert (one["chip_thickness_mm"], one["chip_thickness_by"]) == ("0.25", "micrometer")
    assert float(one["compression"]) == pytest.approx(2.588, abs=0.01)
    assert float(one["u_compression"]) > 0
    assert float(one["width_ratio"]) > 0.9
    assert (two["chip_thickness_mm"], two["compression"], two["width_ratio"]) == ("", "", "")


def test_log_list_tells_the_thickness(axle, data_home, capsys, hands):
    with closing(Logbook(data_home)) as book:
        book.add_pass(
            axle.id,
            cut=hands.CUT,
            advice=engine.advise_case(_case(hands, {"thickness_mm": [0.25] * 4})),
        )
    assert main(["log", "list"]) == 0
    assert "chip 0.250 mm thick" in capsys.readouterr().out
    assert main(["log", "list", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["chip_thickness_mm"] == 0.25


# words and picture ------------------------------------------------------------------------


def _width(**more):
    return {
        "state": "sound",
        "why": None,
        "ratio": {"value": 0.93, "u": 0.28},
        "width_mm": {"value": 1.45, "u": 0.44},
        "expected_mm": {"value": 1.56, "u": 0.05},
        "usual": {"low": 1.0, "high": 1.2},
        "measured": "in the photo",
        "chips": [1, 3, 4],
        "missing": [],
        **more,
    }


def test_a_width_is_told_with_its_doubt_and_what_is_sound():
    first, second = width_lines(_width(), Units.METRIC)
    assert first == "Nothing is far off."
    assert "1.4 mm ± 0.9 wide in the photo, chips 1, 3, 4: 0.9 ± 0.6 of the 1.56 mm" in second
    assert "1.0 to 1.2 is sound" in second
    assert "0.06 in ± 0.03" in width_lines(_width(), Units.INCH)[1]


@pytest.mark.parametrize(
    "why", ["direction", "interrupted", "no strips", "few", "on edge", "stout"]
)
def test_every_reason_for_silence_has_words(why):
    (line,) = width_lines(_width(state="unsure", why=why, ratio=None), Units.METRIC)
    assert line.endswith(".")
    assert "None" not in line


def test_what_is_lacking_is_named():
    (line,) = width_lines(
        _width(state="unsure", why="facts", missing=["re_mm", "kapr_deg"]), Units.METRIC
    )
    assert "the nose radius and the cutting edge angle" in line
    (line,) = width_lines(
        _width(state="unsure", why="facts", missing=["feed_mm_rev"]), Units.METRIC
    )
    assert "power feed" in line


def test_a_poor_thickness_says_how_to_do_better():
    gauge = {
        "thickness_mm": {"value": 0.2, "u": 0.1},
        "measured": "weighed",
        "compression": None,
        "usual": {"low": 1.8, "high": 3.5},
        "shear_angle_deg": None,
        "missing": ["rake_deg"],
        "trend": "first",
    }
    lines = thickness_lines(gauge, Units.METRIC)
    assert "too uncertain to show an edge going dull" in lines[-1]
    assert "too uncertain" not in " ".join(
        thickness_lines({**gauge, "thickness_mm": {"value": 0.2, "u": 0.01}}, Units.METRIC)
    )


def test_silence_at_the_terminal_where_nothing_was_measured():
    silent = {"width": _width(state="unsure", why="no strips", ratio=None), "thickness": None}
    assert gauge_lines(silent, Units.METRIC) == []
    assert gauge_lines(None, Units.METRIC) == []
    assert thickness_short(None, Units.METRIC) == ""


def _trend(*thick, states=None):
    states = states or ["first", *["steady"] * (len(thick) - 1)]
    return {
        "state": states[-1],
        "points": [
            {
                "number": n,
                "thickness_mm": {"value": mm, "u": 0.008},
                "measured": "micrometer",
                "compression": {"value": mm / 0.097, "u": 0.1},
                "before_mm": None if state == "first" else thick[0],
                "call_mm": None if state == "first" else 1.3 * thick[0],
                "state": state,
            }
            for n, (mm, state) in enumerate(zip(thick, states, strict=True), 1)
        ],
    }


def _svg(html):
    return base64.b64decode(html.split("base64,")[1].split('"')[0]).decode()


def test_one_point_is_no_picture():
    assert thickness_picture(_trend(0.2), Units.METRIC) == ""


def test_the_picture_shows_the_alarm_by_shape_and_word_and_stays_inside():
    trend = _trend(0.2, 0.21, 0.29, states=["first", "steady", "thicker"])
    svg = _svg(thickness_picture(trend, Units.METRIC))
    assert svg.count("<rect") == 1
    assert svg.count("<circle") == 1
    assert svg.count(">thicker<") == 1
    assert svg.count("stroke-dasharray") == 2
    ys = [float(y) for y in re.findall(r' (?:y|cy)="([\d.]+)"', svg)]
    assert min(ys) >= 0
    assert max(ys) <= 196
    assert "pass 3 0.290 mm (thicker)" in thickness_text(trend, Units.METRIC)


def test_the_axis_is_in_the_units_of_the_person():
    trend = _trend(0.254, 0.254)
    assert ">0 in<" in _svg(thickness_picture(trend, Units.INCH))
    assert ">0.01<" in _svg(thickness_picture(trend, Units.INCH))  # 0.254 mm is 0.01 in
    assert ">0 mm<" in _svg(thickness_picture(trend, Units.METRIC))


def test_the_table_tells_the_same_with_the_latest_first():
    rows = thickness_rows(_trend(0.2, 0.29, states=["first", "thicker"]), Units.METRIC)
    assert [row["pass"] for row in rows] == [2, 1]
    assert rows[0]["chip, mm"].split() == ["0.290", "±", "0.016"]
    assert rows[0]["before, mm"] == "0.200"
    assert rows[0][""] == "thicker"
    assert rows[1]["before, mm"] == "\N{EN DASH}"


@pytest.mark.parametrize("state", ["none", "first", "steady", "watch", "thicker", "looked"])
def test_every_state_of_the_trend_has_words(state):
    assert thickness_trend_words(state).endswith(".")
