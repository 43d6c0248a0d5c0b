"""From what the logbook holds to a ``bluecurl.case/1``: the only place both cores meet.

A case is put together from stored JSON, so nothing here computes a cut.
"""

from __future__ import annotations

import copy
import re
from statistics import median
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence

    from app.records import JobRow, PassRow

__all__ = [
    "CASE_SCHEMA",
    "case_of",
    "metal_of",
    "next_cut",
    "next_told",
    "signs_of",
    "with_reading",
]

CASE_SCHEMA = "bluecurl.case/1"

#: What of an advised next cut is set at the lathe and so belongs to a pass's ``cut``.
#: The diameter does not: the passes before say what is left, by measure where there is one.
_CUT_KEYS = ("direction", "spindle_rev_min", "feed_mm_rev", "depth_mm", "coolant", "power_feed")
#: What a pass carries only where it differs from the job; it stays until changed again.
_SETUP_KEYS = ("edge", "holding", "stickout_mm")
#: Edges that an advice names by one number, and the field of the edge it belongs to.
_NUMBERED = {
    "rake_deg": re.compile(r"(-?\d+(?:\.\d+)?)° of rake"),
    "kapr_deg": re.compile(r"(\d+(?:\.\d+)?)° cutting edge angle"),
    "re_mm": re.compile(r"(\d+(?:\.\d+)?) mm nose"),
}

Json = dict[str, Any]


def case_of(job: JobRow, passes: Sequence[PassRow], *, by_eye: bool = True) -> Json:
    """Return the case of a job and its passes, oldest first.

    A pass whose form a person named carries ``signs`` instead of the reading: an eye at
    the lathe beats a photo that was not sure. Without ``by_eye`` the reading stays, for
    what an eye cannot give.
    """
    return {
        "schema": CASE_SCHEMA,
        "work": dict(job.work),
        "edge": dict(job.edge),
        "lathe": dict(job.lathe),
        "passes": [_case_pass(row, by_eye=by_eye) for row in passes],
    }


def _case_pass(row: PassRow, *, by_eye: bool) -> Json:
    seen: Json = {"reading": row.reading, "signs": None}
    if by_eye and row.label is not None:
        seen = {"reading": None, "signs": signs_of(row.reading, row.label)}
    return {"cut": dict(row.cut), **row.told, **seen}


def signs_of(reading: Json | None, label: str) -> Json:
    """Return what an eye and the reading say together, when a person named the form.

    Sizes are medians over the chips of that form or group, else over all chips; without
    a reading, or without a scale, they are ``None``.
    """
    chips = (reading or {}).get("chips") or []
    like = [c for c in chips if c.get("form") == label]
    like = like or [c for c in chips if c.get("group") == label[0]] or chips
    heat = (reading or {}).get("heat") or {}
    return {
        "form": label,
        "share": 1.0,
        "sure": True,
        "length_mm": _middle(like, "length_mm"),
        "curl_radius_mm": _middle(like, "curl_radius_mm"),
        "width_mm": _middle(like, "width_mm"),
        "tint": heat.get("tint"),
    }


def _middle(chips: Sequence[Json], name: str) -> float | None:
    values = [c[name]["value"] for c in chips if c.get(name) is not None]
    return median(values) if values else None


def with_reading(case: Json, reading: Json) -> Json:
    """Return a case whose last pass carries this reading; a new job stays a new job."""
    changed = copy.deepcopy(case)
    passes = changed.get("passes")
    if isinstance(passes, list) and passes and isinstance(passes[-1], dict):
        passes[-1] = {**passes[-1], "reading": reading, "signs": None}
    return changed


def next_cut(last: PassRow) -> Json:
    """Return the settings the next pass starts from: the advised ones where followed."""
    cut = {k: v for k, v in last.cut.items() if k != "diameter_mm"}
    advised = (last.advice or {}).get("next_cut") or {}
    return {**cut, **_only(advised, _CUT_KEYS)} if last.followed else cut


def next_told(job: JobRow, last: PassRow) -> Json:
    """Return what is known of the next pass before it is made: edge and support.

    A followed advice that changes the edge or its overhang makes a new edge, with a new
    id, since "same settings" means the same edge id.
    """
    told = _only(last.told, _SETUP_KEYS)
    advised = (last.advice or {}).get("next_cut") or {}
    if not last.followed:
        return told
    told |= _only(advised, ("holding", "stickout_mm"))
    change = _edge_change(advised)
    if change:
        edge = told.get("edge") or job.edge
        words = advised.get("edge") or "shorter overhang"
        told["edge"] = {**edge, **change, "id": f"{edge.get('id', 'the edge')}, {words}"}
    return told


def _edge_change(advised: Json) -> Json:
    """Return the fields of an edge that an advice changes; it names edges in words."""
    words = str(advised.get("edge") or "")
    change = _only(advised, ("overhang_mm",))
    found = {key: text.search(words) for key, text in _NUMBERED.items()}
    named = {key: float(number.group(1)) for key, number in found.items() if number}
    if "kapr_deg" in named:  # the holder is swung round; the edge stays as it is
        change |= named
    elif named:
        change |= named | {"condition": "fresh"}
    elif "groove" in words:
        change |= {"chip_groove": True, "condition": "fresh"}
    elif "centre" in words:
        change |= {"centre_height_mm": 0.0}
    elif words:
        change |= {"condition": "fresh"}
    return change


def _only(facts: Json, keys: Sequence[str]) -> Json:
    return {k: facts[k] for k in keys if facts.get(k) is not None}


def metal_of(case: Json) -> str | None:
    """Return the metal that a case names, for the reader's tint rules."""
    work = case.get("work")
    metal = work.get("material") if isinstance(work, dict) else None
    return metal if isinstance(metal, str) else None
