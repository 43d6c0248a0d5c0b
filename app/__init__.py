"""The page, the command line and the logbook of Bluecurl."""

from __future__ import annotations

__all__: list[str] = []
