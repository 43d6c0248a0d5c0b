"""The docs and the program say the same: every command, every option, working words."""

from __future__ import annotations

from pathlib import Path

import pytest
import typer

from app.cli import app

ROOT = Path(__file__).resolve().parents[2]


def _commands(command, prefix="bluecurl"):
    for name, child in command.commands.items():
        full = f"{prefix} {name}"
        if hasattr(child, "commands"):
            yield from _commands(child, full)
        else:
            yield full, child


COMMANDS = dict(_commands(typer.main.get_command(app)))


def _docs():
    return "\n".join(
        (ROOT / name).read_text(encoding="utf-8")
        for name in ("README.md", "DEVELOPERS.md")
        if (ROOT / name).exists()
    )


@pytest.mark.parametrize("command", sorted(COMMANDS))
def test_every_command_is_in_the_docs(command):
    assert command in _docs()


@pytest.mark.parametrize("command", sorted(COMMANDS))
def test_every_option_is_in_the_docs_and_has_help(command):
    missing = []
    for parameter in COMMANDS[command].params:
        long = [
            o for o in getattr(parameter, "opts", []) if o.startswith("--") and o != "--help"
        ]
        if long:
            assert parameter.help, f"{long[0]} has no help"
        missing += [o for o in long if o not in _docs()]
    assert not missing


def test_the_commands_of_the_contract_exist():
    wanted = {"serve", "demo", "card", "read", "advise", "plan", "doctor", "backup", "restore"}
    assert {f"bluecurl {name}" for name in wanted} <= set(COMMANDS)
    assert any(name.startswith("bluecurl log ") for name in COMMANDS)
