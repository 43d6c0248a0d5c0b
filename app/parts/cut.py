"""Settings of the pass in hand, and what was noticed during it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from app.parts.fields import Field, field_label, field_text
from app.parts.typed import read_typed
from app.plain import cut_line
from app.wording import NOTICED_WORDS

if TYPE_CHECKING:
    from app.records import JobRow, PassRow
    from app.show import Units

__all__ = ["cut_panel", "told_panel"]

Json = dict[str, Any]

_SPEED = Field("spindle_rev_min", "Spindle", unit="rev/min", needed=True)
_FEED = Field("feed_mm_rev", "Feed", unit="mm/rev")
_DEPTH = Field("depth_mm", "Depth of cut", unit="mm", needed=True)
_MEASURED = Field("measured", "Diameter measured after the pass", unit="mm")
_DIRECTIONS = ("along", "face", "plunge", "part off", "bore")
_COOLANTS = ("dry", "cutting oil", "soluble oil")
_EDGE_SEEN = ("not yet", "sharp", "chipped", "worn", "built-up")


def cut_panel(job: JobRow, start: Json, *, number: int, units: Units) -> Json:
    """Show and read the settings of a pass; what cannot be read keeps its former value."""
    known = all(start.get(k) is not None for k in ("spindle_rev_min", "depth_mm"))
    line = cut_line({"feed_mm_rev": None, **start}, units) if known else "settings needed"
    stem = f"cut-{job.id}-{number}-{units.value}"
    with st.expander(f"Pass {number}: {line}", expanded=not known, key=f"{stem}-panel"):
        cut: Json = dict(start)
        cut["spindle_rev_min"] = _steps(
            job.lathe.get("spindle_rev_min"), _SPEED, start, stem, units
        )
        cut["feed_mm_rev"] = _steps(job.lathe.get("feeds_mm_rev"), _FEED, start, stem, units)
        cut["depth_mm"] = read_typed(_DEPTH, start.get("depth_mm"), stem, units)
        cut["direction"] = st.segmented_control(
            "Direction",
            _DIRECTIONS,
            default=start.get("direction", "along"),
            required=True,
            key=f"{stem}-direction",
        )
        cut["coolant"] = st.segmented_control(
            "Coolant",
            _COOLANTS,
            default=start.get("coolant", "dry"),
            required=True,
            key=f"{stem}-coolant",
        )
    cut["power_feed"] = cut["feed_mm_rev"] is not None
    return cut


def _steps(steps: Any, field: Field, start: Json, stem: str, units: Units) -> float | None:  # noqa: ANN401
    """Choose one of the lathe's steps, or type a value where it has none."""
    present = start.get(field.key)
    if not isinstance(steps, list) or not steps:
        typed: float | None = read_typed(field, present, stem, units)
        return typed
    choices = sorted({*steps, *([] if present is None else [present])})
    options: list[float | None] = [*choices] if field is _SPEED else [*choices, None]
    return st.selectbox(
        field_label(field, units).removesuffix(" (if known)"),
        options,
        index=options.index(present) if present in options else 0,
        format_func=lambda v: "by hand" if v is None else field_text(field, v, units),
        key=f"{stem}-{field.key}",
    )


def told_panel(row: PassRow, units: Units) -> Json:
    """Show and read what the person noticed; all of it may stay empty."""
    told: Json = dict(row.told)
    stem = f"told-{row.id}-{units.value}"
    with st.expander("Noticed anything? Measured it?", key=f"{stem}-panel"):
        noticed = st.pills(
            "Noticed",
            NOTICED_WORDS,
            selection_mode="multi",
            default=told.get("noticed", []),
            key=f"{stem}-noticed",
        )
        edge = st.segmented_control(
            "The edge under a glass",
            _EDGE_SEEN,
            default=told.get("edge_looked_at", "not yet"),
            required=True,
            key=f"{stem}-edge",
        )
        before = told.get("measured_mm") or []
        diameter = read_typed(_MEASURED, before[0][1] if before else None, stem, units)
    told["noticed"] = list(noticed)
    told["edge_looked_at"] = edge
    told["measured_mm"] = [] if diameter is None else [[_middle(row), diameter]]
    return {k: v for k, v in told.items() if v not in ([], {}, None, "not yet")}


def _middle(row: PassRow) -> float:
    """Return where along the cut one measurement is taken to be: its middle, in mm."""
    return float(row.cut.get("length_mm") or 0) / 2
