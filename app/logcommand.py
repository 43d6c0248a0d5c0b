"""What ``bluecurl log`` prints."""

from __future__ import annotations

import json
from contextlib import closing
from typing import TYPE_CHECKING, Any

from app.answers import json_line
from app.gauge_words import thickness_short
from app.logbook.export import log_csv, log_json, pass_flat
from app.logbook.store import Logbook
from app.plain import change_line, cut_line
from app.settings import home
from app.show import Units, quantity
from app.wording import VERDICT_WORDS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from app.records import JobRow, PassRow

__all__ = ["export_log", "list_log", "undo_log"]


def list_log(job_id: int | None, *, as_json: bool, units: Units) -> list[str]:
    """Return the logbook as lines: for people, or one JSON object for each pass."""
    with closing(Logbook(home())) as logbook:
        jobs = [logbook.job(job_id)] if job_id is not None else list(reversed(logbook.jobs()))
        lines: list[str] = []
        for job in jobs:
            passes = logbook.passes(job.id)
            if as_json:
                lines += [json_line(pass_flat(job, row)) for row in passes]
            else:
                lines += _job_text(job, passes, units)
    return lines or ([] if as_json else ["The logbook is empty."])


def _job_text(job: JobRow, passes: list[PassRow], units: Units) -> Iterator[str]:
    bar = quantity(job.work.get("diameter_mm"), "mm", units)
    yield f"Job {job.id}  {job.name}  {job.work.get('material', '')} \N{DIAMETER SIGN} {bar}"
    for row in passes:
        yield f"  {row.number:>2}  {cut_line(row.cut, units)}{_outcome(row, units)}"


def _outcome(row: PassRow, units: Units) -> str:
    parts: list[str] = []
    form = row.label or ((row.reading or {}).get("form") or {}).get("code")
    if form:
        parts.append(f"form {form}")
    advice: dict[str, Any] = row.advice or {}
    thick = thickness_short(advice.get("gauges"), units)
    if thick:
        parts.append(thick)
    if advice:
        change = advice.get("change")
        parts.append(change_line(change, units) if change else VERDICT_WORDS[advice["verdict"]])
    if row.followed is not None:
        parts.append("changed" if row.followed else "not changed")
    return "".join(f"  |  {part}" for part in parts)


def export_log(job_id: int | None, *, as_csv: bool) -> str:
    """Return the export as text."""
    with closing(Logbook(home())) as logbook:
        if job_id is not None:
            logbook.job(job_id)
        if as_csv:
            return log_csv(logbook, job_id)
        return json.dumps(
            log_json(logbook, job_id), ensure_ascii=False, allow_nan=False, indent=1
        )


def undo_log() -> str | None:
    """Take back the latest change; return what it was."""
    with closing(Logbook(home())) as logbook:
        event = logbook.undo()
    return None if event is None else f"{event.what} ({event.table} {event.row_id})"
