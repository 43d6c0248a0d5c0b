"""The commands that answer cases: advise and plan. The cores are stand-ins."""

from __future__ import annotations

import io
import json
import sys

import pytest

from app.cli import main

pytestmark = pytest.mark.usefixtures("cores")


def _lines(text):
    return [json.loads(line) for line in text.splitlines()]


# advise and plan ------------------------------------------------------------------


def test_advise_answers_line_by_line_in_order(tmp_path, fakes, capsys):
    new = {**fakes.CASE, "passes": []}
    strange = {**fakes.CASE, "work": {"material": "cheese"}}
    text = "\n".join(
        [json.dumps(fakes.CASE), "", "not json", json.dumps(strange), json.dumps(new)]
    )
    path = tmp_path / "cases.jsonl"
    path.write_text(text + "\n")
    assert main(["advise", str(path), "--json"]) == 2
    first, wrong, outside, last = _lines(capsys.readouterr().out)
    assert first["schema"] == "bluecurl.advice/1"
    assert first["verdict"] == "change"
    assert set(wrong) == {"schema", "input", "line", "code", "message"}
    assert (wrong["code"], wrong["line"], wrong["input"]) == ("case-invalid", 3, str(path))
    assert (outside["code"], outside["line"]) == ("outside-tables", 4)
    assert last["verdict"] == "start"


def test_advise_reads_standard_input(fakes, capsys, monkeypatch):
    stdin = io.TextIOWrapper(io.BytesIO(json.dumps(fakes.CASE, indent=2).encode()))
    monkeypatch.setattr(sys, "stdin", stdin)
    assert main(["advise", "-", "--json"]) == 0
    (advice,) = _lines(capsys.readouterr().out)
    assert advice["verdict"] == "change"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "3",
        "null",
        '{"work": {"diameter_mm": NaN}}',
        '{\n "work": \n',
        "\ud800",
        "[" * 100_000,
    ],
)
def test_what_is_no_case_is_case_invalid(tmp_path, capsys, text):
    path = tmp_path / "case.json"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    for command in ("advise", "plan"):
        assert main([command, str(path), "--json"]) == 2
        (line,) = _lines(capsys.readouterr().out)
        assert line["code"] == "case-invalid"
        assert line["line"] == 1


def test_a_missing_case_file_is_told(tmp_path, capsys):
    assert main(["advise", str(tmp_path / "none.json"), "--json"]) == 2
    (line,) = _lines(capsys.readouterr().out)
    assert "No such file" in line["message"]


def test_outside_the_tables_is_6(tmp_path, fakes, capsys):
    path = fakes.case_file(tmp_path, {**fakes.CASE, "work": {"material": "cheese"}})
    assert main(["advise", str(path)]) == 6
    out, err = capsys.readouterr()
    assert out == ""
    assert "cheese" in err


def test_advise_for_people(tmp_path, fakes, capsys):
    assert main(["advise", str(fakes.case_file(tmp_path)), "--units", "inch"]) == 0
    out = capsys.readouterr().out
    assert "Feed: 0.0016 in/rev → 0.0024 in/rev" in out  # 0.04 and 0.06 mm over 25.4
    assert "spindle torque: 8 lbf in (at most 50 lbf in) inside" in out  # 0.9 and 5.7 N m


def test_plan_and_the_plan_that_cannot_be_made(tmp_path, fakes, capsys):
    long_bar = {**fakes.CASE, "work": {**fakes.CASE["work"], "stickout_mm": 300}}
    path = tmp_path / "cases.jsonl"
    path.write_text(json.dumps(fakes.CASE) + "\n" + json.dumps(long_bar))
    assert main(["plan", str(path), "--json"]) == 7
    made, none = _lines(capsys.readouterr().out)
    assert made["feasible"] is True
    assert (none["feasible"], none["passes"]) == (False, [])
    assert main(["plan", str(path)]) == 7
    out = capsys.readouterr().out
    assert "dial 15 divisions" in out
    assert "a centre in the tailstock" in out
