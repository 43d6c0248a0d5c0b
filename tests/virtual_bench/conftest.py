"""Puts the bench where its own tests and the command find it: as package ``virtual_bench``."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
