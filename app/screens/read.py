"""The first screen: photo, what was seen, what to change."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

import streamlit as st

from app import session
from app.demo import demos
from app.intake import from_upload
from app.parts.advice import show_advice, show_cautions, show_first_cut, show_limits
from app.parts.answer import label_choice, pass_buttons
from app.parts.cut import cut_panel, told_panel
from app.parts.gauges import chip_panel, show_gauges, show_thickness_trend
from app.parts.heat import heat_setting, show_trend
from app.parts.jobstrip import job_strip, welcome
from app.parts.pieces import show_reading
from app.parts.trouble import show_error
from app.settings import load_settings
from app.show import Units
from app.work import (
    advise_pass,
    coming_pass,
    keep_reading,
    photo_key,
    read_demo,
    read_upload,
    see_together,
    stored_photo,
    stored_pictures,
)

if TYPE_CHECKING:
    from app.engine import ReadPhoto
    from app.intake import Incoming
    from app.logbook.store import Logbook
    from app.records import JobRow, PassRow

__all__ = ["render"]

Json = dict[str, Any]
#: Verdicts that send hands near the tool: what can hurt stands above the button.
_HANDS_FIRST = ("stop", "look at the edge")
#: More photos of one pass tell nothing more, and each takes its time.
_MOST_PHOTOS = 10
_FIRST_PHOTO = "Photos of the chips: one, or several of this pass"


def render() -> None:
    """Draw the screen."""
    session.say_now()
    units = load_settings().units
    demo = session.demo_name()
    if demo is not None:
        _demo(demo, units)
        return
    book = session.logbook()
    job = session.current_job(book)
    if job is None:
        welcome()
        _demo_buttons(first=True)
        return
    job_strip(job, units)
    _job(book, job, units)
    _demo_buttons(first=False)


def _job(book: Logbook, job: JobRow, units: Units) -> None:
    rows = book.passes(job.id)
    row = session.pass_in_hand(book, job)
    done = [r for r in rows if row is None or r.id != row.id]
    start, told = (row.cut, row.told) if row is not None else coming_pass(job, done)
    ever = book.passes(job.id, with_deleted=True)
    number = row.number if row is not None else 1 + max((r.number for r in ever), default=0)
    if row is None and not done:
        _first_pass(book, job, start, number=number, units=units)
        return
    left, right = st.columns(2, gap="medium")
    with left:
        cut = cut_panel(job, start, number=number, units=units)
        if row is not None:
            row = _ensure_read(book, job, row)
        if row is None or row.reading is None:
            _photo_input(_FIRST_PHOTO, book, job, row, cut=cut, told=told)
            return
        show_reading(
            row.reading,
            stored_pictures(book, row),
            units,
            setting=heat_setting(job, row),
            take_out=partial(_take_out, book, row),
        )
        again = st.container()
    with right:
        _answer(book, job, [*done, row], cut, units=units)
        show_trend(job, [*done, row])
        show_thickness_trend(job, [*done, row], units)
    # A photo to take again, or one more, is asked for at once; else the advice comes first.
    retake = row.reading["usable"] == "retake"
    words = "A better photo, instead" if retake else "More photos of this pass, read as one"
    with again if row.reading["usable"] != "yes" else st.container():
        _photo_input(words, book, job, row, cut=row.cut, told=row.told, instead=retake)


def _first_pass(book: Logbook, job: JobRow, start: Json, *, number: int, units: Units) -> None:
    """Show the advised first cut, the photo input, and what can hurt."""
    advice: Json | None = None
    try:
        advice = advise_pass(job, [], units)
        show_first_cut(advice, units)
    except Exception as error:  # noqa: BLE001 - the photo can be read all the same
        show_error(error)
    cut = cut_panel(job, start, number=number, units=units)
    _photo_input(_FIRST_PHOTO, book, job, None, cut=cut, told={})
    if advice is not None:
        show_cautions(advice)


def _photo_input(
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


def _take_out(book: Logbook, row: PassRow, place: int) -> None:
    _read_anew(book, row, [s for k, s in enumerate(row.photo_sha256s) if k != place])


def _ensure_read(book: Logbook, job: JobRow, row: PassRow) -> PassRow:
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
            photo_key(photo.sha256, metal), lambda: read_upload(photo, metal, progress=tell)
        )
    except Exception as error:  # noqa: BLE001 - told in words
        show_error(error, about=photo.name if several else "")
        return None
    finally:
        place.empty()


def _answer(
    book: Logbook, job: JobRow, rows: list[PassRow], cut: Json, *, units: Units
) -> None:
    """Show the advice for the last of the passes, what else is known of it, the buttons."""
    *done, row = rows
    row = label_choice(book, row)
    advice_place = st.container()
    warn = st.container()
    told, below = chip_panel(row, told_panel(row, units), units)
    if (cut, told) != (row.cut, row.told):
        row = book.fill_pass(row.id, cut=cut, told=told)
    try:
        advice = advise_pass(job, [*done, row])
    except Exception as error:  # noqa: BLE001 - the reading stays on the page
        with advice_place:
            show_error(error)
        return
    if advice != row.advice:
        row = book.fill_pass(row.id, advice=advice)
    if units is not Units.METRIC:  # the logbook keeps one language of numbers
        advice = advise_pass(job, [*done, row], units)
    with below:
        show_gauges(advice.get("gauges"), units, warn=warn)
    with advice_place:
        show_advice(advice, units)
        if advice["verdict"] in _HANDS_FIRST:
            show_cautions(advice)
            pass_buttons(book, row, advice)
        else:
            pass_buttons(book, row, advice)
            show_cautions(advice)
        show_limits(advice, units)


def _demo_buttons(*, first: bool) -> None:
    found = demos()
    if not found:
        return
    place = st.container() if first else st.expander("Try a demo photo")
    with place:
        st.markdown("Rendered photos of invented cuts; nothing is kept.")
        with st.container(horizontal=True):
            for demo in found:
                st.button(
                    demo.title,
                    key=f"demo-{demo.name}",
                    on_click=session.set_demo,
                    args=(demo.name,),
                )


def _demo(name: str, units: Units) -> None:
    demo = next((d for d in demos() if d.name == name), None)
    st.button("Leave the demo", key="leave-demo", on_click=session.set_demo, args=(None,))
    if demo is None:
        return
    result = session.demo_result(name)
    if result is None:
        result = read_demo(demo, units)
        session.keep_demo_result(name, result)
    seen, advice = result
    st.caption(f"{demo.title}: rendered, and the cut is invented. Nothing is kept.")
    left, right = st.columns(2, gap="medium")
    with left:
        case = demo.case()
        cut = (case.get("passes") or [{}])[-1].get("cut") or {}
        setting = {"edge_material": case["edge"]["material"], "coolant": cut.get("coolant")}
        show_reading(seen.reading, seen.pictures, units, setting=setting)
    with right:
        show_advice(advice, units)
        show_cautions(advice)
        show_limits(advice, units)


render()
