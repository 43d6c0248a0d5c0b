"""Pieces of the page that show a reading. Text of others is escaped before it is drawn."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING, Any

import streamlit as st

from app.parts.heat import show_heat
from app.plain import chip_words, heat_line, tint_words, verdict_line
from app.show import Units, about, lab_to_hex
from app.wording import USABLE_WORDS

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

__all__ = [
    "chip_list",
    "facts_list",
    "flag_notes",
    "picture_text",
    "reading_facts",
    "show_reading",
]

Json = dict[str, Any]
_SIZES = (
    ("length", "length_mm", "mm"),
    ("width", "width_mm", "mm"),
    ("curl radius", "curl_radius_mm", "mm"),
    ("pitch", "pitch_mm", "mm"),
    ("turns", "turns", ""),
)


def show_reading(
    reading: Json,
    pictures: Sequence[bytes | None],
    units: Units,
    *,
    setting: Json | None = None,
    take_out: Callable[[int], None] | None = None,
) -> None:
    """Show the pictures with numbers, the verdict, the notes and the list of chips.

    ``setting`` may name ``edge_material`` and ``coolant``, which decide what a tint means;
    ``take_out`` is called with the place of a photo that shall not count.
    """
    _pictures(reading, pictures, take_out)
    st.html(facts_list(reading_facts(reading)))
    show_heat(reading, **(setting or {}))
    flag_notes(reading)
    count = len(reading["chips"])
    with st.expander(f"Chips one by one ({count})"):
        st.html(chip_list(reading, units))
        st.caption("Swatches show the measured colour; screens differ.")


def _pictures(
    reading: Json, pictures: Sequence[bytes | None], take_out: Callable[[int], None] | None
) -> None:
    """Show each photo; where there are several, with what is on it and a way to drop it.

    ``None`` stands for a photo whose picture was not kept.
    """
    several = len(pictures) > 1
    for place, picture in enumerate(pictures):
        number = place + 1 if several else None
        if picture is not None:
            st.image(picture, width="stretch", alt=picture_text(reading, number))
        if not several:
            continue
        with st.container(horizontal=True, vertical_alignment="center"):
            st.html(
                f'<span class="bc-small">Photo {number} of {len(pictures)}: '
                f"{_numbers(reading, place + 1)}</span>",
                width="stretch",
            )
            if take_out is not None:
                st.button("Take out", key=f"take-out-{place}", on_click=take_out, args=(place,))


def _on_photo(reading: Json, number: int | None) -> list[Json]:
    """Return the chips that are seen on one photo, or on all for ``None``."""
    chips: list[Json] = reading["chips"]
    return [c for c in chips if number is None or c.get("photo_number", 1) == number]


def _numbers(reading: Json, number: int) -> str:
    """Return which chips are on a photo, in words."""
    numbers = [chip["number"] for chip in _on_photo(reading, number)]
    if not numbers:
        return "no chips"
    one = len(numbers) == 1
    return f"chip {numbers[0]}" if one else f"chips {numbers[0]} to {numbers[-1]}"


def picture_text(reading: Json, number: int | None = None) -> str:
    """Return the picture in words, for those who cannot see it; ``number`` of several."""
    count = len(_on_photo(reading, number))
    chips = "1 outlined chip" if count == 1 else f"{count} outlined and numbered chips"
    which = "Photo" if number is None else f"Photo {number}"
    return f"{which} with {chips}. Form: {verdict_line(reading)}."


def reading_facts(reading: Json) -> list[tuple[str, str]]:
    """Return form, tint and photo as (word, HTML)."""
    return [
        ("Form", escape(verdict_line(reading))),
        ("Tint", f"{_photo_swatch(reading)} {escape(heat_line(reading))}"),
        (
            "Photo",
            escape(
                f"{_how_many(reading)}{USABLE_WORDS[reading['usable']]}, "
                f"{_scale_words(reading['scale'])}"
            ),
        ),
    ]


def _how_many(reading: Json) -> str:
    count = len(reading.get("photos") or ())
    return f"{count} taken together, " if count > 1 else ""


def _scale_words(scale: Json) -> str:
    words = {"card": "card found", "typed": "scale typed"}
    return words.get(scale["source"], "no card in view, so no sizes")


def facts_list(facts: list[tuple[str, str]]) -> str:
    """Return (word, HTML) pairs as a description list."""
    rows = "".join(f"<dt>{escape(word)}</dt><dd>{html}</dd>" for word, html in facts)
    return f'<dl class="bc-facts">{rows}</dl>'


def flag_notes(reading: Json) -> None:
    """Show what to keep in mind about the photo, with what to do."""
    if not reading["flags"]:
        return
    notes = "\n".join(f"- {flag['text']} {flag['do']}" for flag in reading["flags"])
    if reading["usable"] == "retake":
        st.error(f"**Take the photo again.**\n\n{notes}")
    else:
        st.info(notes)


def chip_list(reading: Json, units: Units) -> str:
    """Return the chips as an HTML list: number, form, tint with swatch, sizes."""
    items = "".join(f"<li>{_chip_html(chip, units)}</li>" for chip in reading["chips"])
    return f'<ol class="bc-chips">{items}</ol>'


def _chip_html(chip: Json, units: Units) -> str:
    tint = f"{_swatch(chip['tint'])} {escape(tint_words(chip['tint']))}"
    sizes = [
        f"{word} {about(chip[name], unit, units, spread=True)}"
        for word, name, unit in _SIZES
        if chip.get(name) is not None
    ]
    if chip.get("count"):
        sizes.append(f"about {chip['count']} grains")
    number = f'<span class="bc-number">{int(chip["number"])}</span>'
    head = f"{number} {escape(chip_words(chip))}, {tint}"
    return head + (
        f'<br><span class="bc-small">{escape("; ".join(sizes))}</span>' if sizes else ""
    )


def _swatch(tint: Json | None) -> str:
    if not tint or not tint.get("lab"):
        return ""
    return f'<span class="bc-swatch" style="background:{lab_to_hex(tint["lab"])}"></span>'


def _photo_swatch(reading: Json) -> str:
    """Return the swatch of the chip whose tint is that of the photo."""
    name = (reading.get("heat") or {}).get("tint")
    tints = [chip["tint"] for chip in reading["chips"] if chip["tint"]]
    return next((_swatch(t) for t in tints if name and t.get("name") == name), "")
