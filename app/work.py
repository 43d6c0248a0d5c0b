"""What the page does with a photo and a pass: read, keep, advise. Draws nothing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from app import engine
from app.health import version_text
from app.intake import read_file
from app.settings import load_settings
from app.show import Units
from app.translate import case_of, metal_of, next_cut, next_told, with_reading

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from app.demo import Demo
    from app.intake import Incoming
    from app.logbook.store import Logbook
    from app.records import JobRow, PassRow

__all__ = [
    "Seen",
    "advise_pass",
    "coming_pass",
    "keep_reading",
    "read_demo",
    "read_upload",
]

Json = dict[str, Any]
#: Wide enough for a desktop; on a phone the tags stay readable at a quarter of it.
_PICTURE_SIDE_PX = 1400


@dataclass(frozen=True, slots=True)
class Seen:
    """A reading with the picture that goes with it."""

    reading: Json
    picture: bytes | None


def read_upload(
    photo: Incoming, job: JobRow, *, progress: Callable[[str, float], None] | None = None
) -> Seen:
    """Read a photo of a job's pass; errors are those of the reader."""
    return _see(photo, job.work.get("material"), progress)


def read_demo(demo: Demo, units: Units) -> tuple[Seen, Json]:
    """Read a demo photo and advise on its invented cut, in words of ``units``."""
    case = demo.case()
    seen = _see(read_file(demo.photo), metal_of(case), None)
    return seen, engine.advise_case(with_reading(case, seen.reading), units)


def _see(
    photo: Incoming, metal: str | None, progress: Callable[[str, float], None] | None
) -> Seen:
    read = engine.read_bytes(
        photo.data,
        photo.name,
        check_line_mm=load_settings().check_line_mm,
        metal=metal,
        progress=progress,
    )
    drawn = engine.picture(photo.data, read, max_side_px=_PICTURE_SIDE_PX, focus=True)
    return Seen(read.json, drawn)


def keep_reading(book: Logbook, row: PassRow, seen: Seen) -> PassRow:
    """Put a reading and its picture into a pass, with the versions that made it."""
    if seen.picture is not None and row.photo_sha256 is not None:
        book.keep_picture(row.photo_sha256, seen.picture)
    versions = {**seen.reading.get("versions", {}), "program": version_text()}
    return book.fill_pass(row.id, reading=seen.reading, versions=versions)


def advise_pass(job: JobRow, rows: Sequence[PassRow], units: Units = Units.METRIC) -> Json:
    """Return the advice for a job after these passes, oldest first, in words of ``units``."""
    return engine.advise_case(case_of(job, rows), units)


def coming_pass(job: JobRow, rows: Sequence[PassRow]) -> tuple[Json, Json]:
    """Return ``cut`` and ``told`` that the next pass starts from, as far as they are known."""
    if rows:
        return next_cut(rows[-1]), next_told(job, rows[-1])
    try:
        advised = advise_pass(job, []).get("next_cut") or {}
    except Exception:  # noqa: BLE001 - told beside the advice; the fields stay usable
        advised = {}
    return {
        "direction": job.work.get("direction") or "along",
        **{k: v for k, v in advised.items() if k != "diameter_mm"},
    }, {}
