"""What the page does with the photos of a pass: read, keep, advise. Draws nothing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from app import engine
from app.health import version_text
from app.intake import Incoming, read_file
from app.settings import load_settings
from app.show import Units
from app.translate import case_of, metal_of, next_cut, next_told, with_reading

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from app.demo import Demo
    from app.logbook.store import Logbook
    from app.records import JobRow, PassRow

__all__ = [
    "Seen",
    "advise_pass",
    "coming_pass",
    "keep_reading",
    "photo_key",
    "read_demo",
    "read_upload",
    "see_together",
    "stored_photo",
    "stored_pictures",
]

Json = dict[str, Any]
#: Wide enough for a desktop; on a phone the tags stay readable at a quarter of it.
_PICTURE_SIDE_PX = 1400


@dataclass(frozen=True, slots=True)
class Seen:
    """A reading with the pictures that go with it, one for each photo."""

    reading: Json
    pictures: tuple[bytes, ...]


def photo_key(photo: Incoming, metal: str | None) -> str:
    """Return what a reading of one photo hangs on; the same key, the same reading."""
    return f"{photo.sha256} {metal} {load_settings().check_line_mm:g} {photo.neutral_px}"


def read_upload(
    photo: Incoming, metal: str | None, *, progress: Callable[[str, float], None] | None = None
) -> engine.ReadPhoto:
    """Read one photo; errors are those of the reader."""
    return engine.read_bytes(
        photo.data,
        photo.name,
        check_line_mm=load_settings().check_line_mm,
        neutral_px=photo.neutral_px,
        metal=metal,
        progress=progress,
    )


def see_together(photos: Sequence[Incoming], readings: Sequence[engine.ReadPhoto]) -> Seen:
    """Make one reading of the photos of a pass, and draw each with the numbers of the whole.

    Raises
    ------
    ValueError
        For no readings.
    """
    whole = engine.combine(readings)
    parts = engine.own_parts(whole, readings) if len(readings) > 1 else readings
    drawn = [
        engine.picture(photo.data, part, max_side_px=_PICTURE_SIDE_PX, focus=True)
        for photo, part in zip(photos, parts, strict=True)
    ]
    return Seen(whole.json, tuple(drawn))


def read_demo(demo: Demo, units: Units) -> tuple[Seen, Json]:
    """Read a demo photo and advise on its invented cut, in words of ``units``."""
    case = demo.case()
    photo = read_file(demo.photo)
    seen = see_together([photo], [read_upload(photo, metal_of(case))])
    return seen, engine.advise_case(with_reading(case, seen.reading), units)


def stored_photo(book: Logbook, sha256: str) -> Incoming:
    """Return a photo of the logbook as it came in, with the grey that was pointed at in it."""
    stored, data = book.photo(sha256)
    return Incoming(
        name=stored.name, data=data, sha256=stored.sha256, neutral_px=stored.neutral_px
    )


def stored_pictures(book: Logbook, row: PassRow) -> list[bytes | None]:
    """Return the pictures of a pass, outlines drawn in; ``None`` for one that was not kept."""
    return [book.picture(sha256) for sha256 in row.photo_sha256s]


def keep_reading(book: Logbook, row: PassRow, seen: Seen) -> PassRow:
    """Put a reading and its pictures into a pass, with the versions that made it."""
    for sha256, picture in zip(row.photo_sha256s, seen.pictures, strict=True):
        book.keep_picture(sha256, picture)
    versions = {**seen.reading.get("versions", {}), "program": version_text()}
    return book.fill_pass(row.id, reading=seen.reading, versions=versions)


def advise_pass(job: JobRow, rows: Sequence[PassRow], units: Units = Units.METRIC) -> Json:
    """Return the advice for a job after these passes, oldest first, in words of ``units``.

    Its ``gauges`` go by the reading also where a person named the form: an eye gives no width.
    """
    advice = engine.advise_case(case_of(job, rows), units)
    return {**advice, "gauges": engine.gauges(case_of(job, rows, by_eye=False))}


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
