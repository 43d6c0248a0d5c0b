"""What one visit to the page knows: the logbook, the job, the pass in hand.

The pass in hand is a row of the logbook from the first moment, and its number stands in
the page's address, so that a sleeping phone, a reload or a crash loses nothing.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import streamlit as st

from app.errors import LogbookError
from app.logbook.store import Logbook
from app.settings import home, load_settings, update_settings

if TYPE_CHECKING:
    from collections.abc import Callable

    from app.engine import ReadPhoto
    from app.records import JobRow, PassRow

__all__ = [
    "clear_uploads",
    "current_job",
    "demo_name",
    "demo_result",
    "finish",
    "keep_demo_result",
    "logbook",
    "pass_in_hand",
    "read_once",
    "say_later",
    "say_now",
    "set_demo",
    "show_pass",
    "upload_key",
    "use_job",
]

Json = dict[str, Any]
#: Readings of single photos kept for a visit, the latest ones.
_MOST_READINGS = 12
_PASS = "pass"  # name in the page's address  # noqa: S105


@st.cache_resource(show_spinner=False)
def _logbook_at(folder: str) -> Logbook:
    return Logbook(Path(folder))


def logbook() -> Logbook:
    """Return the logbook of the data folder; one for all visits."""
    return _logbook_at(str(home()))


def current_job(book: Logbook) -> JobRow | None:
    """Return the job in hand: the one chosen last, else the newest, else none."""
    jobs = {job.id: job for job in book.jobs()}
    chosen = load_settings().job_id
    if chosen in jobs:
        return jobs[chosen]
    return next(iter(jobs.values()), None)


def use_job(job_id: int) -> None:
    """Make a job the one in hand, in this visit and the next."""
    update_settings(job_id=job_id)
    st.query_params.pop(_PASS, None)


def pass_in_hand(book: Logbook, job: JobRow) -> PassRow | None:
    """Return the pass that has not been answered yet, from the address or the logbook."""
    asked = st.query_params.get(_PASS, "")
    if asked.isdecimal():
        try:
            row = book.one_pass(int(asked))
        except LogbookError:
            row = None
        if row is not None and row.job_id == job.id and _is_open(row):
            return row
        st.query_params.pop(_PASS, None)
    rows = book.passes(job.id)
    if rows and rows[-1].followed is None:
        show_pass(rows[-1])
        return rows[-1]
    return None


def _is_open(row: PassRow) -> bool:
    return row.followed is None and row.deleted_at_utc is None


def show_pass(row: PassRow) -> None:
    """Put a pass into the page's address."""
    st.query_params[_PASS] = str(row.id)


def finish(book: Logbook, row: PassRow, *, followed: bool) -> None:
    """Answer the pass in hand and make room for the next one."""
    book.change_pass(row.id, "pass answered", followed=followed)
    st.query_params.pop(_PASS, None)
    clear_uploads()


def upload_key() -> str:
    """Return the key of the photo input; a new key is an empty input."""
    return f"photo-{st.session_state.get('uploads', 0)}"


def clear_uploads() -> None:
    """Empty the photo input."""
    st.session_state["uploads"] = st.session_state.get("uploads", 0) + 1


def demo_name() -> str | None:
    """Return the demo photo on show, if one is."""
    return st.session_state.get("demo")


def set_demo(name: str | None) -> None:
    """Show a demo photo, or leave it."""
    st.session_state["demo"] = name


def demo_result(name: str) -> Any:  # noqa: ANN401 - whatever the screen kept
    """Return what a demo gave earlier in this visit."""
    return st.session_state.get(f"demo-result-{name}")


def keep_demo_result(name: str, result: object) -> None:
    """Keep what a demo gave, for the next run of the page in this visit."""
    st.session_state[f"demo-result-{name}"] = result


def read_once(key: str, work: Callable[[], ReadPhoto]) -> ReadPhoto:
    """Return the reading of a photo, made once in this visit.

    A pass whose photos change is put together anew; those that stay need not be read again.
    """
    kept: dict[str, ReadPhoto] = st.session_state.setdefault("readings", {})
    if key not in kept:
        kept[key] = work()
        for old in list(kept)[:-_MOST_READINGS]:
            del kept[old]
    return kept[key]


def say_later(text: str) -> None:
    """Tell something on the next run of the page."""
    st.session_state["said"] = text


def say_now() -> None:
    """Show what was left to be told."""
    text = st.session_state.pop("said", None)
    if text:
        st.info(text)
