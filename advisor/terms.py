"""Words of the trade that cases and advice use; an equal copy of the reader's words.

The form codes and tints must stay equal to those of the chip reader; a test compares
them, because the two packages never import each other.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Final

__all__ = [
    "CONDITIONS",
    "COOLANTS",
    "DIRECTIONS",
    "EDGE_LOOKS",
    "EDGE_MATERIALS",
    "FEED_CHANGES",
    "GROUP_NAMES",
    "HOLDINGS",
    "LEVERS",
    "LONG_FORMS",
    "NOTICED",
    "SNARLED_FORMS",
    "STOCKS",
    "TINTS",
    "VERDICTS",
    "ChipForm",
    "form_name",
]


class ChipForm(StrEnum):
    """Codes of the ISO 3685 chip chart (sub-numbers from memory)."""

    RIBBON_LONG = "1.1"
    RIBBON_SHORT = "1.2"
    RIBBON_SNARLED = "1.3"
    TUBULAR_LONG = "2.1"
    TUBULAR_SHORT = "2.2"
    TUBULAR_SNARLED = "2.3"
    SPIRAL_FLAT = "3.1"
    SPIRAL_CONICAL = "3.2"
    WASHER_LONG = "4.1"
    WASHER_SHORT = "4.2"
    WASHER_SNARLED = "4.3"
    CONICAL_LONG = "5.1"
    CONICAL_SHORT = "5.2"
    CONICAL_SNARLED = "5.3"
    ARC_CONNECTED = "6.1"
    ARC_LOOSE = "6.2"
    ELEMENTAL = "7"
    NEEDLE = "8"


GROUP_NAMES: Final = {
    "1": "ribbon",
    "2": "tubular coil",
    "3": "spiral",
    "4": "washer-type coil",
    "5": "conical coil",
    "6": "arc",
    "7": "elemental",
    "8": "needle",
}

LONG_FORMS: Final = frozenset({"1.1", "2.1", "4.1", "5.1"})
SNARLED_FORMS: Final = frozenset({"1.3", "2.3", "4.3", "5.3"})

#: Tints in order of growing oxide film; the last two only on titanium.
TINTS: Final = (
    "bright",
    "pale straw",
    "straw",
    "dark straw",
    "brown",
    "purple",
    "dark blue",
    "blue",
    "light blue",
    "grey",
    "second yellow",
    "second purple",
)

STOCKS: Final = ("round", "hex", "square", "cast skin", "rolled skin")
HOLDINGS: Final = ("chuck", "chuck and centre", "between centres", "steady rest")
DIRECTIONS: Final = ("along", "face", "plunge", "part off", "bore")
COOLANTS: Final = ("dry", "cutting oil", "soluble oil")
EDGE_MATERIALS: Final = ("HSS", "carbide", "coated carbide")
CONDITIONS: Final = ("fresh", "used", "dull")
EDGE_LOOKS: Final = ("not yet", "sharp", "chipped", "worn", "built-up")
FEED_CHANGES: Final = ("lever", "gears")
NOTICED: Final = (
    "rubbing",
    "squeal",
    "chatter",
    "hammering",
    "tearing",
    "dull finish",
    "burr",
    "labouring",
    "stalled",
    "slipped",
    "dug in",
    "wrapped on work",
    "work hot",
    "smoke",
    "sparks",
)
LEVERS: Final = ("speed", "feed", "depth", "edge", "support", "coolant")
VERDICTS: Final = (
    "start",
    "keep",
    "change",
    "look at the edge",
    "stop",
    "retake the photo",
    "done",
)

_LENGTH_WORDS: Final = {"1": "long", "2": "short", "3": "snarled"}
_SHAPE_WORDS: Final = {
    "3.1": "flat spiral",
    "3.2": "conical spiral",
    "6.1": "connected arcs",
    "6.2": "loose arc",
}


def form_name(code: str) -> str:
    """Return a form code, or a bare group, in words.

    >>> form_name("2.3"), form_name("6.2"), form_name("4")
    ('snarled tubular coil', 'loose arc', 'washer-type coil')
    """
    if code in _SHAPE_WORDS:
        return _SHAPE_WORDS[code]
    group, _, length = code.partition(".")
    name = GROUP_NAMES[group]
    return f"{_LENGTH_WORDS[length]} {name}" if length else name
