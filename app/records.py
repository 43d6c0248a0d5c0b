"""Rows of the logbook as the rest of the program sees them; the database stays inside.

``work``, ``edge``, ``lathe``, ``cut`` and the fields of ``told`` are spelt as in the
``bluecurl.case/1`` schema, so that a case is put together without renaming anything.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from datetime import datetime

__all__ = ["EventRow", "JobRow", "PassRow", "PhotoRow"]

Json = dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoRow:
    """A stored photo; its file is named after ``sha256``.

    ``neutral_px`` is where a person said that something grey or white lies, (x, y) in pixels
    of the upright photo.
    """

    sha256: str
    name: str
    suffix: str
    bytes_count: int
    added_at_utc: datetime
    neutral_px: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class JobRow:
    """One job: the bar, the edge and the lathe it is turned on."""

    id: int
    name: str
    work: Json
    edge: Json
    lathe: Json
    made_at_utc: datetime
    deleted_at_utc: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PassRow:
    """One pass of a job: what was set, what was seen, what was advised, what was done.

    ``told`` holds what the person said about it (``measured_mm``, ``noticed``,
    ``edge_looked_at`` …); ``label`` is the form a person gave where the reader was not
    sure. ``followed`` is ``None`` while the pass is still on the page. ``reading`` is made
    of all the photos together; ``neutrals_px`` has the ``PhotoRow.neutral_px`` of each.
    """

    id: int
    job_id: int
    number: int
    cut: Json
    told: Json = field(default_factory=dict)
    photo_sha256s: tuple[str, ...] = ()
    neutrals_px: tuple[tuple[int, int] | None, ...] = ()
    reading: Json | None = None
    advice: Json | None = None
    label: str | None = None
    versions: Json = field(default_factory=dict)
    followed: bool | None = None
    outcome: str | None = None
    made_at_utc: datetime
    deleted_at_utc: datetime | None = None

    @property
    def photo_sha256(self) -> str | None:
        """The first photo, where there is one."""
        return self.photo_sha256s[0] if self.photo_sha256s else None


@dataclass(frozen=True, slots=True, kw_only=True)
class EventRow:
    """One change of one row, kept so that it can be taken back."""

    id: int
    at_utc: datetime
    what: str
    table: str
    row_id: int
    before: Json | None
    after: Json | None
    undone: bool
