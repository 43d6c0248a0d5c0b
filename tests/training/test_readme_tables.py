"""README's tables are what the evaluation found, in README's words."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from vision.training.evaluate import score_folder, sets_summary, summary
from vision.training.readme_tables import main

README = Path(__file__).parents[2] / "README.md"


def cells(line):
    return [c.strip() for c in line.strip().strip("|").split("|")]


@pytest.fixture(scope="module")
def scores(made_scenes):
    return score_folder(made_scenes)


@pytest.fixture(scope="module")
def printed(scores, tmp_path_factory):
    parts = {
        "R1 unseen, with card": summary([s for s in scores if s.card]),
        "R1 unseen, without card": summary([s for s in scores if not s.card]),
        "R1 unseen, all photos": sets_summary(scores),
    }
    out = tmp_path_factory.mktemp("figures") / "out.json"
    out.write_text(json.dumps(parts), encoding="utf-8")
    return out


def rows_of(printed, capsys):
    assert main([str(printed)]) == 0
    return [
        cells(line) for line in capsys.readouterr().out.splitlines() if line.startswith("|")
    ]


def test_each_row_has_a_cell_for_each_set_and_part(printed, capsys):
    assert main([str(printed)]) == 0
    tables = [
        [cells(line) for line in text.splitlines() if line.startswith("|")]
        for text in capsys.readouterr().out.split("\n\n")
    ]
    tables = [rows for rows in tables if rows]
    assert len(tables) >= 5
    for head, rule, *rows in tables:
        assert set("".join(rule)) == {"-"}
        assert rows
        assert {len(row) for row in (rule, *rows)} == {len(head)}, head[0]
    first = tables[0][0]
    assert first[1].startswith("unseen seeds, card in view (")
    assert first[2].startswith("unseen seeds, no card (")


def test_shares_are_counted_from_the_scores(printed, scores, capsys):
    found = {row[0]: row for row in rows_of(printed, capsys)}
    for column, card in ((1, True), (2, False)):
        mine = [s for s in scores if s.card == card]
        hits, truth = sum(s.hits for s in mine), sum(s.truth for s in mine)
        false = sum(s.false for s in mine)
        recall, precision = (
            found[f"found at IoU 0.5: {name}"][column] for name in ("recall", "precision")
        )
        assert recall.split()[0] == f"{hits / truth:.2f}"
        assert precision.split()[0] == f"{hits / (hits + false):.2f}"
        assert found["false chips; called with sureness"][column].split(";")[0] == str(false)


def test_readme_shows_every_row_that_is_printed(printed, capsys):
    shown = {
        cells(x)[0] for x in README.read_text(encoding="utf-8").splitlines() if x[:1] == "|"
    }
    rows = {row[0] for row in rows_of(printed, capsys) if not row[0].startswith("-")}
    grounds = {"card", "paper", "plain paper"}
    assert rows - grounds <= shown
