"""Drawings as pictures in the page: SVG goes in as an image, since plain SVG is filtered out.

An image does not inherit the page's ink, so each drawing follows the system's light or
dark scheme by itself, as the page does.
"""

from __future__ import annotations

import base64
from html import escape

__all__ = ["drawing"]

_INK = (
    "svg{color:#1c1d22;font-family:'Source Sans',system-ui,sans-serif}"
    "@media(prefers-color-scheme:dark){svg{color:#f2f2f4}}"
)


def drawing(inside: str, *, width: float, height: float, words: str) -> str:
    """Return an HTML image of SVG elements; ``words`` says the same without a picture."""
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" '
        f'width="{2 * width:g}" height="{2 * height:g}" fill="currentColor">'
        f"<style>{_INK}</style>{inside}</svg>"
    )
    data = base64.b64encode(svg.encode()).decode()
    return (
        f'<img class="bc-drawing" alt="{escape(words, quote=True)}" '
        f'src="data:image/svg+xml;base64,{data}">'
    )
