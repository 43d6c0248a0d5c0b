"""The strip that says which job is in hand, and the welcome where there is none."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

import streamlit as st

from app.show import Units, quantity

if TYPE_CHECKING:
    from app.records import JobRow

__all__ = ["job_strip", "job_words", "welcome"]


def job_words(job: JobRow, units: Units) -> str:
    """Return metal, diameter, edge and lathe of a job in one line."""
    edge = " ".join(str(job.edge[k]) for k in ("material", "id") if job.edge.get(k))
    parts = [
        str(job.work.get("material", "")),
        f"\N{DIAMETER SIGN} {quantity(job.work.get('diameter_mm'), 'mm', units)}",
        edge,
    ]
    if job.lathe.get("power_w"):
        parts.append(f"lathe {quantity(job.lathe['power_w'], 'W', units)}")
    return ", ".join(part for part in parts if part)


def job_strip(job: JobRow, units: Units) -> None:
    """Show the job in hand with a way to change it."""
    with st.container(
        horizontal=True, wrap=False, vertical_alignment="center", key="job-strip"
    ):
        st.html(
            f"<b>{escape(job.name)}</b><br>"
            f'<span class="bc-small">{escape(job_words(job, units))}</span>',
            width="stretch",
        )
        st.page_link("screens/setup.py", label="Change", width="content")


def welcome() -> None:
    """Say what this is, and offer the set-up."""
    st.title("Photograph your chips, change one thing", anchor=False)
    st.markdown(
        "Stop the lathe after a pass, lay five chips or more on the printed card, take a "
        "photo. You get their form, their tint, and the one setting to change next."
    )
    with st.container(key="main-setup"):
        if st.button("Set up lathe and first job", type="primary", width="stretch"):
            st.switch_page("screens/setup.py")
    st.subheader("Or look at a demo first", anchor=False)
