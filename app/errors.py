"""What can go wrong outside the two cores, and which exit code each error has.

AppError
    UsageInvalid         the command was put together wrongly
    PhotoNotFound        no such file or folder, or a folder without photos
    SettingsInvalid      the settings file cannot be read
    LogbookError
        LogbookBusy      another program holds the logbook
        LogbookDamaged   the file is no logbook, or it is damaged
        LogbookTooNew    written by a later version of this program
        LogbookFull      the disk is full or read-only
        LogbookNoRow     no such job or pass
        BackupInvalid    the safety copy cannot be restored

Errors of the cores carry a ``code`` as well; sentences for all of them stand in
``app.wording``, by code.
"""

from __future__ import annotations

from typing import ClassVar

__all__ = [
    "EXIT_CODES",
    "AppError",
    "BackupInvalid",
    "LogbookBusy",
    "LogbookDamaged",
    "LogbookError",
    "LogbookFull",
    "LogbookNoRow",
    "LogbookTooNew",
    "PhotoNotFound",
    "SettingsInvalid",
    "UsageInvalid",
    "code_of",
    "exit_code_of",
]

UNEXPECTED = "unexpected"

#: Exit code of the command line for each error code; everything else is 1.
EXIT_CODES: dict[str, int] = {
    "usage-invalid": 2,
    "settings-invalid": 2,
    "case-invalid": 2,
    "photo-unreadable": 3,
    "photo-too-large": 3,
    "photo-not-found": 3,
    "card-not-found": 4,
    "card-mismatch": 4,
    "no-chips": 5,
    "outside-tables": 6,
    "limit-exceeded": 7,
    "logbook-busy": 8,
    "logbook-damaged": 8,
    "logbook-too-new": 8,
    "logbook-full": 8,
    "logbook-no-row": 8,
    "logbook-backup-invalid": 8,
}


class AppError(Exception):
    """Base of all errors of this package; ``code`` is stable, ``detail`` says which thing."""

    code: ClassVar[str] = UNEXPECTED

    def __init__(self, detail: str = "") -> None:
        super().__init__(detail)
        self.detail = detail


class UsageInvalid(AppError):  # noqa: N818
    """Options that do not go together."""

    code = "usage-invalid"


class PhotoNotFound(AppError):  # noqa: N818
    """No photo at this place."""

    code = "photo-not-found"


class SettingsInvalid(AppError):  # noqa: N818
    """The settings file is damaged or holds an impossible value."""

    code = "settings-invalid"


class LogbookError(AppError):
    """Base of everything about the logbook."""

    code = "logbook-damaged"


class LogbookBusy(LogbookError):  # noqa: N818
    """Another program has held the logbook for longer than we wait."""

    code = "logbook-busy"


class LogbookDamaged(LogbookError):  # noqa: N818
    """The file is not a logbook, or its integrity check fails."""

    code = "logbook-damaged"


class LogbookTooNew(LogbookError):  # noqa: N818
    """The logbook was written by a later version."""

    code = "logbook-too-new"


class LogbookFull(LogbookError):  # noqa: N818
    """The disk is full, or the folder cannot be written to."""

    code = "logbook-full"


class LogbookNoRow(LogbookError):  # noqa: N818
    """No such job, pass or photo."""

    code = "logbook-no-row"


class BackupInvalid(LogbookError):  # noqa: N818
    """The file is not one of our safety copies, or it is damaged."""

    code = "logbook-backup-invalid"


def code_of(error: BaseException) -> str:
    """Return the stable code of an error of any layer; ``"unexpected"`` for strangers."""
    code = getattr(error, "code", None)
    return code if isinstance(code, str) else UNEXPECTED


def exit_code_of(code: str) -> int:
    """Return the exit code of the command line for an error code.

    Codes starting with ``logbook-`` are 8 even when they are new; unknown codes are 1.
    """
    if code in EXIT_CODES:
        return EXIT_CODES[code]
    return 8 if code.startswith("logbook-") else 1
