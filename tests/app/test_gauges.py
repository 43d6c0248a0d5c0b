"""Width and thickness of the chip on the page, in the log and at the terminal.

Only the reader is a stand-in; the advice is the real one.
"""

from __future__ import annotations

import base64
import csv
import io
import json
import re
from contextlib import closing
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

import app
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
from app.settings import Settings, save_settings
from app.show import Units

MAIN = Path(app.__file__).with_name("main.py")
WORK = {"material": "1045", "diameter_mm": 16.0, "stickout_mm": 30.0, "cut_length_mm": 20.0}
EDGE = {"id": "a", "material": "HSS", "rake_deg": 8, "kapr_deg": 75, "re_mm": 0.2}
LATHE = {"spindle_rev_min": [260, 500], "feeds_mm_rev": [0.06, 0.1], "power_w": 750}
CUT = {
    "direction": "along",
    "spindle_rev_min": 500,
    "feed_mm_rev": 0.1,
    "depth_mm": 0.5,
    "coolant": "cutting oil",
    "power_feed": True,
}


@pytest.fixture
def eye(fakes, monkeypatch):
    """The stand-in reader alone."""
    fake = fakes.FakeCores()
    for name in ("read_bytes", "combine", "picture"):
        monkeypatch.setattr(engine, name, getattr(fake, name))
    return fake


@pytest.fixture
def job(data_home):
    with closing(Logbook(data_home)) as book:
        return book.add_job("Axle", work=WORK, edge=EDGE, lathe=LATHE)


@pytest.fixture
def page(job, data_home, fakes, eye):  # noqa: ARG001 - in place before the page is
    """The page with a pass in hand that was photographed."""
    import streamlit as st

    st.cache_resource.clear()
    with closing(Logbook(data_home)) as book:
        book.add_pass(job.id, cut=CUT)
    tab = AppTest.from_file(str(MAIN), default_timeout=20).run()
    photo = ("chips.jpg", fakes.photo_bytes(), "image/jpeg")
    tab.get("file_uploader")[0].set_value([photo]).run()
    assert not tab.exception
    return tab


def _last(data_home):
    with closing(Logbook(data_home)) as book:
        return book.passes()[-1]


def _way(page, way):
    group = next(g for g in page.get("button_group") if g.label == "Thickness measured by")
    return group.set_value(way).run()


def _field(page, start):
    return next(t for t in page.text_input if t.label.startswith(start))


def _text(page):
    return "\n".join(
        str(e.value)
        for kind in ("markdown", "caption", "error", "warning", "header", "subheader")
        for e in getattr(page, kind)
    )


# the page ---------------------------------------------------------------------------------


def test_the_page_says_what_a_growing_thickness_means_before_anything_is_typed(page):
    assert "best sign of a dulling edge under oil, where tint is blind" in _text(page)
    assert "gross pushing away" in _text(page)


def test_micrometer_readings_become_thickness_compression_and_shear_angle(page, data_home):
    _way(page, "micrometer")
    _field(page, "Thickness at one").set_value("0,25 0.26; 0.24").run()
    assert not page.exception
    row = _last(data_home)
    assert row.told["chip"] == {"thickness_mm": [0.25, 0.26, 0.24]}
    thickness = row.advice["gauges"]["thickness"]
    assert thickness["thickness_mm"]["value"] == 0.25
    # h = f sin 75° = 0.0966 mm where the nose is left behind: 0.25 / 0.0966
    assert thickness["compression"]["value"] == pytest.approx(2.588, abs=0.01)
    text = _text(page)
    assert "Chip 0.250 mm ± 0.013 thick by micrometer; compression 2.59 ± 0.17" in text
    assert "shear angle" in text


def test_a_piece_is_weighed_with_what_was_typed(page, data_home):
    _way(page, "weighing")
    _field(page, "Weight of the piece").set_value("0.5").run()
    _field(page, "Length along").set_value("320").run()
    _field(page, "Width of a flat").set_value("0.65").run()
    chip = _last(data_home).told["chip"]
    assert chip == {"mass_g": 0.5, "length_mm": 320.0, "width_mm": 0.65}
    # 0.5 g / (7.85 g/cm3 x 320 mm x 0.65 mm)
    measured = _last(data_home).advice["gauges"]["thickness"]["thickness_mm"]
    assert measured["value"] == pytest.approx(0.3062, abs=2e-4)


def test_a_piece_of_the_photo_brings_its_length_and_width_with_their_doubt(page, data_home):
    _way(page, "weighing")
    next(s for s in page.selectbox if s.label == "Length from the photo").select(2).run()
    _field(page, "Weight of the piece").set_value("0.5").run()
    chip = _last(data_home).told["chip"]
    assert chip["length_mm"] == {"value": 161.0, "u": 6.0}
    assert chip["width_mm"] == {"value": 1.12, "u": 0.05}
    u = _last(data_home).advice["gauges"]["thickness"]["thickness_mm"]
    assert u["u"] / u["value"] == pytest.approx(
        (0.01**2 + 0.0373**2 + 0.0446**2) ** 0.5, rel=0.1
    )
    _field(page, "Length along").set_value("150").run()  # a hand's measure comes first
    assert _last(data_home).told["chip"]["length_mm"] == 150.0


def test_what_is_still_needed_is_said(page):
    _way(page, "weighing")
    needed = "Still needed for a thickness: the weight, the length, the width."
    assert needed in _text(page)
    _field(page, "Weight of the piece").set_value("0.5").run()
    _field(page, "Length along").set_value("320").run()
    assert "Still needed for a thickness: the width." in _text(page)
    _field(page, "Width of a flat").set_value("0.65").run()
    assert "Still needed" not in _text(page)
    _way(page, "whole length")
    assert "the turns or the length cut" in _text(page)


def test_a_length_that_is_all_doubt_or_hidden_is_not_offered(page, data_home):
    reading = _last(data_home).reading
    reading["chips"][0]["length_mm"] = {"value": 80.0, "u": 41.0}
    reading["chips"][1]["length_mm"] = {"value": 80.0, "u": 4.0, "bound": "at_least"}
    reading["chips"][2]["kind"] = "nest"
    reading["chips"][3]["length_mm"] = None
    with closing(Logbook(data_home)) as book:
        book.fill_pass(_last(data_home).id, reading=reading)
    page.run()
    _way(page, "whole length")
    offered = next(s for s in page.selectbox if s.label == "Length from the photo").options
    assert offered == ["measured by hand", "chip 5: 161 mm ± 12"]


def test_a_whole_chip_by_its_turns_or_its_cut_but_not_both(page, data_home):
    _way(page, "whole length")
    _field(page, "Length along").set_value("180").run()
    _field(page, "Turns").set_value("10").run()
    assert _last(data_home).told["chip"] == {"length_mm": 180.0, "turns": 10.0}
    assert _last(data_home).advice["gauges"]["thickness"]["measured"] == "length"
    _field(page, "Or length cut").set_value("480").run()
    assert "not both" in page.error[0].value
    assert _last(data_home).told["chip"] == {"length_mm": 180.0, "cut_mm": 480.0}


def test_what_cannot_be_read_is_told_and_changes_nothing(page, data_home):
    _way(page, "micrometer")
    _field(page, "Thickness at one").set_value("thin").run()
    assert "is not a number" in page.error[0].value
    assert "chip" not in _last(data_home).told


def test_not_measured_takes_the_measure_away_again(page, data_home):
    _way(page, "micrometer")
    _field(page, "Thickness at one").set_value("0.25").run()
    _way(page, "not measured")
    assert "chip" not in _last(data_home).told
    assert _last(data_home).advice["gauges"]["thickness"] is None


def test_in_inches_the_same_thickness_is_kept_in_millimetres(job, data_home, fakes, eye):  # noqa: ARG001
    save_settings(Settings(units=Units.INCH))
    with closing(Logbook(data_home)) as book:
        book.add_pass(job.id, cut=CUT)
    tab = AppTest.from_file(str(MAIN), default_timeout=20).run()
    photo = ("chips.jpg", fakes.photo_bytes(), "image/jpeg")
    tab.get("file_uploader")[0].set_value([photo]).run()
    _way(tab, "micrometer")
    _field(tab, "Thickness at one").set_value("0.010").run()
    assert _last(data_home).told["chip"]["thickness_mm"] == [pytest.approx(0.254)]  # 25.4 / 100
    assert "Chip 0.0100 in ± 0.0010 thick" in _text(tab)


@pytest.mark.usefixtures("page")
def test_a_chip_that_thickens_calls_the_edge_on_the_page_and_in_the_log(job, data_home):
    with closing(Logbook(data_home)) as book:
        first = book.passes()[0]
        book.fill_pass(first.id, told={"chip": {"thickness_mm": [0.2]}}, followed=True)
        book.add_pass(job.id, cut=CUT, reading=first.reading, label="6.2")
        book.fill_pass(first.id, label="6.2")
    tab = AppTest.from_file(str(MAIN), default_timeout=20).run()
    _way(tab, "micrometer")
    _field(tab, "Thickness at one").set_value("0.2").run()
    assert "Look at the edge" not in [h.value for h in tab.header]
    assert "No thicker than before" in _text(tab)
    _field(tab, "Thickness at one").set_value("0.29").run()
    assert not tab.exception
    assert "Look at the edge" in [h.value for h in tab.header]
    assert "Chip thickness over the passes" in [s.value for s in tab.subheader]
    assert "the edge has gone dull or carries a lump" in _text(tab)

    tab.switch_page("screens/log.py").run()
    assert not tab.exception
    assert "Chip thickness over the passes" in [s.value for s in tab.subheader]
    assert any("chip 0.29 mm thick" in e.label for e in tab.expander)


def test_a_width_far_off_is_told_outside_the_folded_part(page):
    _field(page, "Width of a flat").set_value("0.3").run()
    assert any("pushed away" in w.value for w in page.warning)
    _field(page, "Width of a flat").set_value("0.6").run()
    assert not any("pushed away" in w.value for w in page.warning)


@pytest.mark.usefixtures("page")
def test_a_form_named_by_eye_leaves_the_width_of_the_photo(data_home, eye):
    reading = _last(data_home).reading
    for chip in reading["chips"]:
        chip |= {"group": "1", "form": "1.2", "width_mm": {"value": 1.6, "u": 0.6}}
    with closing(Logbook(data_home)) as book:
        row = book.passes()[0]
        book.fill_pass(row.id, reading=reading, label="1.2", cut={**CUT, "depth_mm": 1.5})
    tab = AppTest.from_file(str(MAIN), default_timeout=20).run()
    assert not tab.exception
    width = _last(data_home).advice["gauges"]["width"]
    assert (width["state"], width["chips"]) == ("sound", [1, 2, 3, 4, 5])
    assert eye.read_calls  # and the photo was read by the stand-in


# the log and the terminal -----------------------------------------------------------------


def _case(*chips, coolant="cutting oil"):
    return {
        "schema": "bluecurl.case/1",
        "work": WORK,
        "edge": EDGE,
        "lathe": LATHE,
        "passes": [{"cut": {**CUT, "coolant": coolant}, "chip": chip} for chip in chips],
    }


def test_advise_prints_the_gauges_and_gives_them_as_json(tmp_path, capsys):
    path = tmp_path / "case.json"
    path.write_text(json.dumps(_case({"thickness_mm": 0.2}, {"thickness_mm": 0.3})))
    assert main(["advise", str(path)]) == 0
    out = capsys.readouterr().out
    assert "Look at the edge" in out
    assert "Chip     Chip 0.30 mm ± 0.03 thick by micrometer" in out
    assert "best sign of a dulling edge under oil" in out
    assert main(["advise", str(path), "--json"]) == 0
    gauges = json.loads(capsys.readouterr().out)["gauges"]
    assert gauges["thickness"]["trend"] == "thicker"
    assert gauges["width"]["state"] == "unsure"


def test_a_bad_measure_is_a_wrong_case(tmp_path, capsys):
    path = tmp_path / "case.json"
    path.write_text(json.dumps(_case({"mass_g": 0})))
    assert main(["advise", str(path), "--json"]) == 2
    assert "passes[0].chip.mass_g" in capsys.readouterr().out


@pytest.mark.usefixtures("eye")
def test_read_with_a_case_gives_the_gauges_too(tmp_path, fakes, capsys):
    photo, case = tmp_path / "chips.jpg", tmp_path / "case.json"
    photo.write_bytes(fakes.photo_bytes())
    case.write_text(json.dumps(_case({"thickness_mm": 0.25})))
    assert main(["read", str(photo), "--case", str(case), "--json"]) == 0
    reading = json.loads(capsys.readouterr().out)
    assert reading["gauges"]["thickness"]["thickness_mm"]["value"] == 0.25
    assert main(["read", str(photo), "--json"]) == 0
    assert "gauges" not in json.loads(capsys.readouterr().out)
    case.write_text(json.dumps({**_case({}), "work": {**WORK, "material": "cheese"}}))
    assert main(["read", str(photo), "--case", str(case), "--json"]) == 0
    out, err = capsys.readouterr()
    assert json.loads(out)["gauges"] is None
    assert "cheese" in err


def test_the_table_of_the_log_has_thickness_compression_and_width(job, data_home):
    with closing(Logbook(data_home)) as book:
        advice = engine.advise_case(_case({"thickness_mm": 0.25, "width_mm": 0.6}))
        book.add_pass(job.id, cut=CUT, advice=advice)
        book.add_pass(job.id, cut=CUT)
        one, two = csv.DictReader(io.StringIO(log_csv(book)))
    assert (one["chip_thickness_mm"], one["chip_thickness_by"]) == ("0.25", "micrometer")
    assert float(one["compression"]) == pytest.approx(2.588, abs=0.01)
    assert float(one["u_compression"]) > 0
    assert float(one["width_ratio"]) > 0.9
    assert (two["chip_thickness_mm"], two["compression"], two["width_ratio"]) == ("", "", "")


def test_log_list_tells_the_thickness(job, data_home, capsys):
    with closing(Logbook(data_home)) as book:
        book.add_pass(
            job.id, cut=CUT, advice=engine.advise_case(_case({"thickness_mm": [0.25] * 4}))
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
