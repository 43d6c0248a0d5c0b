"""Pieces of the page that several screens share."""

from __future__ import annotations

__all__: list[str] = []
