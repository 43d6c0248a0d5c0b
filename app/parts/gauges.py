"""The part of the page about the chip itself: its thickness as measured, and its width."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from app import engine
from app.gauge_words import (
    BEST_SIGN,
    WIDTH_LIMITS,
    thickness_lines,
    thickness_trend_words,
    width_lines,
)
from app.parts.fields import Field
from app.parts.thickness_picture import thickness_picture, thickness_rows
from app.parts.typed import read_typed
from app.show import Units, about
from app.translate import case_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from streamlit.delta_generator import DeltaGenerator

    from app.records import JobRow, PassRow

__all__ = ["chip_panel", "show_gauges", "show_thickness_trend"]

Json = dict[str, Any]

_WAYS = ("not measured", "micrometer", "weighing", "whole length")
_READINGS = Field("thickness_mm", "Thickness at one place or several", "list", unit="mm")
_MASS = Field("mass_g", "Weight of the piece", unit="g")
_LENGTH = Field("length_mm", "Length along the chip, by rule", unit="mm")
_WIDTH = Field("width_mm", "Width of a flat strip, by calliper", unit="mm")
_TURNS = Field("turns", "Turns of the work for this chip")
_CUT = Field("cut_mm", "Or length cut on the work", unit="mm")
_HINTS = {
    "micrometer": (
        "Pinch a flat bit. Between flat anvils a curled chip reads too thick: use a pointed or "
        "ball anvil. On a saw-toothed back it touches the teeth. Two to five places tell more "
        "than one."
    ),
    "weighing": (
        "Rinse off oil and dry. Several pieces together are better than one: add up their "
        "lengths. From half a gram on, a balance that shows 0.01 g is good enough."
    ),
    "whole length": (
        "One whole, unbroken chip, and how much was cut for it: count the turns of the work, "
        "or break the chip with a slot along the bar and take the way round."
    ),
}
_WIDTH_HINT = "A calliper on one flat strip tells more of the width than a photo."
_FAR_OFF = ("narrow", "wide")


def chip_panel(row: PassRow, told: Json, units: Units) -> tuple[Json, DeltaGenerator]:
    """Show and read what was measured on the chip; give ``told`` with it, and a place below.

    The place is for what follows from it (:func:`show_gauges`).
    """
    chip: Json = dict(told.get("chip") or {})
    stem = f"chip-{row.id}-{units.value}"
    with st.expander("Thickness and width of the chip", key=f"{stem}-panel"):
        st.markdown(BEST_SIGN)
        way = st.segmented_control(
            "Thickness measured by",
            _WAYS,
            default=_way_of(chip),
            required=True,
            key=f"{stem}-way",
        )
        measured: Json = {}
        if way in _HINTS:
            st.caption(_HINTS[way])
        if way == "micrometer":
            measured["thickness_mm"] = read_typed(
                _READINGS, chip.get("thickness_mm"), stem, units, asked=True
            )
        elif way == "weighing":
            measured["mass_g"] = read_typed(_MASS, chip.get("mass_g"), stem, units, asked=True)
        if way in ("weighing", "whole length"):
            seen = _piece(row, chip, stem, units)
            measured |= {"length_mm": seen.get("length_mm")}
            if way == "weighing":
                measured |= {"width_mm": seen.get("width_mm")}
            measured["length_mm"] = _by_hand(_LENGTH, chip, measured, stem, units)
        if way == "whole length":
            measured |= _cut_for_it(chip, stem, units)
        measured["width_mm"] = _by_hand(_WIDTH, chip, measured, stem, units)
        st.caption(_WIDTH_HINT)
        lacking = _lacking(way, measured)
        if lacking:
            st.markdown(f"Still needed for a thickness: {lacking}.")
        place = st.container()
    kept = {key: value for key, value in measured.items() if value is not None}
    rest = {key: value for key, value in told.items() if key != "chip"}
    return (rest | {"chip": kept} if kept else rest), place


def _way_of(chip: Json) -> str:
    if chip.get("thickness_mm"):
        return "micrometer"
    if chip.get("mass_g"):
        return "weighing"
    return "whole length" if {"length_mm", "turns", "cut_mm"} & set(chip) else "not measured"


def _piece(row: PassRow, chip: Json, stem: str, units: Units) -> Json:
    """Let the person name the piece in the photo; give that chip, or nothing."""
    chips = [c for c in (row.reading or {}).get("chips") or [] if _is_of_use(c)]
    if not chips:
        return {}
    chips.sort(key=lambda c: float(c["length_mm"]["u"] / c["length_mm"]["value"]))
    by_number = {int(c["number"]): c for c in chips}
    numbers: list[int | None] = [None, *by_number]
    present = next(
        (n for n, c in by_number.items() if c["length_mm"] == chip.get("length_mm")), None
    )

    def words(number: int | None) -> str:
        if number is None:
            return "measured by hand"
        return (
            f"chip {number}: {about(by_number[number]['length_mm'], 'mm', units, spread=True)}"
        )

    number = st.selectbox(
        "Length from the photo",
        numbers,
        index=numbers.index(present),
        format_func=words,
        key=f"{stem}-piece",
    )
    return {} if number is None else by_number[number]


def _is_of_use(chip: Json) -> bool:
    """Whether a chip's length in the photo is that of a whole chip and not all doubt."""
    length = chip.get("length_mm")
    if chip.get("kind") != "chip" or length is None or "bound" in length:
        return False
    return bool(2 * length["u"] < length["value"])


def _lacking(way: str | None, measured: Json) -> str:
    """Return what is still needed for a thickness, in words; empty where all is there."""
    ways: dict[str, dict[str, tuple[str, ...]]] = {
        "micrometer": {"a reading": ("thickness_mm",)},
        "weighing": {
            "the weight": ("mass_g",),
            "the length": ("length_mm",),
            "the width": ("width_mm",),
        },
        "whole length": {
            "the length": ("length_mm",),
            "the turns or the length cut": ("turns", "cut_mm"),
        },
    }
    needs = ways.get(way or "", {})
    gone = [
        words for words, keys in needs.items() if all(measured.get(key) is None for key in keys)
    ]
    return ", ".join(gone)


def _by_hand(field: Field, chip: Json, measured: Json, stem: str, units: Units) -> Any:  # noqa: ANN401 - JSON
    """Return what was typed, else what the photo gave."""
    before = chip.get(field.key)
    typed = read_typed(field, None if isinstance(before, dict) else before, stem, units)
    return measured.get(field.key) if typed is None else typed


def _cut_for_it(chip: Json, stem: str, units: Units) -> Json:
    turns = read_typed(_TURNS, chip.get("turns"), stem, units, asked=True)
    cut_mm = read_typed(_CUT, chip.get("cut_mm"), stem, units, asked=True)
    if turns is not None and cut_mm is not None:
        st.error("Give the turns or the length cut, not both; the length is taken.")
        turns = None
    return {"turns": turns, "cut_mm": cut_mm}


def show_gauges(
    gauges: Json | None, units: Units, *, warn: DeltaGenerator | None = None
) -> None:
    """Show what thickness and width say; a width far off is also told at ``warn``."""
    if not gauges:
        return
    thickness, width = gauges["thickness"], gauges["width"]
    if thickness:
        lines = thickness_lines(thickness, units)
        st.markdown(f"**Thickness.** {lines[0]}")
        for line in [*lines[1:], thickness_trend_words(thickness["trend"])]:
            st.markdown(line)
    lines = width_lines(width, units)
    st.markdown(f"**Width.** {' '.join(lines)}")
    st.caption(WIDTH_LIMITS)
    if warn is not None and width["state"] in _FAR_OFF:
        warn.warning(f"**Chip width.** {lines[0]}")


def show_thickness_trend(job: JobRow, rows: Sequence[PassRow], units: Units) -> None:
    """Show the chip thickness over the passes of a job; nothing before a second one."""
    if sum(bool(row.told.get("chip")) for row in rows) < 2:  # noqa: PLR2004 - no trend
        return
    try:
        trend = engine.thickness_trend(case_of(job, rows))
    except Exception:  # noqa: BLE001 - the advice beside it tells what is wrong with the case
        return
    picture = thickness_picture(trend, units)
    if not picture:
        return
    st.subheader("Chip thickness over the passes", anchor=False)
    words = thickness_trend_words(trend["state"])
    alarm = trend["state"] in ("thicker", "looked")
    st.markdown(f"**\N{WARNING SIGN} {words}**" if alarm else words)
    st.html(picture)
    with st.expander("The thickness in numbers"):
        st.table(thickness_rows(trend, units), border="horizontal")
        st.caption(
            "Bars are ± 2 u. Grey: the chip before; dashed: from here on the edge is called. A "
            "square begins a row, a triangle calls the edge. “Times” is the compression: chip "
            f"over uncut thickness. {BEST_SIGN}"
        )
