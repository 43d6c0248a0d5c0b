"""The page: its settings, its screens and the row of links between them."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from app.parts.trouble import no_traceback

__all__: list[str] = []

HERE = Path(__file__).parent
SCREENS = {"read": "Read", "log": "Log", "setup": "Set-up", "about": "About"}


def _main() -> None:
    st.set_page_config(page_title="Bluecurl", layout="wide", initial_sidebar_state="collapsed")
    st.html(HERE / "style.css")
    pages = {
        name: st.Page(
            HERE / "screens" / f"{name}.py",
            title=f"{title} - Bluecurl",
            url_path=name,
            default=name == "read",
        )
        for name, title in SCREENS.items()
    }
    page = st.navigation(list(pages.values()), position="hidden")
    with st.container(horizontal=True, key="nav"):
        for name, title in SCREENS.items():
            st.page_link(pages[name], label=title, width="content")
    with no_traceback():
        page.run()


_main()
