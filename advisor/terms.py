"""Words of the trade that a case and an advice may hold.

Form codes follow the chip chart of ISO 3685:1993 (sub-numbers from memory). They and the
tints equal those of the reader, by a test and not by an import: the cores are strangers.
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
    "FORM_WORDS",
    "HOLDINGS",
    "NOTICED",
    "STOCKS",
    "TINTS",
    "USABLE",
    "ChipForm",
    "FormClass",
    "form_class",
]


class ChipForm(StrEnum):
    """Full form codes; in groups 3 and 6 the sub-number is a shape, elsewhere a length."""

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


#: What many chips of a form are called inside a sentence.
FORM_WORDS: Final[dict[str, str]] = {
    "1.1": "long straight ribbons",
    "1.2": "short ribbons",
    "1.3": "snarled ribbons",
    "2.1": "long tubular coils",
    "2.2": "short tubular coils",
    "2.3": "snarled tubular coils",
    "3.1": "flat spirals",
    "3.2": "conical spirals",
    "4.1": "long washer-type coils",
    "4.2": "short washer-type coils",
    "4.3": "snarled washer-type coils",
    "5.1": "long conical coils",
    "5.2": "short conical coils",
    "5.3": "snarled conical coils",
    "6.1": "connected arcs",
    "6.2": "loose arcs",
    "7": "crumbs",
    "8": "needles",
}


class FormClass(StrEnum):
    """What a form means at the lathe, whichever way it is wound."""

    SNARLED = "snarled"
    LONG_RIBBON = "long ribbon"
    LONG_COIL = "long coil"
    SHORT_RIBBON = "short ribbon"
    SHORT_CURL = "short curl"
    ELEMENTAL = "elemental"
    NEEDLE = "needle"


_CLASSES: Final[dict[str, FormClass]] = {
    "1.1": FormClass.LONG_RIBBON,
    "1.2": FormClass.SHORT_RIBBON,
    "7": FormClass.ELEMENTAL,
    "8": FormClass.NEEDLE,
}


def form_class(code: str) -> FormClass:
    """Return the class of a form code.

    >>> form_class("4.3").value, form_class("6.2").value
    ('snarled', 'short curl')
    """
    if code in _CLASSES:
        return _CLASSES[code]
    group, _, sub = code.partition(".")
    if group in {"1", "2", "4", "5"} and sub == "3":
        return FormClass.SNARLED
    if group in {"2", "4", "5"} and sub == "1":
        return FormClass.LONG_COIL
    return FormClass.SHORT_CURL


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
USABLE: Final = ("yes", "with care", "retake")
