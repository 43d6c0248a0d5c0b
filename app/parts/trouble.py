"""Errors on the page: what happened, why, what to do; never a traceback."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING

import streamlit as st

from app.errors import UNEXPECTED, code_of
from app.logfile import log_unexpected
from app.wording import error_message

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["no_traceback", "show_error"]


def show_error(error: Exception, *, about: str = "") -> None:
    """Show an error in words, with its code for whoever is asked for help.

    ``about`` names the photo it is about, where there are several.
    """
    code = code_of(error)
    if code == UNEXPECTED:
        log_unexpected(error)
    name = f"{about}: " if about else ""
    st.error(f"{name}{error_message(error)}\n\nCode: {code}")


@contextmanager
def no_traceback() -> Iterator[None]:
    """Turn any error inside into words; the page stays usable."""
    try:
        yield
    except Exception as error:  # noqa: BLE001 - the last fence before the person
        show_error(error)
