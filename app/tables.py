"""Readings as a table: one line for each chip, units in the headers, u beside each value."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["READING_COLUMNS", "reading_csv_header", "reading_csv_rows"]

_MEASURES = ("length_mm", "width_mm", "extent_mm", "curl_radius_mm", "pitch_mm", "turns")

READING_COLUMNS: tuple[str, ...] = (
    "photo",
    "sha256",
    "usable",
    "photo_form",
    "number",
    "kind",
    "group",
    "form",
    "sure",
    "candidates",
    *(name for m in _MEASURES for name in (m, f"u_{m}")),
    "bound",
    "tint",
    "tint_sure",
    "film_nm",
    "u_film_nm",
    "count",
    "flags",
)


def reading_csv_header() -> str:
    """Return the header line."""
    return _line(READING_COLUMNS)


def reading_csv_rows(reading: dict[str, Any]) -> list[str]:
    """Return one CSV line for each chip; a photo without chips gives none."""
    return [_line(_cells(reading, chip)) for chip in reading["chips"]]


def _cells(reading: dict[str, Any], chip: dict[str, Any]) -> list[Any]:
    tint = chip["tint"] or {}
    film = tint.get("film_nm") or {}
    values: list[Any] = [
        reading["photo"],
        reading["sha256"],
        reading["usable"],
        (reading["form"] or {}).get("code"),
        chip["number"],
        chip["kind"],
        chip["group"],
        chip["form"],
        chip["sure"],
        " ".join(chip["candidates"]),
    ]
    measures = [chip.get(name) or {} for name in _MEASURES]
    for measured in measures:
        values += [measured.get("value"), measured.get("u")]
    bounds = [m["bound"] for m in measures if m.get("bound")]
    values += [bounds[0] if bounds else None, tint.get("name"), tint.get("sure")]
    values += [film.get("value"), film.get("u"), chip.get("count"), " ".join(chip["flags"])]
    return values


def _line(cells: Iterable[Any]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="").writerow(list(cells))
    return out.getvalue()
