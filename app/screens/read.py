"""The first screen: photo, what was seen, what to change."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

import streamlit as st

from app import session
from app.demo import demos
from app.gauge_words import BEST_SIGN
from app.parts.advice import show_advice, show_cautions, show_first_cut, show_limits
from app.parts.answer import label_choice, pass_buttons
from app.parts.cut import cut_panel, told_panel
from app.parts.gauges import chip_panel, show_gauges, show_thickness_trend
from app.parts.grey import grey_point
from app.parts.heat import heat_setting, show_trend
from app.parts.jobstrip import job_strip, welcome
from app.parts.photos import ensure_read, photo_input, take_out
from app.parts.pieces import show_reading
from app.parts.trouble import show_error
from app.settings import load_settings
from app.show import Units
from app.work import advise_pass, coming_pass, read_demo, stored_pictures

if TYPE_CHECKING:
    from app.logbook.store import Logbook
    from app.records import JobRow, PassRow

__all__ = ["render"]

Json = dict[str, Any]
#: Verdicts that send hands near the tool: what can hurt stands above the button.
_HANDS_FIRST = ("stop", "look at the edge")
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
            row = ensure_read(book, job, row)
        if row is None or row.reading is None:
            photo_input(_FIRST_PHOTO, book, job, row, cut=cut, told=told)
            return
        show_reading(
            row.reading,
            stored_pictures(book, row),
            units,
            setting=heat_setting(job, row),
            take_out=partial(take_out, book, row),
        )
        grey_point(book, row)
        again = st.container()
    with right:
        _answer(book, job, [*done, row], cut, units=units)
        show_trend(job, [*done, row])
        show_thickness_trend(job, [*done, row], units)
    # A photo to take again, or one more, is asked for at once; else the advice comes first.
    retake = row.reading["usable"] == "retake"
    words = "A better photo, instead" if retake else "More photos of this pass, read as one"
    with again if row.reading["usable"] != "yes" else st.container():
        photo_input(words, book, job, row, cut=row.cut, told=row.told, instead=retake)


def _first_pass(book: Logbook, job: JobRow, start: Json, *, number: int, units: Units) -> None:
    """Show the advised first cut, the photo input, and what can hurt."""
    advice: Json | None = None
    try:
        advice = advise_pass(job, [], units)
        show_first_cut(advice, units)
    except Exception as error:  # noqa: BLE001 - the photo can be read all the same
        show_error(error)
    cut = cut_panel(job, start, number=number, units=units)
    photo_input(_FIRST_PHOTO, book, job, None, cut=cut, told={})
    if advice is not None:
        show_cautions(advice)


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
        with st.expander("Thickness and width of the chip"):
            st.markdown(BEST_SIGN)
            show_gauges(advice.get("gauges"), units)


render()
