"""Is everything there? Versions, folders, and short trials of each part.

Each trial imports its own part, so that a broken library becomes one line of the report.
"""

# ruff: noqa: PLC0415 - see above

from __future__ import annotations

import importlib.metadata
import platform
import shutil
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from typing import TYPE_CHECKING

from app.errors import code_of, exit_code_of
from app.logbook.store import DATABASE_NAME, Logbook
from app.settings import home, load_settings
from app.wording import error_message

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["Check", "check_text", "checks", "library_versions", "version_text"]

_LIBRARIES = (
    "numpy",
    "opencv-python",
    "scikit-image",
    "scikit-learn",
    "skops",
    "pillow",
    "streamlit",
)
_MIN_FREE_BYTES = 500_000_000  # some hundred photos


@dataclass(frozen=True, slots=True)
class Check:
    """One thing looked at."""

    name: str
    fine: bool
    text: str
    exit_code: int = 1


def version_text() -> str:
    """Return the version of the program."""
    return f"bluecurl {importlib.metadata.version('bluecurl')}"


def library_versions() -> dict[str, str]:
    """Return the versions of the libraries that can change a reading."""
    return {name: importlib.metadata.version(name) for name in _LIBRARIES}


def check_text(check: Check) -> str:
    """Return one line: a word first, never colour alone."""
    return f"{'ok' if check.fine else 'PROBLEM':8}{check.name:14}{check.text}"


def checks() -> list[Check]:
    """Try every part; a part that fails becomes a check that is not fine."""
    trials: list[tuple[str, Callable[[], str]]] = [
        ("program", _program),
        ("data folder", _folder),
        ("settings", _settings),
        ("logbook", _logbook),
        ("card", _card),
        ("form model", _model),
        ("tables", _tables),
        ("photo formats", _formats),
        ("demo photos", _demos),
    ]
    return [_try(name, trial) for name, trial in trials]


def _try(name: str, trial: Callable[[], str]) -> Check:
    try:
        return Check(name, fine=True, text=trial())
    except Exception as error:  # noqa: BLE001
        code = code_of(error)
        text = (
            error_message(error) if code != "unexpected" else f"{type(error).__name__}: {error}"
        )
        return Check(name, fine=False, text=text, exit_code=exit_code_of(code))


def _program() -> str:
    libraries = ", ".join(f"{name} {number}" for name, number in library_versions().items())
    return f"{version_text()}, Python {platform.python_version()}, {libraries}"


def _folder() -> str:
    free = shutil.disk_usage(home()).free
    if free < _MIN_FREE_BYTES:
        raise OSError(f"only {free / 1e6:.0f} MB free in {home()}")
    return f"{home()} ({free / 1e9:.0f} GB free)"


def _settings() -> str:
    settings = load_settings()
    return (
        f"{settings.units.value} units, the card's line measures {settings.check_line_mm:g} mm"
    )


def _logbook() -> str:
    with closing(Logbook(home())) as logbook:
        counts = f"{len(logbook.jobs())} jobs, {len(logbook.passes())} passes"
    with closing(sqlite3.connect(home() / DATABASE_NAME)) as raw:
        (verdict,) = raw.execute("PRAGMA integrity_check").fetchone()
    if verdict != "ok":
        raise OSError(verdict)
    return counts


def _card() -> str:
    from app.cardcommand import card_bytes, card_sizes

    sizes = card_sizes()
    if not card_bytes(sizes[0], ".pdf").startswith(b"%PDF"):
        raise ValueError("the card is no PDF")
    return f"sizes {', '.join(sizes)}"


def _model() -> str:
    from app.demo import default_demo
    from app.engine import read_bytes

    reading = read_bytes(default_demo().photo.read_bytes(), "demo").json
    if any(flag["code"] == "model-missing" for flag in reading["flags"]):
        from vision.errors import ModelUnreadable

        raise ModelUnreadable("the demo photo was read without it")
    versions = ", ".join(f"{name} {number}" for name, number in reading["versions"].items())
    return f"read the demo photo: {len(reading['chips'])} chips; {versions}"


def _tables() -> str:
    from app.engine import materials

    return f"{len(materials())} metals"


def _formats() -> str:
    from pillow_heif import libheif_version

    return f"JPEG, PNG, WebP, HEIC (libheif {libheif_version()})"


def _demos() -> str:
    from app.demo import default_demo, demos

    default_demo()
    return f"{len(demos())} photos"
