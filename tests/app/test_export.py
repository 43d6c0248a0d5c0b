"""Exports: units in the headers, nothing left out, no cell that runs in a table program."""

from __future__ import annotations

import csv
import io
import json

from app.logbook.export import log_csv, log_json
from app.logbook.store import Logbook


def _book(tmp_path, name="Bolt"):
    book = Logbook(tmp_path / "book")
    job = book.add_job(name, work={"material": "304"}, edge={"material": "HSS"}, lathe={})
    book.add_pass(
        job.id,
        cut={
            "direction": "along",
            "spindle_rev_min": 430,
            "feed_mm_rev": 0.06,
            "depth_mm": 0.25,
        },
        reading={
            "usable": "yes",
            "form": {"code": "2.1", "share": 0.9, "sure": True},
            "heat": {"tint": "straw"},
        },
        advice={
            "verdict": "change",
            "change": {"lever": "feed", "from": 0.06, "to": 0.1, "unit": "mm/rev"},
        },
    )
    return book


def test_csv_has_units_in_its_headers_and_the_values(tmp_path):
    book = _book(tmp_path)
    (row,) = csv.DictReader(io.StringIO(log_csv(book)))
    assert row["feed_mm_rev"] == "0.06"
    assert row["depth_mm"] == "0.25"
    assert row["spindle_rev_min"] == "430"
    assert (row["form"], row["tint"], row["verdict"]) == ("2.1", "straw", "change")
    assert (row["lever"], row["from"], row["to"], row["unit"]) == (
        "feed",
        "0.06",
        "0.1",
        "mm/rev",
    )
    assert row["followed"] == ""
    book.close()


def test_a_name_that_looks_like_a_formula_is_text(tmp_path):
    book = _book(tmp_path, name="=1+2")
    (row,) = csv.DictReader(io.StringIO(log_csv(book)))
    assert row["job_name"] == "'=1+2"
    book.close()


def test_json_is_plain_and_whole(tmp_path):
    book = _book(tmp_path)
    log = json.loads(json.dumps(log_json(book), allow_nan=False))
    assert log["schema"] == "bluecurl.log/1"
    (job,) = log["jobs"]
    (row,) = job["passes"]
    assert row["reading"]["form"]["code"] == "2.1"
    assert row["made_at_utc"].endswith("+00:00")
    book.close()


def test_one_job_alone(tmp_path):
    book = _book(tmp_path)
    other = book.add_job("Axle", work={}, edge={}, lathe={})
    assert [j["name"] for j in log_json(book, other.id)["jobs"]] == ["Axle"]
    assert len(log_csv(book, other.id).splitlines()) == 1
    book.close()
