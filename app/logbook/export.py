"""The logbook for other programs: a table with units in its headers, and plain JSON."""

from __future__ import annotations

import csv
import io
from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from app.logbook.store import Logbook
    from app.records import JobRow, PassRow

__all__ = ["LOG_SCHEMA", "log_csv", "log_json", "pass_flat"]

LOG_SCHEMA = "bluecurl.log/1"

_COLUMNS = (
    "job",
    "job_name",
    "material",
    "pass",
    "made_at_utc",
    "direction",
    "spindle_rev_min",
    "feed_mm_rev",
    "depth_mm",
    "diameter_mm",
    "coolant",
    "photo_sha256",
    "photo_sha256s",
    "form",
    "form_share",
    "form_sure",
    "label",
    "tint",
    "usable",
    "chip_thickness_mm",
    "u_chip_thickness_mm",
    "chip_thickness_by",
    "compression",
    "u_compression",
    "shear_angle_deg",
    "u_shear_angle_deg",
    "width_ratio",
    "u_width_ratio",
    "verdict",
    "lever",
    "from",
    "to",
    "unit",
    "followed",
    "outcome",
)


def pass_flat(job: JobRow, row: PassRow) -> dict[str, Any]:
    """Return one pass as a flat row; what is not known is ``None``."""
    form = (row.reading or {}).get("form") or {}
    heat = (row.reading or {}).get("heat") or {}
    change = (row.advice or {}).get("change") or {}
    return {
        "job": job.id,
        "job_name": job.name,
        "material": job.work.get("material"),
        "pass": row.number,
        "made_at_utc": row.made_at_utc.isoformat(),
        **{
            name: row.cut.get(name)
            for name in (
                "direction",
                "spindle_rev_min",
                "feed_mm_rev",
                "depth_mm",
                "diameter_mm",
                "coolant",
            )
        },
        "photo_sha256": row.photo_sha256,
        "photo_sha256s": " ".join(row.photo_sha256s) or None,
        "form": form.get("code"),
        "form_share": form.get("share"),
        "form_sure": form.get("sure"),
        "label": row.label,
        "tint": heat.get("tint"),
        "usable": (row.reading or {}).get("usable"),
        **_gauges((row.advice or {}).get("gauges") or {}),
        "verdict": (row.advice or {}).get("verdict"),
        "lever": change.get("lever"),
        "from": change.get("from"),
        "to": change.get("to"),
        "unit": change.get("unit"),
        "followed": row.followed,
        "outcome": row.outcome,
    }


def _gauges(gauges: dict[str, Any]) -> dict[str, Any]:
    """Return thickness, compression, shear angle and width of the chip, each with its u."""
    thickness, width = gauges.get("thickness") or {}, gauges.get("width") or {}
    flat: dict[str, Any] = {"chip_thickness_by": thickness.get("measured")}
    for name, measured in (
        ("chip_thickness_mm", thickness.get("thickness_mm")),
        ("compression", thickness.get("compression")),
        ("shear_angle_deg", thickness.get("shear_angle_deg")),
        ("width_ratio", width.get("ratio")),
    ):
        flat |= {name: (measured or {}).get("value"), f"u_{name}": (measured or {}).get("u")}
    return flat


def log_csv(logbook: Logbook, job_id: int | None = None) -> str:
    """Return all passes as CSV (RFC 4180), one line each, units in the headers."""
    jobs = {job.id: job for job in logbook.jobs()}
    out = io.StringIO()
    writer = csv.DictWriter(out, _COLUMNS)
    writer.writeheader()
    for row in logbook.passes(job_id):
        flat = pass_flat(jobs[row.job_id], row)
        writer.writerow({name: _cell(value) for name, value in flat.items()})
    return out.getvalue()


def _cell(value: Any) -> Any:  # noqa: ANN401
    """Return a cell that no table program takes for a formula."""
    if isinstance(value, str) and value[:1] in "=+-@\t\r":
        return "'" + value
    return value


def log_json(logbook: Logbook, job_id: int | None = None) -> dict[str, Any]:
    """Return jobs and passes whole, in the fields of a case, readings and advice included."""
    wanted = [job for job in logbook.jobs() if job_id in {None, job.id}]
    return {
        "schema": LOG_SCHEMA,
        "jobs": [
            {**_plain(job), "passes": [_plain_pass(row) for row in logbook.passes(job.id)]}
            for job in reversed(wanted)
        ],
    }


def _plain_pass(row: PassRow) -> dict[str, Any]:
    return {
        **_plain(row),
        "photo_sha256": row.photo_sha256,
        "photo_sha256s": list(row.photo_sha256s),
    }


def _plain(row: JobRow | PassRow) -> dict[str, Any]:
    return {k: v.isoformat() if isinstance(v, datetime) else v for k, v in asdict(row).items()}
