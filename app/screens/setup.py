"""Set-up: the job, the edge, the lathe, the card and the units."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from app import engine, session
from app.cardcommand import card_bytes, card_sizes
from app.parts.fields import (
    EDGE_FIELDS,
    LATHE_FIELDS,
    WORK_FIELDS,
    Field,
    field_label,
    field_text,
    read_fields,
)
from app.parts.trouble import no_traceback
from app.settings import is_check_line, load_settings, update_settings
from app.show import Units, parse_number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from app.logbook.store import Logbook
    from app.records import JobRow

__all__ = ["render"]

Json = dict[str, Any]
_UNIT_WORDS = {Units.METRIC: "mm", Units.INCH: "inch"}


def render() -> None:
    """Draw the screen."""
    session.say_now()
    book = session.logbook()
    job = session.current_job(book)
    st.title("Set-up", anchor=False)
    units = _units()
    _choose_job(book, job, units)
    _job_form(book, job, units)
    with no_traceback():
        _card()


def _units() -> Units:
    present = load_settings().units
    chosen = st.segmented_control(
        "Units",
        list(Units),
        default=present,
        required=True,
        format_func=lambda u: _UNIT_WORDS[u],
        key="units",
    )
    if chosen != present:
        update_settings(units=Units(chosen))
    return Units(chosen)


def _choose_job(book: Logbook, job: JobRow | None, units: Units) -> None:
    jobs = {j.id: j for j in book.jobs()}
    if job is None or len(jobs) < 2:  # noqa: PLR2004 - nothing to choose from
        return
    chosen = st.selectbox(
        "Job in hand",
        list(jobs),
        index=list(jobs).index(job.id),
        format_func=lambda i: f"{jobs[i].name} ({jobs[i].work.get('material')})",
        key=f"job-{units.value}-{job.id}",
    )
    if chosen != job.id:
        session.use_job(chosen)
        st.rerun()


def _job_form(book: Logbook, job: JobRow | None, units: Units) -> None:
    """One form for job, edge and lathe, filled from the job in hand."""
    stem = f"setup-{0 if job is None else job.id}-{units.value}"
    work, edge, lathe = ({}, {}, {}) if job is None else (job.work, job.edge, job.lathe)
    metals = engine.materials()
    with st.form(stem, border=False):
        st.header("Job", anchor=False)
        name = st.text_input("Name", "" if job is None else job.name, key=f"{stem}-name")
        present = work.get("material")
        choices = metals if present in {None, *metals} else [present, *metals]
        metal = st.selectbox(
            "Metal",
            choices,
            index=None if present is None else choices.index(present),
            placeholder="Choose the metal",
            key=f"{stem}-metal",
        )
        typed_work = _inputs(WORK_FIELDS, work, stem, units)
        st.header("Tool edge", anchor=False)
        typed_edge = _inputs(EDGE_FIELDS, edge, stem, units)
        st.header("Lathe", anchor=False)
        typed_lathe = _inputs(LATHE_FIELDS, lathe, stem, units)
        with st.container(key="main-save"):
            new = st.form_submit_button(
                "Start this job" if job is None else "Start as a new job",
                type="primary",
                width="stretch",
            )
        changed = job is not None and st.form_submit_button(
            "Correct the job in hand", width="stretch"
        )
    if not new and not changed:
        return
    wrong: list[str] = [] if metal else ["Metal is needed"]
    facts: list[Json] = []
    for fields, typed in (
        (WORK_FIELDS, typed_work),
        (EDGE_FIELDS, typed_edge),
        (LATHE_FIELDS, typed_lathe),
    ):
        read, faults = read_fields(fields, typed, units)
        facts.append(read)
        wrong += faults
    if wrong:
        st.error("Not saved yet:\n" + "\n".join(f"- {text}" for text in wrong))
        return
    _save(
        book, job if changed else None, name.strip(), str(metal), facts, old=(work, edge, lathe)
    )


def _inputs(fields: Sequence[Field], facts: Json, stem: str, units: Units) -> dict[str, str]:
    """Show the fields, two beside each other where there is room; return what was typed."""
    typed: dict[str, str] = {}
    for i in range(0, len(fields), 2):
        for field, column in zip(fields[i : i + 2], st.columns(2), strict=False):
            with column:
                typed[field.key] = _input(field, facts.get(field.key), stem, units)
    return typed


def _input(field: Field, present: Any, stem: str, units: Units) -> str:  # noqa: ANN401 - JSON
    key = f"{stem}-{field.words}"
    if field.kind == "choice":
        index = field.choices.index(present) if present in field.choices else 0
        return st.selectbox(field.words, field.choices, index=index, key=key)
    text = st.text_input(
        field_label(field, units),
        field_text(field, present, units),
        placeholder=field.hint,
        key=key,
    )
    return text or ""


def _save(
    book: Logbook,
    job: JobRow | None,
    name: str,
    metal: str,
    facts: list[Json],
    *,
    old: tuple[Json, Json, Json],
) -> None:
    """Store the job; facts that have no field here stay as they were."""
    shown = [{f.key for f in fields} for fields in (WORK_FIELDS, EDGE_FIELDS, LATHE_FIELDS)]
    work, edge, lathe = (
        {**{k: v for k, v in before.items() if k not in keys}, **now}
        for before, keys, now in zip(old, shown, facts, strict=True)
    )
    work = {**work, "material": metal}
    title = name or metal
    if job is None:
        saved = book.add_job(title, work=work, edge=edge, lathe=lathe)
    else:
        saved = book.change_job(
            job.id, "job corrected", name=title, work=work, edge=edge, lathe=lathe
        )
    session.use_job(saved.id)
    session.say_later(f"{title} is the job in hand.")
    st.switch_page("screens/read.py")


def _card() -> None:
    """Offer the card to print, and ask what its line really measures."""
    st.header("Card", anchor=False)
    st.markdown("Print it at 100 %, tape it to something flat, then measure its 100 mm line.")
    size = st.segmented_control(
        "Paper",
        card_sizes(),
        default=card_sizes()[0],
        required=True,
        format_func=str.upper,
        key="card-size",
    )
    st.download_button(
        "Card to print (PDF)",
        data=lambda: card_bytes(str(size), ".pdf"),
        file_name=f"bluecurl-card-{size}.pdf",
        mime="application/pdf",
        key="card-pdf",
    )
    present = load_settings().check_line_mm
    text = st.text_input(
        "The 100 mm line measures, mm",
        f"{present:g}",
        key="check-line",
    )
    try:
        value = parse_number(text or "")
    except ValueError as error:
        st.error(str(error))
        return
    if not is_check_line(value):
        st.error("That is too far off: print the card again at 100 %, without “fit to page”.")
    elif value != present:
        update_settings(check_line_mm=value)
        st.success(f"Kept: the line measures {value:g} mm.")


render()
