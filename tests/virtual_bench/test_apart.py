"""The bench stays a stranger to what it tries."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

HERE = Path(__file__).parent
#: All that the bench may import: the language itself, numpy, pytest and its own modules.
ALLOWED = {
    "__future__", "ast", "collections", "dataclasses", "math", "numpy", "pathlib", "pytest",
    "re", "scipy", "subprocess", "sys", "time", "typing",
}  # fmt: skip


@pytest.mark.parametrize("path", sorted(HERE.glob("*.py")), ids=lambda path: path.name)
def test_module_imports_nothing_of_the_product(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            names = [node.module]
        else:
            continue
        if path.name != "test_with_the_advisor.py":
            assert {name.partition(".")[0] for name in names} <= ALLOWED, names


@pytest.mark.parametrize("path", sorted(HERE.glob("*.py")), ids=lambda path: path.name)
def test_module_reads_no_table_of_the_product(path):
    text = path.read_text(encoding="utf-8")
    if path.name != Path(__file__).name:
        assert "importlib" not in text
        assert ".toml" not in text
