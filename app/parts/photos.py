"""The photos of a pass: taking them in, reading them as one, taking one out again."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from app import session
from app.intake import from_upload
from app.parts.trouble import show_error
from app.work import keep_reading, photo_key, read_upload, see_together, stored_photo

if TYPE_CHECKING:
    from app.engine import ReadPhoto
    from app.intake import Incoming
    from app.logbook.store import Logbook
    from app.records import JobRow, PassRow

__all__ = ["ensure_read", "photo_input", "take_out"]

Json = dict[str, Any]
#: More photos of one pass tell nothing more, and each takes its time.
_MOST_PHOTOS = 10


def photo_input(
    words: str,
    book: Logbook,
    job: JobRow,
    row: PassRow | None,
    *,
    cut: Json,
    told: Json,
    instead: bool = False,
) -> None:
    """Show the photo input; what arrives is stored at once and read on the next run.

    Photos join those that the pass has, or take their place with ``instead``.
    """
    with st.container(key="main-photo"):
        uploads = st.file_uploader(
            words, type="image", accept_multiple_files=True, key=session.upload_key()
        )
    if not uploads:
        return
    session.clear_uploads()
    photos = [from_upload(upload.name, upload.getvalue()) for upload in uploads]
    new = _new_ones(book, list({photo.sha256: photo for photo in photos}.values()), row)
    have = list(row.photo_sha256s) if row is not None and not instead else []
    if len(have) + len(new) > _MOST_PHOTOS:
        session.say_later(f"Only {_MOST_PHOTOS} photos of one pass are read; the rest is left.")
        new = new[: max(0, _MOST_PHOTOS - len(have))]
    if not new:
        st.rerun()
    for photo in new:
        book.keep_photo(photo)
    together = [*have, *(photo.sha256 for photo in new)]
    if row is None:
        row = book.add_pass(job.id, cut=cut, told=told, photo_sha256s=together)
        session.show_pass(row)
    else:
        _read_anew(book, row, together)
    st.rerun()


def _new_ones(book: Logbook, photos: list[Incoming], row: PassRow | None) -> list[Incoming]:
    """Return the photos that belong to no pass yet; say where the others are."""
    owners = {sha: owner for owner in book.passes() for sha in owner.photo_sha256s}
    twin = next((owners[p.sha256] for p in photos if p.sha256 in owners), None)
    if twin is not None:
        where = "this pass" if row and twin.id == row.id else f"pass {twin.number}"
        session.say_later(
            f"This photo already belongs to {where}. Take a new one after each pass."
        )
    return [photo for photo in photos if photo.sha256 not in owners]


def _read_anew(book: Logbook, row: PassRow, sha256s: list[str]) -> PassRow:
    """Give a pass other photos; what was read and advised from the former ones goes."""
    return book.fill_pass(row.id, photo_sha256s=sha256s, reading=None, advice=None, label=None)


def take_out(book: Logbook, row: PassRow, place: int) -> None:
    """Let the photo at a place count no more; its file stays with the logbook."""
    _read_anew(book, row, [s for k, s in enumerate(row.photo_sha256s) if k != place])


def ensure_read(book: Logbook, job: JobRow, row: PassRow) -> PassRow:
    """Read the photos of a pass that has no reading yet: new ones, or one cut short.

    A photo that cannot be read is told and leaves the pass; the others go on.
    """
    if row.reading is not None or not row.photo_sha256s:
        return row
    several = len(row.photo_sha256s) > 1
    photos, readings = [], []
    for sha256 in row.photo_sha256s:
        try:
            photo = stored_photo(book, sha256)
        except Exception as error:  # noqa: BLE001 - the file is gone
            show_error(error)
            continue
        reading = _read(photo, job.work.get("material"), several=several)
        if reading is not None:
            photos.append(photo)
            readings.append(reading)
    if len(photos) < len(row.photo_sha256s):
        row = book.fill_pass(row.id, photo_sha256s=[photo.sha256 for photo in photos])
    return keep_reading(book, row, see_together(photos, readings)) if photos else row


def _read(photo: Incoming, metal: str | None, *, several: bool) -> ReadPhoto | None:
    """Read a photo with its stages on the page; an error is told and gives nothing."""
    place = st.empty()

    def tell(stage: str, share: float) -> None:
        place.progress(min(max(share, 0.0), 1.0), text=f"Reading {photo.name}: {stage}")

    tell("opening", 0.0)
    try:
        return session.read_once(
            photo_key(photo, metal), lambda: read_upload(photo, metal, progress=tell)
        )
    except Exception as error:  # noqa: BLE001 - told in words
        show_error(error, about=photo.name if several else "")
        return None
    finally:
        place.empty()
