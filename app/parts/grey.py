"""Where a photo shows no white paper: let the person point at something grey in it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from app import engine
from app.pointing import percent_at, photos_without_tint, pixel_at, with_cross

if TYPE_CHECKING:
    from app.logbook.store import Logbook
    from app.records import PassRow

__all__ = ["grey_note", "grey_point"]

_NOTE = (
    "Tint by the grey you pointed at: less certain than by white paper all round the chips, "
    "and wrong if that thing has a colour of its own."
)
_OFFER = (
    "Something grey or white in the photo can stand in for the card; the tint is then less "
    "certain."
)
_HOW = (
    "Bring the cross onto something grey or white: paper, grey plastic, the bare sheet under "
    "the chips. It must lie in the same light as the chips. Nothing shiny, nothing coloured "
    "such as wood or paint, no chip. The corner shows what lies under the cross."
)
_FAILED = (
    "No tint came of the place you pointed at. It may be uneven, coloured, too dark or "
    "over-exposed. Try another."
)


def grey_note(row: PassRow) -> str:
    """Return what to keep in mind where a grey was pointed at; empty where none was."""
    return _NOTE if any(row.neutrals_px) else ""


def grey_point(book: Logbook, row: PassRow) -> None:
    """Offer to point at something grey where the colour of a pass could not be trusted.

    What was pointed at is kept with the photo, and the pass is read again.
    """
    if row.reading is None or row.reading["usable"] == "retake":
        return
    lacking = photos_without_tint(row.reading, len(row.photo_sha256s))
    pointed = [place for place, at in enumerate(row.neutrals_px) if at is not None]
    failed = [place for place in pointed if place in lacking]
    if not (lacking or pointed):
        return
    key = f"grey-{row.id}"
    with st.container(key=f"{key}-part"):
        if pointed and not failed:
            st.caption(_NOTE)
        if not (failed or st.session_state.get(f"{key}-open")):
            if not pointed:
                st.markdown(_OFFER)
            words = "Show me another grey" if pointed else "Show me something grey"
            if st.button(words, key=f"{key}-show", width="stretch"):
                st.session_state[f"{key}-open"] = True
                st.rerun()
            return
        st.subheader("Something grey", anchor=False)
        if failed:
            st.warning(_FAILED)
        st.markdown(_HOW)
        _point(book, row, sorted({*lacking, *pointed}))


@st.fragment
def _point(book: Logbook, row: PassRow, places: list[int]) -> None:
    """Show the photo with its cross; only this part runs again while the cross is moved."""
    key = f"grey-{row.id}"
    place = places[0]
    if len(places) > 1:
        place = st.segmented_control(
            "Which photo",
            places,
            default=place,
            required=True,
            format_func=lambda k: f"Photo {k + 1}",
            key=f"{key}-photo",
        )
    sha256, before = row.photo_sha256s[place], row.neutrals_px[place]
    photo = _upright(sha256, book)
    at = (50, 50) if before is None else percent_at(before, photo.size_px)
    picture = st.container()
    across = st.slider(
        "Across, from the left", 0, 100, at[0], format="%d %%", key=f"{key}-across-{sha256}"
    )
    down = st.slider(
        "Down, from the top", 0, 100, at[1], format="%d %%", key=f"{key}-down-{sha256}"
    )
    picture.image(
        with_cross(photo, (across, down)),
        width="stretch",
        alt=f"The photo with a cross {across} % across and {down} % down.",
    )
    if st.button("Read again with this grey", type="primary", width="stretch", key=f"{key}-go"):
        _read_again(book, row, sha256, pixel_at((across, down), photo.size_px))
    words = "Go on without" if before is None else "Leave this grey out"
    if st.button(words, width="stretch", key=f"{key}-leave"):
        if before is not None:
            _read_again(book, row, sha256, None)
        st.session_state[f"{key}-open"] = False
        st.rerun()


@st.cache_resource(show_spinner=False, max_entries=4)
def _upright(sha256: str, _book: Logbook) -> engine.Upright:
    return engine.upright(_book.photo(sha256)[1])


def _read_again(
    book: Logbook, row: PassRow, sha256: str, at_px: tuple[int, int] | None
) -> None:
    """Keep the place and let the next run of the page read the pass; a named form stays."""
    book.keep_neutral(sha256, at_px)
    book.fill_pass(row.id, reading=None, advice=None)
    st.session_state[f"grey-{row.id}-open"] = False
    st.rerun()
