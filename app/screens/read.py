"""The first screen: photo, what was seen, what to change."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from app import session
from app.demo import demos
from app.intake import Incoming, from_upload
from app.parts.advice import show_advice, show_cautions, show_first_cut, show_limits
from app.parts.answer import label_choice, pass_buttons
from app.parts.cut import cut_panel, told_panel
from app.parts.heat import heat_setting, show_trend
from app.parts.jobstrip import job_strip, welcome
from app.parts.pieces import show_reading
from app.parts.trouble import show_error
from app.settings import load_settings
from app.show import Units
from app.work import Seen, advise_pass, coming_pass, keep_reading, read_demo, read_upload

if TYPE_CHECKING:
    from collections.abc import Callable

    from app.logbook.store import Logbook
    from app.records import JobRow, PassRow

__all__ = ["render"]

Json = dict[str, Any]
#: Verdicts that send hands near the tool: what can hurt stands above the button.
_HANDS_FIRST = ("stop", "look at the edge")


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
            _photo_input("Photo of the chips", book, job, row, cut=cut, told=told)
            return
        show_reading(
            row.reading,
            book.picture(row.photo_sha256 or ""),
            units,
            setting=heat_setting(job, row),
        )
        again = st.container()
    with right:
        _answer(book, job, [*done, row], cut, units=units)
        show_trend(job, [*done, row])
    # A photo to take again is asked for at once; otherwise the advice comes first.
    with again if row.reading["usable"] == "retake" else st.container():
        _photo_input("Another photo of this pass", book, job, row, cut=row.cut, told=row.told)


def _first_pass(book: Logbook, job: JobRow, start: Json, *, number: int, units: Units) -> None:
    """Show the advised first cut, the photo input, and what can hurt."""
    advice: Json | None = None
    try:
        advice = advise_pass(job, [], units)
        show_first_cut(advice, units)
    except Exception as error:  # noqa: BLE001 - the photo can be read all the same
        show_error(error)
    cut = cut_panel(job, start, number=number, units=units)
    _photo_input("Photo of the chips", book, job, None, cut=cut, told={})
    if advice is not None:
        show_cautions(advice)


def _photo_input(
    words: str, book: Logbook, job: JobRow, row: PassRow | None, *, cut: Json, told: Json
) -> None:
    """Show the photo input; what arrives is stored at once and read on the next run."""
    with st.container(key="main-photo"):
        upload = st.file_uploader(words, type="image", key=session.upload_key())
    if upload is None:
        return
    photo = from_upload(upload.name, upload.getvalue())
    session.clear_uploads()
    twin = next((r for r in book.passes() if r.photo_sha256 == photo.sha256), None)
    if twin is not None:
        session.say_later(
            f"This photo already belongs to pass {twin.number}. Take a new one after each pass."
        )
        st.rerun()
    book.keep_photo(photo)
    if row is None:
        session.show_pass(book.add_pass(job.id, cut=cut, told=told, photo_sha256=photo.sha256))
    else:
        book.fill_pass(row.id, photo_sha256=photo.sha256, reading=None, advice=None, label=None)
    st.rerun()


def _ensure_read(book: Logbook, job: JobRow, row: PassRow) -> PassRow:
    """Read the photo of a pass that has no reading yet: a new one, or one cut short."""
    if row.reading is not None or row.photo_sha256 is None:
        return row
    stored, data = book.photo(row.photo_sha256)
    photo = Incoming(name=stored.name, data=data, sha256=stored.sha256)
    seen = _read(photo, lambda tell: read_upload(photo, job, progress=tell))
    if seen is None:
        return book.fill_pass(row.id, photo_sha256=None)
    return keep_reading(book, row, seen)


def _read(photo: Incoming, work: Callable[[Callable[[str, float], None]], Seen]) -> Seen | None:
    """Run a reading with its stages on the page; an error is told and gives nothing."""
    place = st.empty()

    def tell(stage: str, share: float) -> None:
        place.progress(min(max(share, 0.0), 1.0), text=f"Reading {photo.name}: {stage}")

    tell("opening", 0.0)
    try:
        return work(tell)
    except Exception as error:  # noqa: BLE001 - told in words
        show_error(error)
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
    told = told_panel(row, units)
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
        show_reading(seen.reading, seen.picture, units, setting=setting)
    with right:
        show_advice(advice, units)
        show_cautions(advice)
        show_limits(advice, units)


render()
