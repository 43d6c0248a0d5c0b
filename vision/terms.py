"""Words of the trade that the reading uses: chip groups, form codes, tint names, flags.

Group names follow the chip chart of ISO 3685:1993. The sub-numbers are from memory
(nobody here has read the chart itself); length words have no millimetres there, so
the limits below are ours.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

__all__ = [
    "COIL_GROUPS",
    "FLAGS",
    "FORM_NAMES",
    "GREY_ZONE",
    "GROUP_NAMES",
    "LONG_ALONG_CHIP_MM",
    "LONG_COIL_MM",
    "SNARLING",
    "TINTS",
    "ChipGroup",
    "Flag",
    "FlagInfo",
]


class ChipGroup(StrEnum):
    """The eight groups of the ISO 3685 chip chart."""

    RIBBON = "1"
    TUBULAR = "2"
    SPIRAL = "3"
    WASHER_HELICAL = "4"
    CONICAL_HELICAL = "5"
    ARC = "6"
    ELEMENTAL = "7"
    NEEDLE = "8"


GROUP_NAMES: dict[str, str] = {
    "1": "ribbon",
    "2": "tubular coil",
    "3": "spiral",
    "4": "washer-type coil",
    "5": "conical coil",
    "6": "arc",
    "7": "elemental",
    "8": "needle",
}

#: Full codes. In groups 3 and 6 the sub-number is a shape word, elsewhere a length word.
FORM_NAMES: dict[str, str] = {
    "1.1": "long ribbon",
    "1.2": "short ribbon",
    "1.3": "snarled ribbon",
    "2.1": "long tubular coil",
    "2.2": "short tubular coil",
    "2.3": "snarled tubular coil",
    "3.1": "flat spiral",
    "3.2": "conical spiral",
    "4.1": "long washer-type coil",
    "4.2": "short washer-type coil",
    "4.3": "snarled washer-type coil",
    "5.1": "long conical coil",
    "5.2": "short conical coil",
    "5.3": "snarled conical coil",
    "6.1": "connected arcs",
    "6.2": "loose arc",
    "7": "elemental",
    "8": "needle",
}

#: Groups whose long / short word is about the length of the coil along its axis.
COIL_GROUPS = ("2", "4", "5")
#: Groups that can snarl: ribbons and coils.
SNARLING = ("1", *COIL_GROUPS)

#: Ours, mm: developed length from which a ribbon is called long (common practice, no source).
LONG_ALONG_CHIP_MM = 100.0
#: Ours, mm: coil length along its axis from which a coil is called long (same).
LONG_COIL_MM = 50.0
#: Ours, share: within this of a limit both codes stand as candidates.
GREY_ZONE = 0.15

#: Tint names in order of growing oxide film; the last two only on titanium.
TINTS: tuple[str, ...] = (
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


class Flag(StrEnum):
    """What to keep in mind about a chip or a photo; registry in :data:`FLAGS`."""

    NO_SCALE = "no-scale"
    CARD_PARTLY_HIDDEN = "card-partly-hidden"
    CARD_TILTED = "card-tilted"
    CARD_BENT = "card-bent"
    UNEVEN_LIGHT = "uneven-light"
    CLIPPED = "clipped"
    BLURRED = "blurred"
    NO_NEUTRAL = "no-neutral"
    MIXED_LAMPS = "mixed-lamps"
    TINT_SAYS_NOTHING = "tint-says-nothing"
    LOW_DENSITY = "low-density"
    CUT_OFF = "cut-off"
    TOUCHING = "touching"
    GROUPED = "grouped"
    TOO_SMALL = "too-small"
    UNLIKE = "unlike-any"
    NOT_SURE = "not-sure"
    NEST_OPEN = "nest-open"
    FEW_CHIPS = "few-chips"
    CLUTTER = "clutter"
    PITCH_UNSURE = "pitch-unsure"
    MODEL_MISSING = "model-missing"


@dataclass(frozen=True, slots=True)
class FlagInfo:
    """Text of one flag: what it means and what the person can do."""

    text: str
    do: str


FLAGS: dict[Flag, FlagInfo] = {
    Flag.NO_SCALE: FlagInfo(
        "No card in view, so nothing is in millimetres.",
        "Lay the chips on the printed card, or type the scale.",
    ),
    Flag.CARD_PARTLY_HIDDEN: FlagInfo(
        "Much of the card's border is hidden or cut off.",
        "Keep the whole border in view.",
    ),
    Flag.CARD_TILTED: FlagInfo(
        "The camera looks at the card from far to one side.",
        "Hold the phone flat above the card.",
    ),
    Flag.CARD_BENT: FlagInfo(
        "The card does not lie flat, or the print is distorted.",
        "Tape the card to something flat.",
    ),
    Flag.UNEVEN_LIGHT: FlagInfo(
        "One side of the card is much brighter than the other.",
        "Use soft light from a window or a white ceiling; no hard lamp from one side.",
    ),
    Flag.CLIPPED: FlagInfo(
        "The sheet is over-exposed, so bright metal cannot be told from paper.",
        "Tap the white sheet on the phone's screen and lower the exposure.",
    ),
    Flag.BLURRED: FlagInfo(
        "The photo is not sharp.", "Hold still, tap to focus, or step back a little."
    ),
    Flag.NO_NEUTRAL: FlagInfo(
        "No white paper in view, so colour cannot be trusted.",
        "Lay the chips on the printed card.",
    ),
    Flag.MIXED_LAMPS: FlagInfo(
        "Lamps of different colours light the sheet, so colour cannot be trusted.",
        "Use one kind of light, best a window or the shade.",
    ),
    Flag.TINT_SAYS_NOTHING: FlagInfo(
        "The tint of this metal says nothing about heat.", "Watch the form of the chip instead."
    ),
    Flag.LOW_DENSITY: FlagInfo(
        "Too few pixels on each millimetre to measure small chips.", "Go closer."
    ),
    Flag.CUT_OFF: FlagInfo(
        "The chip runs out of the photo; its sizes are at least as given.",
        "Keep chips inside the white field.",
    ),
    Flag.TOUCHING: FlagInfo(
        "This may be several chips touching.", "Spread the chips so that each lies alone."
    ),
    Flag.GROUPED: FlagInfo(
        "Seen in several pieces and taken for one chip.",
        "Check the outline; take the photo from another side if it is wrong.",
    ),
    Flag.TOO_SMALL: FlagInfo("Too small in this photo to be measured.", "Go closer."),
    Flag.UNLIKE: FlagInfo(
        "It is unlike any chip the reader has learned from, in measures or in its many pieces.",
        "See that the outline holds one whole chip and nothing else; if so, name it yourself.",
    ),
    Flag.NOT_SURE: FlagInfo(
        "The form is not certain.", "Name it yourself, or turn the chip and take another photo."
    ),
    Flag.NEST_OPEN: FlagInfo(
        "A nest, but what is snarled in it does not show clearly enough.",
        "Name it if you can see what it is made of; the advice holds for any nest.",
    ),
    Flag.FEW_CHIPS: FlagInfo(
        "Fewer than five chips: too few to judge the cut.",
        "Lay out five chips or more from the same pass.",
    ),
    Flag.CLUTTER: FlagInfo(
        "The background is too busy to tell chips from it, or the chips lie in heaps.",
        "Lay the chips apart, on the card or on plain paper.",
    ),
    Flag.PITCH_UNSURE: FlagInfo(
        "The turns of the coil could not be counted two ways with the same answer.",
        "Lay the coil flat and go closer.",
    ),
    Flag.MODEL_MISSING: FlagInfo(
        "The form model could not be loaded; sizes and tint are still given.",
        "Reinstall the program.",
    ),
}
