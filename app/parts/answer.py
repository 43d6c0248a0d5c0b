"""The person's answers: what form it was when the reader is not sure, and what was done."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from app import session
from app.engine import form_name
from app.plain import is_open_nest

if TYPE_CHECKING:
    from app.logbook.store import Logbook
    from app.records import PassRow

__all__ = ["label_choice", "pass_buttons"]

Json = dict[str, Any]

#: Verdict -> words of the main button, words of the other one.
_BUTTONS: dict[str, tuple[str | None, str | None]] = {
    "change": ("I changed it", "Not now"),
    "keep": ("Next pass, same settings", None),
    "look at the edge": ("I looked at the edge", "Not now"),
    "stop": ("I changed it", "Not now"),
    "done": ("Finish", "One more pass"),
    "retake the photo": (None, "Go on without a reading"),
}


def label_choice(book: Logbook, row: PassRow) -> PassRow:
    """Where the form is not certain, offer three ways on: more photos, with care, by eye."""
    reading: Json = row.reading or {}
    form = reading.get("form") or {}
    if reading.get("usable") != "retake" and form.get("sure") and row.label is None:
        return row
    if is_open_nest(reading):
        st.subheader("A nest of chips", anchor=False)
        st.markdown(
            "What is snarled in it does not show clearly enough. The advice holds for any "
            "nest; if you can see what it is made of, name it."
        )
    else:
        st.subheader("Not sure about the form", anchor=False)
        st.markdown(
            "Add another photo of this pass, go on with care, or name what you see. Your eye "
            "at the lathe counts for more than a doubtful photo."
        )
    likely = [c for c in form.get("candidates", []) if c]
    options: list[str | None] = [None, *likely, *(c for c in _all_forms() if c not in likely)]
    label = st.selectbox(
        "What do you see?",
        options,
        index=options.index(row.label) if row.label in options else 0,
        format_func=lambda code: "go on with the reading" if code is None else form_name(code),
        key=f"label-{row.id}",
    )
    return row if label == row.label else book.fill_pass(row.id, label=label)


def _all_forms() -> list[str]:
    from vision.terms import FORM_NAMES  # noqa: PLC0415 - kept out of the light start

    return list(FORM_NAMES)


def pass_buttons(book: Logbook, row: PassRow, advice: Json) -> None:
    """Show the buttons that close the pass; the main one is the larger."""
    main, other = _BUTTONS.get(advice["verdict"], (None, "Next pass"))
    if main is not None:
        with st.container(key="main-answer"):
            if st.button(main, type="primary", width="stretch", key=f"yes-{row.id}"):
                _close(book, row, followed=True)
    if other is not None and st.button(other, width="stretch", key=f"no-{row.id}"):
        _close(book, row, followed=False)


def _close(book: Logbook, row: PassRow, *, followed: bool) -> None:
    session.finish(book, row, followed=followed)
    session.say_later(f"Pass {row.number} is in the logbook. Undo stands on the log page.")
    st.rerun()
