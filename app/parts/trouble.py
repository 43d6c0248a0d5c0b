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


def show_error(error: Exception) -> None:
    """Show an error in words, with its code for whoever is asked for help."""
    code = code_of(error)
    if code == UNEXPECTED:
        log_unexpected(error)
    st.error(f"{error_message(error)}\n\nCode: {code}")


@contextmanager
def no_traceback() -> Iterator[None]:
    """Turn any error inside into words; the page stays usable."""
    try:
        yield
    except Exception as error:  # noqa: BLE001 - the last fence before the person
        show_error(error)
