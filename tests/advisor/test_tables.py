"""The tables: sources, aliases, and sentences for every reason that the rules can give."""

from __future__ import annotations

import ast
import re
from importlib import resources
from pathlib import Path

import pytest

import advisor
from advisor import tables, wording
from advisor.errors import OutOfTable, SourceMissing

HERE = Path(advisor.__file__).parent
CODE = {path.name: path.read_text(encoding="utf-8") for path in HERE.glob("*.py")}


def _strings():
    """All texts that stand in the code, docstrings left out."""
    for text in CODE.values():
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                yield node.value


def test_a_number_without_a_source_does_not_load():
    tables.check_sources({"kc": {"value": 1, "source": "practice"}}, "here")
    for broken in ({"kc": {"value": 1}}, {"kc": 3}, {"kc": {"low": 1, "source": "nobody"}}):
        with pytest.raises(SourceMissing, match="here"):
            tables.check_sources(broken, "here")


def _cited_in_docstrings():
    kinds = (ast.Module, ast.FunctionDef, ast.ClassDef)
    for text in CODE.values():
        for node in ast.walk(ast.parse(text)):
            words = ast.get_docstring(node) if isinstance(node, kinds) else None
            yield from re.findall(r"\[([a-z][a-z0-9-]{3,})[\],]", words or "")


def test_every_source_is_used_and_every_used_source_is_known():
    known = set(tables.sources())
    data = (resources.files("advisor") / "data").iterdir()
    quoted = {
        name
        for file in data
        if file.name.endswith(".toml")
        for name in re.findall(r'source = "([^"]+)"', file.read_text(encoding="utf-8"))
    }
    cited = set(_cited_in_docstrings())
    assert quoted <= known
    assert cited <= known
    spoken = {text for text in _strings() if text in known}
    assert known <= quoted | spoken | cited, "a source that nobody uses"


def test_memory_is_admitted_where_people_read_it():
    for source in tables.sources().values():
        assert ("from memory" in source.text) == (source.obtained == "memory")


def test_every_sentence_is_said_by_some_rule():
    used = set(_strings())
    # These ids are put together from a limit, a danger, a finding or a lever's words.
    composed = re.compile(r"(limit|danger|word|edge)-.+|.+-less")
    idle = {
        key for key in wording.reason_ids() if key not in used and not composed.fullmatch(key)
    }
    assert idle == set()


def test_every_limit_has_a_sentence():
    text = CODE["limits.py"].split("def _recommended")[0]
    names = set(re.findall(r'_Measure\(\s*"([^"]+)"', text))
    assert len(names) > 12
    for name in names:
        assert f"limit-{name.replace(' ', '-')}" in wording.reason_ids(), name


def test_a_change_says_why_what_to_expect_and_what_then():
    for key in wording.reason_ids():
        parts = wording.sentences(key)
        assert set(parts) in ({"because"}, {"because", "expect", "if_not"}), key
        for text in parts.values():
            assert text.strip() == text, key
            assert "!" not in text, key


@pytest.mark.parametrize(
    ("alias", "name"),
    # UNS and EN names as in common designation lists, from memory.
    [
        ("S30400", "304"),
        ("1.4301", "304"),
        ("x5crni18-10", "304"),
        ("1.4404", "316"),
        ("S30300", "303"),
        ("R56400", "Ti-6Al-4V"),
        ("3.7165", "Ti-6Al-4V"),
        ("R50400", "Ti grade 2"),
        ("42CrMo4", "4140"),
        ("G41400", "4140"),
        ("C45E", "1045"),
        ("11SMnPb30", "12L14"),
        ("A96061", "6061"),
        ("EN AW-6061", "6061"),
        ("CW614N", "C360"),
        ("EN-GJL-250", "grey iron"),
        ("AISI 1018", "1018"),
    ],
)
def test_a_metal_is_found_by_its_uns_and_en_name(alias, name):
    assert tables.material(alias).name == name


def test_the_metals_of_the_contract_are_all_there():
    wanted = {"1018", "12L14", "1045", "4140", "O1", "303", "304", "316", "Ti grade 2"}
    wanted |= {"Ti-6Al-4V", "6061", "C360", "bronze", "grey iron"}
    assert wanted <= set(advisor.material_names())
    with pytest.raises(OutOfTable, match="Ti-6Al-4V"):
        tables.material("unobtainium")


def test_titanium_speeds_are_those_of_the_trade():
    # Common practice, no source: HSS starts at 15-20 m/min, 30 is the ceiling; carbide 40-60.
    metal = tables.material("Ti-6Al-4V")
    assert (metal.hss_m_min.low, metal.hss_m_min.high) == (15, 20)
    assert metal.hss_ceiling_m_min.value == 30
    assert (metal.carbide_m_min.low, metal.carbide_m_min.high) == (40, 60)


def test_floors_are_those_of_the_trade():
    # Common practice, no source.
    floors = {"304": 0.1, "316": 0.1, "Ti-6Al-4V": 0.1, "1045": 0.05, "303": 0.05}
    floors |= {"C360": 0.03, "6061": 0.03}
    for name, floor in floors.items():
        assert tables.material(name).finishing_floor_mm.value == floor
