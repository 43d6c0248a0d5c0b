"""Safety copies: one zip with the logbook, the photos and the settings.

The database is copied while it is open (SQLite's online backup), so a copy made during
a session is whole. Restoring checks the copy first and keeps what was there before.
"""

from __future__ import annotations

import json
import shutil
import sqlite3
import tempfile
import zipfile
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

from app.errors import BackupInvalid, LogbookFull
from app.logbook.models import SCHEMA_VERSION
from app.logbook.store import DATABASE_NAME, PHOTO_FOLDER, PICTURE_FOLDER, Logbook

__all__ = ["BACKUP_SCHEMA", "back_up", "restore"]

BACKUP_SCHEMA = "bluecurl.backup/1"
_MANIFEST = "backup.json"
_SETTINGS = "settings.json"
_FOLDERS = (PHOTO_FOLDER, PICTURE_FOLDER)


def back_up(folder: Path, target: Path) -> Path:
    """Write a safety copy of the data folder and return its path.

    Parameters
    ----------
    folder : Path
        Data folder.
    target : Path
        A file to write, or a folder that gets a file named after the time.

    Raises
    ------
    LogbookError
        If the logbook cannot be opened or the copy cannot be written.
    """
    Logbook(folder).close()  # makes an empty one where there is none, checks the layout
    if target.is_dir():
        target /= f"bluecurl-{datetime.now(UTC):%Y%m%d-%H%M%S}.zip"
    beside = target.with_name(target.name + ".part")
    try:
        with tempfile.TemporaryDirectory() as room, zipfile.ZipFile(beside, "w") as out:
            copy = Path(room) / DATABASE_NAME
            _copy_database(folder / DATABASE_NAME, copy)
            out.write(copy, DATABASE_NAME, zipfile.ZIP_DEFLATED)
            for path in _files(folder):
                out.write(path, path.relative_to(folder).as_posix(), zipfile.ZIP_STORED)
            manifest = {"schema": BACKUP_SCHEMA, "layout": SCHEMA_VERSION}
            out.writestr(_MANIFEST, json.dumps(manifest))
        beside.replace(target)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise LogbookFull(f"{target}: {error.strerror or error}") from error
    return target


def _copy_database(source: Path, target: Path) -> None:
    with closing(sqlite3.connect(source)) as old, closing(sqlite3.connect(target)) as new:
        old.backup(new)


def _files(folder: Path) -> list[Path]:
    found = [p for name in _FOLDERS for p in sorted((folder / name).glob("*")) if p.is_file()]
    settings = folder / _SETTINGS
    return [*found, settings] if settings.exists() else found


def restore(source: Path, folder: Path) -> Path | None:
    """Put a safety copy in place of the data folder's content.

    Returns
    -------
    Path or None
        Where the content it replaced was put, if there was any.

    Raises
    ------
    BackupInvalid
        If the copy is not ours or is damaged; nothing has been changed then.
    """
    with tempfile.TemporaryDirectory(dir=folder.parent) as room_name:
        room = Path(room_name)
        _unpack(source, room)
        _check_database(room / DATABASE_NAME)
        kept = _set_aside(folder)
        for path in room.iterdir():
            shutil.move(path, folder / path.name)
    return kept


def _unpack(source: Path, room: Path) -> None:
    """Unpack the names we know and nothing else, after the check sums were compared."""
    try:
        with zipfile.ZipFile(source) as packed:
            manifest = json.loads(packed.read(_MANIFEST))
            if not isinstance(manifest, dict) or manifest.get("schema") != BACKUP_SCHEMA:
                raise BackupInvalid("it was not made by this program")
            if packed.testzip() is not None:
                raise BackupInvalid("it is damaged")
            for name in packed.namelist():
                folder, _, file_name = name.rpartition("/")
                in_folder = folder in _FOLDERS and file_name == Path(file_name).name
                if in_folder or name in {DATABASE_NAME, _SETTINGS}:
                    packed.extract(name, room)
    except (OSError, KeyError, ValueError, zipfile.BadZipFile) as error:
        raise BackupInvalid(str(error)) from error


def _check_database(path: Path) -> None:
    if not path.exists():
        raise BackupInvalid("it holds no logbook")
    try:
        with closing(sqlite3.connect(path)) as connection:
            (verdict,) = connection.execute("PRAGMA integrity_check").fetchone()
            (version,) = connection.execute("PRAGMA user_version").fetchone()
    except sqlite3.DatabaseError as error:
        raise BackupInvalid(str(error)) from error
    if verdict != "ok":
        raise BackupInvalid(f"its logbook is damaged: {verdict}")
    if version > SCHEMA_VERSION:
        raise BackupInvalid("it was made by a later version")


def _set_aside(folder: Path) -> Path | None:
    """Move the present content out of the way, in one folder beside the rest."""
    names = [
        DATABASE_NAME,
        f"{DATABASE_NAME}-wal",
        f"{DATABASE_NAME}-shm",
        _SETTINGS,
        *_FOLDERS,
    ]
    present = [folder / name for name in names if (folder / name).exists()]
    if not present:
        return None
    kept = folder / f"before-restore-{datetime.now(UTC):%Y%m%d-%H%M%S-%f}"
    kept.mkdir()
    for path in present:
        shutil.move(path, kept / path.name)
    return kept
