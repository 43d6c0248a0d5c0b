"""Heat tint: from the colour of a chip to film thickness, tint name and a temperature band."""

from __future__ import annotations

__all__: list[str] = []
