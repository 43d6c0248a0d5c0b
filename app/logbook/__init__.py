"""Jobs, passes and photos on disk."""

from __future__ import annotations

__all__: list[str] = []
