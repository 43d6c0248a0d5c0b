"""The logbook: the only module that opens a database session.

One short session for each operation, so that several pages and a command line can use
the same file. Rows are never lost on the way: deleting marks them, and every decision
is kept as an event that can be taken back.
"""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from sqlalchemy import Engine, create_engine, event, func, inspect, select
from sqlalchemy.exc import DatabaseError, IntegrityError, OperationalError
from sqlalchemy.orm import Session, sessionmaker

from app.errors import (
    LogbookBusy,
    LogbookDamaged,
    LogbookError,
    LogbookFull,
    LogbookNoRow,
    LogbookTooNew,
)
from app.logbook.migrations import migrate
from app.logbook.models import SCHEMA_VERSION, Base, Event, Job, Pass, PassPhoto, Photo
from app.records import EventRow, JobRow, PassRow, PhotoRow

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from app.intake import Incoming

__all__ = ["DATABASE_NAME", "Logbook"]

DATABASE_NAME = "logbook.sqlite3"
PHOTO_FOLDER = "photos"
PICTURE_FOLDER = "pictures"
BUSY_TIMEOUT_S = 5.0

Json = dict[str, Any]
RowT = TypeVar("RowT", bound=Base)
_TABLES: dict[str, type[Job | Pass]] = {"job": Job, "pass": Pass}


def _utc_now() -> datetime:
    return datetime.now(UTC)


class Logbook:
    """Jobs, passes and photos in one folder.

    Parameters
    ----------
    folder : Path
        Data folder; made where it is missing.
    now : callable
        Clock, for tests.

    Raises
    ------
    LogbookTooNew, LogbookDamaged, LogbookBusy, LogbookFull
        If the file cannot be opened.
    """

    def __init__(self, folder: Path, *, now: Callable[[], datetime] = _utc_now) -> None:
        self.folder = folder
        self._now = now
        self._engine = _engine(folder / DATABASE_NAME)
        self._sessions = sessionmaker(self._engine, expire_on_commit=False)
        with _plain_errors():
            folder.mkdir(parents=True, exist_ok=True)
            self._prepare()

    def _prepare(self) -> None:
        """Make the tables of a new file, renew those of an old one, refuse a later one."""
        path = self.folder / DATABASE_NAME
        if path.exists():
            migrate(path, to=SCHEMA_VERSION, timeout_s=BUSY_TIMEOUT_S)
        with self._engine.begin() as connection:
            version = connection.exec_driver_sql("PRAGMA user_version").scalar_one()
            if version > SCHEMA_VERSION:
                raise LogbookTooNew(f"layout {version}, this version knows {SCHEMA_VERSION}")
            if version == SCHEMA_VERSION:
                return
            if inspect(connection).get_table_names():
                raise LogbookDamaged("it has tables but no layout number")
            Base.metadata.create_all(connection)
            connection.exec_driver_sql(f"PRAGMA user_version = {SCHEMA_VERSION}")

    def close(self) -> None:
        """Let go of the file."""
        self._engine.dispose()

    @contextmanager
    def _session(self) -> Iterator[Session]:
        with _plain_errors(), self._sessions.begin() as session:
            yield session

    # jobs -------------------------------------------------------------------------

    def add_job(self, name: str, *, work: Json, edge: Json, lathe: Json) -> JobRow:
        """Start a job and return it."""
        with self._session() as session:
            job = Job(name=name, work=work, edge=edge, lathe=lathe, made_at_utc=self._now())
            session.add(job)
            session.flush()
            self._note(session, "job started", job, before=None, after={"name": name})
            return _job_row(job)

    def job(self, job_id: int) -> JobRow:
        """Return one job, deleted or not."""
        with self._session() as session:
            return _job_row(_get(session, Job, job_id))

    def jobs(self, *, with_deleted: bool = False) -> list[JobRow]:
        """Return all jobs, newest first."""
        query = select(Job).order_by(Job.id.desc())
        if not with_deleted:
            query = query.where(Job.deleted_at_utc.is_(None))
        with self._session() as session:
            return [_job_row(job) for job in session.scalars(query)]

    def change_job(self, job_id: int, what: str, **changes: Any) -> JobRow:  # noqa: ANN401
        """Set columns of a job; the change can be taken back."""
        with self._session() as session:
            job = _get(session, Job, job_id)
            self._change(session, job, what, changes)
            return _job_row(job)

    # passes -----------------------------------------------------------------------

    def add_pass(self, job_id: int, *, cut: Json, **columns: Any) -> PassRow:  # noqa: ANN401
        """Append a pass to a job and return it with its number.

        ``photo_sha256s`` are photos that were kept before, in their order.
        """
        highest = select(func.coalesce(func.max(Pass.number), 0) + 1).where(
            Pass.job_id == job_id
        )
        photos = columns.pop("photo_sha256s", ())
        with self._session() as session:
            row = Pass(
                **{"told": {}, "versions": {}, **columns},
                photos=_pass_photos(photos),
                job_id=job_id,
                number=highest.scalar_subquery(),
                cut=cut,
                made_at_utc=self._now(),
            )
            session.add(row)
            session.flush()
            session.refresh(row)
            self._note(session, "pass kept", row, before=None, after={"number": row.number})
            return _pass_row(row)

    def one_pass(self, pass_id: int) -> PassRow:
        """Return one pass, deleted or not."""
        with self._session() as session:
            return _pass_row(_get(session, Pass, pass_id))

    def passes(self, job_id: int | None = None, *, with_deleted: bool = False) -> list[PassRow]:
        """Return the passes of one job, or of all jobs, in the order they were made."""
        query = select(Pass).order_by(Pass.job_id, Pass.number)
        if job_id is not None:
            query = query.where(Pass.job_id == job_id)
        if not with_deleted:
            query = query.join(Job).where(
                Pass.deleted_at_utc.is_(None), Job.deleted_at_utc.is_(None)
            )
        with self._session() as session:
            return [_pass_row(row) for row in session.scalars(query)]

    def fill_pass(self, pass_id: int, **columns: Any) -> PassRow:  # noqa: ANN401
        """Complete a pass that is still on the page; not a decision, so not an event."""
        with self._session() as session:
            row = _get(session, Pass, pass_id)
            if "photo_sha256s" in columns:
                row.photos.clear()
                session.flush()  # or a photo that stays would be there twice for a moment
                row.photos = _pass_photos(columns.pop("photo_sha256s"))
            for name, value in columns.items():
                setattr(row, name, value)
            session.flush()
            return _pass_row(row)

    def change_pass(self, pass_id: int, what: str, **changes: Any) -> PassRow:  # noqa: ANN401
        """Set columns of a pass; the change can be taken back."""
        with self._session() as session:
            row = _get(session, Pass, pass_id)
            self._change(session, row, what, changes)
            return _pass_row(row)

    def delete(self, table: str, row_id: int) -> None:
        """Mark a job or a pass as deleted; ``undo`` brings it back."""
        with self._session() as session:
            row = _get(session, _TABLES[table], row_id)
            self._change(session, row, f"{table} deleted", {"deleted_at_utc": self._now()})

    # undo -------------------------------------------------------------------------

    def events(self, limit: int = 50) -> list[EventRow]:
        """Return the latest changes, newest first."""
        with self._session() as session:
            query = select(Event).order_by(Event.id.desc()).limit(limit)
            return [_event_row(row) for row in session.scalars(query)]

    def undo(self) -> EventRow | None:
        """Take back the latest change that still stands; ``None`` when there is none.

        Taking back a new job or pass marks it as deleted.
        """
        with self._session() as session:
            query = (
                select(Event).where(Event.undone.is_(False)).order_by(Event.id.desc()).limit(1)
            )
            latest = session.scalars(query).first()
            if latest is None:
                return None
            row = _get(session, _TABLES[latest.table], latest.row_id)
            if latest.before is None:
                row.deleted_at_utc = self._now()
            else:
                for name, value in latest.before.items():
                    setattr(row, name, _from_json(name, value))
            latest.undone = True
            session.flush()
            return _event_row(latest)

    def _change(self, session: Session, row: Job | Pass, what: str, changes: Json) -> None:
        before = {name: getattr(row, name) for name in changes}
        for name, value in changes.items():
            setattr(row, name, value)
        session.flush()
        self._note(session, what, row, before=before, after=changes)

    def _note(
        self, session: Session, what: str, row: Job | Pass, *, before: Json | None, after: Json
    ) -> None:
        session.add(
            Event(
                at_utc=self._now(),
                what=what,
                table=row.__tablename__,
                row_id=row.id,
                before=None if before is None else _to_json(before),
                after=_to_json(after),
                undone=False,
            )
        )

    # photos -----------------------------------------------------------------------

    def keep_photo(self, photo: Incoming) -> PhotoRow:
        """Store a photo under its SHA-256; the same photo again costs nothing."""
        suffix = Path(photo.name).suffix.lower() or ".jpg"
        with self._session() as session:
            row = session.get(Photo, photo.sha256)
            if row is None:
                row = Photo(
                    sha256=photo.sha256,
                    name=photo.name,
                    suffix=suffix,
                    bytes_count=len(photo.data),
                    added_at_utc=self._now(),
                )
                session.add(row)
            path = self._file(PHOTO_FOLDER, photo.sha256 + row.suffix)
            if not path.exists():
                _write_whole(path, photo.data)
            return _photo_row(row)

    def photo(self, sha256: str) -> tuple[PhotoRow, bytes]:
        """Return a stored photo and its bytes."""
        with self._session() as session:
            row = session.get(Photo, sha256)
            if row is None:
                raise LogbookNoRow(f"no photo {sha256[:12]}")
            path = self._file(PHOTO_FOLDER, sha256 + row.suffix)
            if not path.exists():
                raise LogbookNoRow(f"the file of photo {row.name} is gone")
            return _photo_row(row), path.read_bytes()

    def keep_neutral(self, sha256: str, at_px: tuple[int, int] | None) -> None:
        """Store where in a kept photo something grey lies, or that nobody says so any more."""
        with self._session() as session:
            row = _get(session, Photo, sha256)
            row.neutral_x_px, row.neutral_y_px = at_px or (None, None)

    def keep_picture(self, sha256: str, jpeg: bytes) -> None:
        """Store the photo with outlines drawn in, as it was shown."""
        _write_whole(self._file(PICTURE_FOLDER, sha256 + ".jpg"), jpeg)

    def picture(self, sha256: str) -> bytes | None:
        """Return the photo with outlines as it was shown, if it was kept."""
        path = self._file(PICTURE_FOLDER, sha256 + ".jpg")
        return path.read_bytes() if path.exists() else None

    def _file(self, folder: str, name: str) -> Path:
        return self.folder / folder / name


def _engine(path: Path) -> Engine:
    engine = create_engine(f"sqlite:///{path}", connect_args={"timeout": BUSY_TIMEOUT_S})

    @event.listens_for(engine, "connect")
    def _on_connect(connection: sqlite3.Connection, _record: object) -> None:
        for pragma in ("foreign_keys = ON", "journal_mode = WAL", "synchronous = FULL"):
            connection.execute(f"PRAGMA {pragma}")

    return engine


@contextmanager
def _plain_errors() -> Iterator[None]:
    """Turn errors of the database and the disk into ours."""
    try:
        yield
    except LogbookError:
        raise
    except IntegrityError as error:
        raise LogbookNoRow(str(error.orig)) from error
    except OperationalError as error:
        raise _own_error(str(error.orig)) from error
    except DatabaseError as error:
        raise LogbookDamaged(str(error.orig)) from error
    except sqlite3.Error as error:
        raise _own_error(str(error)) from error
    except OSError as error:
        raise LogbookFull(f"{error.strerror or error}") from error


def _own_error(text: str) -> LogbookError:
    """Return our error for what the database says of itself."""
    if "locked" in text or "busy" in text:
        return LogbookBusy(text)
    if "full" in text or "readonly" in text or "unable to open" in text:
        return LogbookFull(text)
    return LogbookDamaged(text)


def _pass_photos(sha256s: Sequence[str]) -> list[PassPhoto]:
    return [PassPhoto(place=place, photo_sha256=sha) for place, sha in enumerate(sha256s)]


def _write_whole(path: Path, data: bytes) -> None:
    """Write a file so that a crash leaves either nothing or all of it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(path.name + ".part")
    beside.write_bytes(data)
    shutil.move(beside, path)


def _get(session: Session, table: type[RowT], row_id: int | str) -> RowT:
    row = session.get(table, row_id)
    if row is None:
        raise LogbookNoRow(f"no {table.__tablename__} {row_id}")
    return row


def _to_json(values: Json) -> Json:
    return {k: v.isoformat() if isinstance(v, datetime) else v for k, v in values.items()}


def _from_json(name: str, value: Any) -> Any:  # noqa: ANN401
    if name.endswith("_utc") and isinstance(value, str):
        return datetime.fromisoformat(value)
    return value


def _job_row(row: Job) -> JobRow:
    return JobRow(**{name: getattr(row, name) for name in JobRow.__dataclass_fields__})


def _pass_row(row: Pass) -> PassRow:
    return PassRow(**{name: getattr(row, name) for name in PassRow.__dataclass_fields__})


def _photo_row(row: Photo) -> PhotoRow:
    return PhotoRow(**{name: getattr(row, name) for name in PhotoRow.__dataclass_fields__})


def _event_row(row: Event) -> EventRow:
    return EventRow(**{name: getattr(row, name) for name in EventRow.__dataclass_fields__})
