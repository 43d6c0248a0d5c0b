"""Words of cases and readings: the two cores spell them alike without knowing each other."""

from __future__ import annotations

import tomllib
from importlib import resources

import advisor
import advisor.terms
import vision.terms


def test_form_codes_and_tints_equal_those_of_the_reader():
    assert {form.value for form in advisor.terms.ChipForm} == set(vision.terms.FORM_NAMES)
    assert tuple(advisor.terms.TINTS) == tuple(vision.terms.TINTS)


def test_the_door_is_complete():
    for name in ("parse_case", "advise", "advice_json", "plan_passes", "plan_json"):
        assert callable(getattr(advisor, name))
    assert advisor.RULES_VERSION


def _numbers_without_source(node, path=""):
    if isinstance(node, dict):
        if "source" in node:
            return
        for key, value in node.items():
            yield from _numbers_without_source(value, f"{path}.{key}")
    elif isinstance(node, list):
        for place, value in enumerate(node):
            yield from _numbers_without_source(value, f"{path}[{place}]")
    elif isinstance(node, (int, float)) and not isinstance(node, bool):
        yield path


def test_no_number_of_the_tables_stands_without_a_source():
    data = resources.files("advisor") / "data"
    sources = tomllib.loads((data / "sources.toml").read_text(encoding="utf-8"))
    seen = 0
    for file in data.iterdir():
        if not file.name.endswith(".toml") or file.name == "sources.toml":
            continue
        text = file.read_text(encoding="utf-8")
        assert list(_numbers_without_source(tomllib.loads(text), file.name)) == []
        seen += text.count("source =")
    assert seen > 100
    for name, row in sources.items():
        assert row["obtained"] in {"read", "memory", "shop practice", "choice"}, name
