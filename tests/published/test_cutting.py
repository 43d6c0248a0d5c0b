"""Published and hand-worked values of cutting mechanics, one row after the other."""

from __future__ import annotations

import importlib.util
import tomllib
from pathlib import Path

import pytest

HERE = Path(__file__).parent
CASES = tomllib.loads((HERE / "cutting.toml").read_text(encoding="utf-8"))["case"]


def _rows(name):
    """Load what a neighbouring module defines; test folders are no packages."""
    spec = importlib.util.spec_from_file_location(name, HERE / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return vars(module)


ROWS = _rows("cutting_rows") | _rows("stiffness_rows")


def test_every_row_says_where_it_comes_from_and_why_its_tolerance():
    names = [case["id"] for case in CASES]
    assert len(names) == len(set(names))
    for case in CASES:
        for key in ("source", "where", "obtained", "why"):
            assert case.get(key, "").strip(), f"{case['id']} lacks {key}"
        assert case["obtained"] in {"read", "memory", "hand"}
        assert 0 < case["rtol"] < 1


def test_all_rows_of_the_reference_list_are_here():
    listed = {f"T{n}" for n in range(1, 26)} | {f"K{n}" for n in range(1, 7)}
    listed |= {f"G{n}" for n in range(1, 9)} | {f"D{n}" for n in range(1, 10)}
    listed |= {"H1", "N1", "P1", "P2"}
    here = {case["id"].split("-")[0].rstrip("abcd") for case in CASES}
    assert listed <= here


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["id"])
def test_published_value(case):
    got = ROWS[case["function"]](**case["inputs"])
    if "band_low" in case["expect"]:
        for ours, printed in zip(got["kc"], case["expect"]["band_low"], strict=True):
            assert printed / 1.3 <= ours <= printed * (1 + case["rtol"]), case["where"]
        return
    for name, expected in case["expect"].items():
        assert got[name] == pytest.approx(expected, rel=case["rtol"], abs=1e-12), name
