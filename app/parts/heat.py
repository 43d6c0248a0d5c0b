"""The heat part of the page: the ladder with its meaning, and the trend of the job."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING, Any

import streamlit as st

from app import engine
from app.heat_words import film_words, meaning, tint_doubt, trend_words
from app.parts.ladder import ladder_picture
from app.parts.trend import trend_picture, trend_rows
from app.translate import case_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from app.records import JobRow, PassRow

__all__ = ["heat_setting", "show_heat", "show_trend"]

Json = dict[str, Any]


def heat_setting(job: JobRow, row: PassRow) -> Json:
    """Return what decides the meaning of a pass's tint: the stuff of its edge, and coolant."""
    edge = row.told.get("edge") or job.edge
    return {"edge_material": edge.get("material"), "coolant": row.cut.get("coolant")}


def show_heat(
    reading: Json, *, edge_material: str | None = None, coolant: str | None = None
) -> None:
    """Show where the chips stand on their metal's ladder of tints, and what that means."""
    heat = reading.get("heat")
    if not heat:
        return
    picture = ladder_picture(reading, engine.tint_ladder(heat.get("family")))
    if not picture:
        return
    st.html(picture)
    lines = [tint_doubt(heat), *meaning(heat, edge_material=edge_material, coolant=coolant)]
    share = heat.get("share_tinted")
    film = f"Film {film_words(heat)}"
    if share is not None:
        film += f"; {100 * share['value']:.0f} % of the surface tinted"
    with st.expander("What the tint says"):
        st.html(
            "".join(f'<p class="bc-why">{escape(line)}</p>' for line in lines if line)
            + f'<p class="bc-why">{escape(film)}.</p>'
            f'<p class="bc-small">{escape(str(heat.get("basis", "")))} The colours of the '
            "ladder are computed; screens differ.</p>"
        )


def show_trend(job: JobRow, rows: Sequence[PassRow]) -> None:
    """Show film and tinted share over the passes of a job, with what is to be made of it.

    Nothing for metals whose tint says nothing, nor before a second pass with a film.
    """
    seen = [row for row in rows if row.reading is not None]
    if len(seen) < 2:  # noqa: PLR2004 - one pass is no trend
        return
    try:
        trend = engine.heat_trend(case_of(job, rows, by_eye=False))
    except Exception:  # noqa: BLE001 - the advice beside it tells what is wrong with the case
        return
    picture = trend_picture(trend, engine.tint_ladder(trend["family"]))
    if not picture:
        return
    st.subheader("Heat over the passes", anchor=False)
    words = trend_words(trend["state"], coolant=rows[-1].cut.get("coolant"))
    mark = {"hotter": "\N{WARNING SIGN} ", "looked": "\N{WARNING SIGN} "}.get(
        trend["state"], ""
    )
    st.markdown(f"**{mark}{words}**" if mark else words)
    st.html(picture)
    with st.expander("The trend in numbers"):
        st.table(trend_rows(trend), border="horizontal")
        st.caption(
            "Grey boxes: what the passes before and the settings lead to expect, about 95 in "
            "100. Dots are read with bars of ± 2 u; a square begins a new row, a triangle is "
            "an alarm. Alarms while nothing changes are some 400 passes apart."
        )
