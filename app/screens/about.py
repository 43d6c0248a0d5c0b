"""About: safety first, what the method cannot see, versions, where the data lies."""

from __future__ import annotations

import streamlit as st

from app import session
from app.health import library_versions, version_text
from app.settings import home
from app.wording import CAUTIONS, LIMITS_OF_METHOD

__all__ = ["render"]


def render() -> None:
    """Draw the screen."""
    session.say_now()
    st.title("About Bluecurl", anchor=False)
    st.header("Safety", anchor=False)
    st.markdown("\n".join(f"- {text}" for text in CAUTIONS))
    st.header("What it cannot see", anchor=False)
    st.markdown("\n".join(f"- {text}" for text in LIMITS_OF_METHOD))
    st.header("Where the numbers come from", anchor=False)
    st.markdown(
        "Form names follow the chip chart of ISO 3685:1993. Every advice names its sources "
        "under “How sure is this?”; what is shop practice without a source says so."
    )
    st.header("Your data", anchor=False)
    st.markdown(
        f"Everything stays in `{home()}`. Nothing is sent anywhere. Place data is dropped "
        "from photos before they are kept."
    )
    st.header("Versions", anchor=False)
    libraries = ", ".join(f"{name} {number}" for name, number in library_versions().items())
    st.markdown(f"{version_text()}; {libraries}")


render()
