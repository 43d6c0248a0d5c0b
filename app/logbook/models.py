"""Tables of the logbook. Nothing outside ``app.logbook`` sees these classes."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    JSON,
    DateTime,
    Dialect,
    ForeignKey,
    Index,
    String,
    TypeDecorator,
    UniqueConstraint,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, relationship

__all__ = [
    "SCHEMA_VERSION",
    "Base",
    "Event",
    "Job",
    "Pass",
    "PassPhoto",
    "Photo",
    "UtcDateTime",
]

#: Kept in ``PRAGMA user_version``; raise it with every change of a table, and write a
#: step in ``migrations``.
SCHEMA_VERSION = 3

Json = dict[str, Any]


class UtcDateTime(TypeDecorator[datetime]):
    """Aware UTC times; SQLite drops the zone on the way back, so it is put on again."""

    impl = DateTime
    cache_ok = True

    # The marker for overriding methods comes with Python 3.12; hence the two ignores.
    def process_bind_param(  # type: ignore[explicit-override]
        self, value: datetime | None, dialect: Dialect
    ) -> datetime | None:
        """Refuse a naive time, because nobody could say later what it meant."""
        del dialect
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a time in the logbook needs a zone")
        return value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(  # type: ignore[explicit-override]
        self, value: datetime | None, dialect: Dialect
    ) -> datetime | None:
        """Put the zone on again."""
        del dialect
        return None if value is None else value.replace(tzinfo=UTC)


class Base(DeclarativeBase):
    """Common ground of all tables."""

    type_annotation_map = {datetime: UtcDateTime, Json: JSON(none_as_null=True)}  # noqa: RUF012


class Photo(Base):
    """A photo, once per content."""

    __tablename__ = "photo"

    sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    name: Mapped[str]
    suffix: Mapped[str]
    bytes_count: Mapped[int]
    added_at_utc: Mapped[datetime]
    neutral_x_px: Mapped[int | None]
    neutral_y_px: Mapped[int | None]

    @property
    def neutral_px(self) -> tuple[int, int] | None:
        """Where a person said that something grey lies, in the upright photo."""
        if self.neutral_x_px is None or self.neutral_y_px is None:
            return None
        return self.neutral_x_px, self.neutral_y_px


class Job(Base):
    """The bar, the edge and the lathe."""

    __tablename__ = "job"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str]
    work: Mapped[Json]
    edge: Mapped[Json]
    lathe: Mapped[Json]
    made_at_utc: Mapped[datetime]
    deleted_at_utc: Mapped[datetime | None]


class Pass(Base):
    """One pass inside a job."""

    __tablename__ = "pass"
    __table_args__ = (UniqueConstraint("job_id", "number"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    job_id: Mapped[int] = mapped_column(ForeignKey("job.id"))
    number: Mapped[int]
    cut: Mapped[Json]
    told: Mapped[Json]
    reading: Mapped[Json | None]
    advice: Mapped[Json | None]
    label: Mapped[str | None]
    versions: Mapped[Json]
    followed: Mapped[bool | None]
    outcome: Mapped[str | None]
    made_at_utc: Mapped[datetime]
    deleted_at_utc: Mapped[datetime | None]
    photos: Mapped[list[PassPhoto]] = relationship(
        order_by="PassPhoto.place", cascade="all, delete-orphan", lazy="selectin"
    )

    @property
    def photo_sha256s(self) -> tuple[str, ...]:
        """The photos of the pass, in the order they came."""
        return tuple(photo.photo_sha256 for photo in self.photos)

    @property
    def neutrals_px(self) -> tuple[tuple[int, int] | None, ...]:
        """Where something grey lies in each of them."""
        return tuple(one.photo.neutral_px for one in self.photos)


class PassPhoto(Base):
    """One of the photos of a pass."""

    __tablename__ = "pass_photo"
    __table_args__ = (
        UniqueConstraint("pass_id", "photo_sha256"),
        Index("ix_pass_photo_sha256", "photo_sha256"),
    )

    pass_id: Mapped[int] = mapped_column(ForeignKey("pass.id"), primary_key=True)
    place: Mapped[int] = mapped_column(primary_key=True)
    photo_sha256: Mapped[str] = mapped_column(ForeignKey("photo.sha256"))
    photo: Mapped[Photo] = relationship(lazy="joined")


class Event(Base):
    """One change, with the row before and after it."""

    __tablename__ = "event"

    id: Mapped[int] = mapped_column(primary_key=True)
    at_utc: Mapped[datetime]
    what: Mapped[str]
    table: Mapped[str]
    row_id: Mapped[int]
    before: Mapped[Json | None]
    after: Mapped[Json | None]
    undone: Mapped[bool]
