"""Cheap 2-D pictures of chips on the card, with known sizes, for tests and examples."""

from __future__ import annotations

from vision.synthetic.scene import SyntheticScene, make_scene
from vision.synthetic.strips import FORMS, SyntheticChip

__all__ = ["FORMS", "SyntheticChip", "SyntheticScene", "make_scene"]
