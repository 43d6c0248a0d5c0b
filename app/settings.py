"""What the program remembers about a person, and where its files lie.

One small JSON file in the data folder. The folder follows the system's custom, or
``BLUECURL_HOME`` where that is set (a stick, a shared drive, a test).
"""

from __future__ import annotations

import json
import os
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any

import platformdirs

from app.errors import LogbookFull, SettingsInvalid
from app.show import Units

__all__ = [
    "CHECK_LINE_MM",
    "Settings",
    "data_file",
    "home",
    "is_check_line",
    "load_settings",
    "save_settings",
    "update_settings",
]

FILE_NAME = "settings.json"
#: Range, in mm, of what the 100 mm line of a card can measure on a sound print.
CHECK_LINE_MM = (80.0, 120.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Choices that outlive a session.

    ``check_line_mm`` is what the card's 100 mm line really measures on this printer.
    """

    units: Units = Units.METRIC
    job_id: int | None = None
    check_line_mm: float = 100.0

    def __post_init__(self) -> None:
        if self.job_id is not None and not _is_row_number(self.job_id):
            raise SettingsInvalid(f"“job_id” is {self.job_id!r}")
        if not is_check_line(self.check_line_mm):
            raise SettingsInvalid(f"“check_line_mm” is {self.check_line_mm!r}, not 80 to 120")


def _is_row_number(value: object) -> bool:
    return isinstance(value, int) and value >= 1


def is_check_line(value: object) -> bool:
    """Whether a 100 mm line can measure this, in mm; farther off, the print went wrong."""
    low, high = CHECK_LINE_MM
    return isinstance(value, int | float) and low <= value <= high


def _place() -> Path:
    chosen = os.environ.get("BLUECURL_HOME")
    if chosen:
        return Path(chosen)
    return Path(platformdirs.user_data_dir("bluecurl", appauthor=False))


def home() -> Path:
    """Return the data folder; it is made when first asked for."""
    folder = _place()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise LogbookFull(f"{folder}: {error.strerror}") from error
    return folder


def data_file(name: str) -> Path:
    """Return where a file of the data folder lies or would lie; looking makes no folder."""
    return _place() / name


def load_settings() -> Settings:
    """Return the stored settings, or the usual ones where none are stored.

    Keys of later versions are left alone.

    Raises
    ------
    SettingsInvalid
        If the file is damaged or a value is impossible.
    """
    path = data_file(FILE_NAME)
    if not path.exists():
        return Settings()
    try:
        stored: Any = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise SettingsInvalid(str(error)) from error
    if not isinstance(stored, dict):
        raise SettingsInvalid("it does not hold named values")
    known = {
        field.name: stored[field.name] for field in fields(Settings) if field.name in stored
    }
    if "units" in known:
        try:
            known["units"] = Units(known["units"])
        except ValueError as error:
            raise SettingsInvalid(f"“units” is {known['units']!r}") from error
    return Settings(**known)


def save_settings(settings: Settings) -> None:
    """Write the settings; a crash half-way leaves the old file whole."""
    path = home() / FILE_NAME
    beside = path.with_suffix(".tmp")
    try:
        beside.write_text(json.dumps(asdict(settings), indent=1), encoding="utf-8")
        beside.replace(path)
    except OSError as error:
        raise LogbookFull(f"{path}: {error.strerror}") from error


def update_settings(**changes: Any) -> Settings:  # noqa: ANN401
    """Change some settings, store them and return the result."""
    settings = replace(load_settings(), **changes)
    save_settings(settings)
    return settings
