"""The logbook: passes of a job with their readings, undo, export, safety copy."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import streamlit as st

from app import session
from app.gauge_words import thickness_short
from app.logbook.backup import back_up
from app.logbook.export import log_csv, log_json
from app.parts.advice import show_advice
from app.parts.gauges import show_gauges, show_thickness_trend
from app.parts.grey import grey_note
from app.parts.heat import heat_setting, show_trend
from app.parts.jobstrip import job_words
from app.parts.pieces import show_reading
from app.plain import change_line, cut_line
from app.settings import home, load_settings
from app.wording import VERDICT_WORDS
from app.work import stored_pictures

if TYPE_CHECKING:
    from app.logbook.store import Logbook
    from app.records import JobRow, PassRow
    from app.show import Units

__all__ = ["render"]


def render() -> None:
    """Draw the screen."""
    session.say_now()
    units = load_settings().units
    book = session.logbook()
    st.title("Logbook", anchor=False)
    jobs = {job.id: job for job in book.jobs()}
    if not jobs:
        st.markdown("Nothing here yet. The first pass you photograph is kept here.")
        _undo(book)
        return
    present = session.current_job(book)
    chosen = st.selectbox(
        "Job",
        list(jobs),
        index=list(jobs).index(present.id) if present else 0,
        format_func=lambda i: f"{jobs[i].name} ({jobs[i].work.get('material')})",
        key="log-job",
    )
    job = jobs[chosen]
    st.markdown(job_words(job, units))
    show_trend(job, book.passes(job.id))
    show_thickness_trend(job, book.passes(job.id), units)
    _passes(book, job, units)
    _undo(book)
    _take_away(book, job)
    if st.button("Delete this job", key=f"delete-job-{job.id}"):
        book.delete("job", job.id)
        session.say_later(f"{job.name} is deleted. Undo brings it back.")
        st.rerun()


def _passes(book: Logbook, job: JobRow, units: Units) -> None:
    rows = book.passes(job.id)
    if not rows:
        st.markdown("No pass yet.")
    for row in reversed(rows):
        with st.expander(_pass_words(row, units), key=f"pass-{row.id}"):
            _one_pass(book, job, row, units)


def _pass_words(row: PassRow, units: Units) -> str:
    """Return one line: settings, form, advice, answer."""
    parts = [f"Pass {row.number}: {cut_line(row.cut, units)}"]
    form = row.label or ((row.reading or {}).get("form") or {}).get("code")
    if form:
        parts.append(f"form {form}")
    advice = row.advice or {}
    thick = thickness_short(advice.get("gauges"), units)
    if thick:
        parts.append(thick)
    if advice:
        change = advice.get("change")
        parts.append(change_line(change, units) if change else VERDICT_WORDS[advice["verdict"]])
    if row.followed is not None:
        parts.append("done" if row.followed else "not now")
    return "; ".join(parts)


def _one_pass(book: Logbook, job: JobRow, row: PassRow, units: Units) -> None:
    st.caption(f"{row.made_at_utc:%Y-%m-%d %H:%M} UTC")
    if row.reading is not None:
        _stored_reading(book, job, row, units)
    if row.advice is not None:
        show_advice(row.advice, units)
        if row.advice.get("gauges"):
            st.subheader("The chip", anchor=False)
            show_gauges(row.advice["gauges"], units)
    note = st.text_input("What came of it", row.outcome or "", key=f"outcome-{row.id}")
    if (note or None) != row.outcome:
        book.change_pass(row.id, "note written", outcome=note or None)
        st.success("Kept.")
    if row.versions:
        st.caption(", ".join(f"{name} {number}" for name, number in row.versions.items()))
    if st.button("Delete this pass", key=f"delete-{row.id}"):
        book.delete("pass", row.id)
        session.say_later(f"Pass {row.number} is deleted. Undo brings it back.")
        st.rerun()


def _stored_reading(book: Logbook, job: JobRow, row: PassRow, units: Units) -> None:
    """Show a stored reading with its pictures."""
    if row.reading is not None:
        pictures = stored_pictures(book, row)
        show_reading(row.reading, pictures, units, setting=heat_setting(job, row))
        if grey_note(row):
            st.caption(grey_note(row))


def _undo(book: Logbook) -> None:
    latest = next((e for e in book.events() if not e.undone), None)
    if latest is None:
        return
    if st.button(f"Undo: {latest.what}", key="undo"):
        undone = book.undo()
        if undone is not None:
            session.say_later(f"Taken back: {undone.what}.")
        st.rerun()


def _take_away(book: Logbook, job: JobRow) -> None:
    """Offer exports and a safety copy; each is made when asked for."""
    with st.container(horizontal=True):
        st.download_button(
            "Table (CSV)",
            data=lambda: log_csv(book, job.id),
            file_name="bluecurl-log.csv",
            mime="text/csv",
            key="csv",
        )
        st.download_button(
            "All data (JSON)",
            data=lambda: json.dumps(log_json(book), ensure_ascii=False, indent=1),
            file_name="bluecurl-log.json",
            mime="application/json",
            key="json",
        )
        st.download_button(
            "Safety copy (ZIP)",
            data=_safety_copy,
            file_name="bluecurl-backup.zip",
            mime="application/zip",
            key="zip",
        )


def _safety_copy() -> bytes:
    with tempfile.TemporaryDirectory() as room:
        return back_up(home(), Path(room) / "backup.zip").read_bytes()


render()
