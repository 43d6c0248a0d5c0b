"""The screens of the page, one thin file each."""

from __future__ import annotations

__all__: list[str] = []
