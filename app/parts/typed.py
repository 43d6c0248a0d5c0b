"""One text field on the page: shown, read, and told where it cannot be read."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from app.parts.fields import Field, field_label, field_text, read_field

if TYPE_CHECKING:
    from app.show import Units

__all__ = ["read_typed"]


def read_typed(
    field: Field,
    present: Any,  # noqa: ANN401 - JSON
    stem: str,
    units: Units,
    *,
    asked: bool = False,
) -> Any:  # noqa: ANN401 - JSON
    """Show a field and return what stands in it; what cannot be read keeps its former value.

    ``asked`` leaves "(if known)" off the label of a field that the person asked for.
    """
    label, shown = field_label(field, units), field_text(field, present, units)
    if asked:
        label = label.removesuffix(" (if known)")
    text = st.text_input(label, shown, key=f"{stem}-{field.key}")
    try:
        value = read_field(field, text or "", units)
    except ValueError as error:
        st.error(str(error))
        return present
    # What was not touched keeps its exact value; the text of it is rounded.
    return present if text == shown else value
