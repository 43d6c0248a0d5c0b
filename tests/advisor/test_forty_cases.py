"""Forty and more written cases: our answer beside that of a textbook or common practice.

The cases stand in ``forty_cases.toml``, each with where its answer comes from;
``python tests/bench/advice_table.py --cases`` prints both side by side.
"""

from __future__ import annotations

import importlib.util
import tomllib
from pathlib import Path

import pytest

CASES = tomllib.loads(
    (Path(__file__).with_name("forty_cases.toml")).read_text(encoding="utf-8")
)["case"]


def written(case, new_job, new_pass):
    """The case of the contract that a written case stands for."""
    work, edge = dict(case.get("work") or {}), dict(case.get("edge") or {})
    if case.get("new_job"):
        return new_job(case["metal"], work=work, edge=edge)
    more = {key: case[key] for key in ("tint", "coolant", "direction") if key in case}
    one = new_pass(
        case["speed"],
        case["feed"] or None,
        case.get("depth", 0.4),
        case.get("diameter", 16.0),
        form=case["form"],
        power_feed=bool(case["feed"]),
        **more,
    )
    one["noticed"] = case.get("noticed") or []
    one["edge_looked_at"] = case.get("looked", "not yet")
    one["measured_mm"] = case.get("measured") or []
    return new_job(case["metal"], [one], work=work, edge=edge)


def test_there_are_forty_metal_by_metal_and_direction_by_direction():
    assert len(CASES) >= 40
    assert len({case["id"] for case in CASES}) == len(CASES)
    assert len({case["metal"] for case in CASES}) >= 12
    assert {case.get("direction", "along") for case in CASES} >= {"along", "face", "part off"}
    for case in CASES:
        for key in ("book", "source"):
            assert case[key].strip(), case["id"]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["id"].replace(" ", "-"))
def test_our_answer_agrees_with_the_book(case, new_job, new_pass, ask):
    advice = ask(written(case, new_job, new_pass))
    if "argued" in case:
        assert case["argued"].strip()
        return
    assert advice["verdict"] in case["verdict"], advice["because"]
    change = advice["change"]
    if "lever" not in case:
        return
    assert change, advice["because"]
    assert change["lever"] in case["lever"], change["because"]
    if "way" in case and change["unit"] is not None:
        assert (change["to"] > change["from"]) == (case["way"] == "up"), change["because"]


def test_the_tables_to_read_are_rendered_from_these_cases():
    path = Path(__file__).parents[1] / "bench" / "advice_table.py"
    spec = importlib.util.spec_from_file_location("advice_table", path)
    table = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(table)
    lines, counts = table.table(["303", "304"])
    # two metals, two edge materials, every form of the list at a light and at a good feed
    assert sum(counts.values()) == 2 * 2 * 2 * len(table.FORMS)
    assert [line for line in lines if line.startswith("303, HSS")]
    said = "\n".join(table.cases())
    for case in CASES:
        assert case["book"] in said
