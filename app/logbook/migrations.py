"""From an older layout of the logbook to the present one, after a copy was put beside it.

Each step is SQL as it was when the step was written: the tables of ``models`` move on, an
old file does not. A step runs whole or not at all. SQLite cannot drop a column that a
foreign key names, so such a table is written anew under its own name.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["migrate"]

#: Step n leads from layout n to layout n + 1.
_STEPS: Final[dict[int, tuple[str, ...]]] = {
    # A pass may have several photos: they get a table of their own.
    1: (
        "ALTER TABLE pass RENAME TO pass_1",
        "DROP INDEX ix_pass_photo",
        """CREATE TABLE pass (
            id INTEGER NOT NULL,
            job_id INTEGER NOT NULL,
            number INTEGER NOT NULL,
            cut JSON NOT NULL,
            told JSON NOT NULL,
            reading JSON,
            advice JSON,
            label VARCHAR,
            versions JSON NOT NULL,
            followed BOOLEAN,
            outcome VARCHAR,
            made_at_utc DATETIME NOT NULL,
            deleted_at_utc DATETIME,
            PRIMARY KEY (id),
            UNIQUE (job_id, number),
            FOREIGN KEY(job_id) REFERENCES job (id)
        )""",
        """INSERT INTO pass SELECT id, job_id, number, cut, told, reading, advice, label,
            versions, followed, outcome, made_at_utc, deleted_at_utc FROM pass_1""",
        """CREATE TABLE pass_photo (
            pass_id INTEGER NOT NULL,
            place INTEGER NOT NULL,
            photo_sha256 VARCHAR(64) NOT NULL,
            PRIMARY KEY (pass_id, place),
            UNIQUE (pass_id, photo_sha256),
            FOREIGN KEY(pass_id) REFERENCES pass (id),
            FOREIGN KEY(photo_sha256) REFERENCES photo (sha256)
        )""",
        "CREATE INDEX ix_pass_photo_sha256 ON pass_photo (photo_sha256)",
        """INSERT INTO pass_photo SELECT id, 0, photo_sha256 FROM pass_1
            WHERE photo_sha256 IS NOT NULL""",
        "DROP TABLE pass_1",
    ),
    # A person may point at something grey in a photo.
    2: (
        "ALTER TABLE photo ADD COLUMN neutral_x_px INTEGER",
        "ALTER TABLE photo ADD COLUMN neutral_y_px INTEGER",
    ),
}
_OLDEST: Final = min(_STEPS)


def migrate(path: Path, *, to: int, timeout_s: float) -> Path | None:
    """Bring a logbook file to a later layout.

    Parameters
    ----------
    path : Path
        The database; its ``PRAGMA user_version`` says its layout.
    to : int
        The layout wanted.
    timeout_s : float, s
        How long to wait for a program that holds the file.

    Returns
    -------
    Path or None
        The copy of the file as it was, beside it; ``None`` if nothing had to be done,
        also where another program did it meanwhile.

    Raises
    ------
    sqlite3.Error
        The file is then as it was.
    """
    with closing(sqlite3.connect(path, timeout=timeout_s, isolation_level=None)) as book:
        layout = _layout(book)
        if not _OLDEST <= layout < to:
            return None
        kept = _free_name(path, layout)
        with closing(sqlite3.connect(kept)) as copy:
            book.backup(copy)
        book.execute("PRAGMA foreign_keys = OFF")
        book.execute("BEGIN IMMEDIATE")
        try:
            for step in range(_layout(book), to):  # asked again: nobody else writes now
                for statement in _STEPS[step]:
                    book.execute(statement)
            _check_keys(book)
            book.execute(f"PRAGMA user_version = {to:d}")
        except BaseException:
            book.execute("ROLLBACK")
            raise
        book.execute("COMMIT")
        return kept


def _check_keys(book: sqlite3.Connection) -> None:
    broken = book.execute("PRAGMA foreign_key_check").fetchone()
    if broken is not None:
        raise sqlite3.IntegrityError(f"a row of {broken[0]} names one that is gone")


def _free_name(path: Path, layout: int) -> Path:
    """Return a name for the copy that no earlier copy has."""
    names = (f"{path.stem}-layout-{layout}{n}{path.suffix}" for n in ("", *range(-2, -100, -1)))
    return next(p for p in (path.with_name(name) for name in names) if not p.exists())


def _layout(book: sqlite3.Connection) -> int:
    return int(book.execute("PRAGMA user_version").fetchone()[0])
