"""Every sentence that people read and that is not data: errors and words of the page.

One place, so that the words stay plain and can be translated. Flags of a reading keep
their text in ``vision.terms.FLAGS``; reasons of an advice come from the advisor.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from app.errors import AppError, code_of

__all__ = [
    "CAUTIONS",
    "ERRORS",
    "LEVER_WORDS",
    "LIMITS_OF_METHOD",
    "NOTICED_WORDS",
    "SEVERITY_WORDS",
    "TRUST_WORDS",
    "USABLE_WORDS",
    "VERDICT_WORDS",
    "ErrorWords",
    "error_message",
    "error_words",
]


#: Two sentences or more: a full stop, then a new beginning.
_SENTENCES = re.compile(r"[.?] \w.*[.?]$")


@dataclass(frozen=True, slots=True)
class ErrorWords:
    """What happened, why, what to do: one sentence each."""

    what: str
    why: str
    do: str

    @property
    def sentence(self) -> str:
        """All three in one line."""
        return f"{self.what} {self.why} {self.do}"


ERRORS: dict[str, ErrorWords] = {
    "unexpected": ErrorWords(
        "Something went wrong that we did not foresee.",
        "This is a fault of the program, not of the photo or the lathe.",
        "Try again; if it comes back, run “bluecurl doctor” and keep what it prints.",
    ),
    "usage-invalid": ErrorWords(
        "The command cannot be run like this.",
        "Some options do not go together, or a value is impossible.",
        "Run it with --help to see what it takes.",
    ),
    "settings-invalid": ErrorWords(
        "The settings file cannot be used.",
        "It is damaged, or a value in it is impossible.",
        "Delete settings.json in the data folder to start with the usual settings.",
    ),
    "case-invalid": ErrorWords(
        "The description of the cut cannot be used.",
        "A field is missing, misspelt or out of range.",
        "Correct the field named here and try again.",
    ),
    "photo-unreadable": ErrorWords(
        "This file cannot be read as a photo.",
        "It is damaged, cut short, or not JPEG, PNG, WebP or HEIC.",
        "Take or send the photo again.",
    ),
    "photo-too-large": ErrorWords(
        "This photo is too large.",
        "It has more bytes or pixels than the reader takes.",
        "Use the camera's normal size, not a panorama or a scan.",
    ),
    "photo-not-found": ErrorWords(
        "There is no photo at this place.",
        "The file or folder does not exist, or the folder holds no photo.",
        "Check the name.",
    ),
    "card-not-found": ErrorWords(
        "The printed card was not found.",
        "It is out of view, covered, bent or in glare.",
        "Lay the card flat with its whole border in view and take the photo again.",
    ),
    "card-mismatch": ErrorWords(
        "A card is in view, but it is none of ours.",
        "Its print is distorted or it belongs to something else.",
        "Print the card again with “bluecurl card”, at 100 %, and tape it flat.",
    ),
    "no-chips": ErrorWords(
        "No chips were found.",
        "Nothing in the photo stands out from the sheet.",
        "Lay five chips or more on the white field, a little apart, and go closer.",
    ),
    "model-unreadable": ErrorWords(
        "The form model cannot be loaded.",
        "Its file is damaged, missing, or was made by other library versions.",
        "Install the program again.",
    ),
    "outside-tables": ErrorWords(
        "The tables have nothing for this.",
        "The metal or the range asked for is not in the data we trust.",
        "Choose the nearest listed metal; the list stands on the set-up page.",
    ),
    "limit-exceeded": ErrorWords(
        "This cannot be cut within the limits.",
        "Every way to the size breaks a limit of the lathe, the tool or the work.",
        "See what would help, and change one of those.",
    ),
    "source-missing": ErrorWords(
        "A value in the tables names no source.",
        "This is a fault of the installation, and such a value is not used.",
        "Install the program again.",
    ),
    "logbook-busy": ErrorWords(
        "The logbook is in use.",
        "Another program has held it for more than five seconds.",
        "Close the other window and try again.",
    ),
    "logbook-damaged": ErrorWords(
        "The logbook cannot be opened.",
        "The file is damaged or is not a logbook.",
        "Restore the last safety copy with “bluecurl restore”.",
    ),
    "logbook-too-new": ErrorWords(
        "The logbook was written by a later version.",
        "This version does not know its layout and will not touch it.",
        "Install the later version again.",
    ),
    "logbook-full": ErrorWords(
        "The logbook could not be written.",
        "The disk is full, or the folder is write-protected.",
        "Make room, then try again; what was kept before is safe.",
    ),
    "logbook-no-row": ErrorWords(
        "The logbook has no such entry.",
        "It was never made, or it was deleted.",
        "List the logbook with “bluecurl log list”.",
    ),
    "logbook-backup-invalid": ErrorWords(
        "This safety copy cannot be restored.",
        "It is damaged or was not made by “bluecurl backup”.",
        "Choose another copy; the present logbook was left as it is.",
    ),
}

VERDICT_WORDS: dict[str, str] = {
    "start": "First cut",
    "keep": "Leave it as it is",
    "change": "Change one thing",
    "look at the edge": "Look at the edge",
    "stop": "Stop",
    "retake the photo": "Take the photo again",
    "done": "Done",
}

LEVER_WORDS: dict[str, str] = {
    "speed": "Spindle speed",
    "feed": "Feed",
    "depth": "Depth",
    "edge": "Edge",
    "support": "Support",
    "coolant": "Coolant",
}

USABLE_WORDS: dict[str, str] = {
    "yes": "good photo",
    "with care": "use with care",
    "retake": "take it again",
}

TRUST_WORDS: dict[str, str] = {
    "good": "well founded",
    "fair": "fairly founded: some facts are missing",
    "poor": "weakly founded: many facts are missing",
}

SEVERITY_WORDS: dict[str, str] = {
    "ok": "inside",
    "near": "close to the limit",
    "exceeded": "over the limit",
}

#: What a machinist may have noticed; the words are the contract's own.
NOTICED_WORDS: tuple[str, ...] = (
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

#: Usual shop rules, common practice; the manual and local rules come first.
CAUTIONS: tuple[str, ...] = (
    (
        "Stop the spindle before you fetch chips. They are hot and razor sharp: use a "
        "brush or a hook, never a hand or a rag."
    ),
    "Eye protection on. No gloves, loose sleeves, rings or long hair near a turning spindle.",
    "Long strings wrap round the work and whip. Stop, then clear them.",
    (
        "Fine titanium and magnesium chips burn. Keep them few, dry and away from sparks; "
        "never put water on burning metal; dry sand or a class D powder within reach."
    ),
    (
        "The manual of your lathe, your local rules and trained practice come before anything "
        "said here. This program suggests; you decide."
    ),
)

LIMITS_OF_METHOD: tuple[str, ...] = (
    "It sees the chips, not the cut: it cannot see chatter marks, a loose tool or a bent bar.",
    (
        "Sizes need the printed card, flat and in the plane of the chips. A tall nest lies "
        "nearer to the camera than the card."
    ),
    (
        "Tint tells of the hottest moment of the chip in air. It says nothing about aluminium "
        "and brass, and coolant or oil shift it."
    ),
    "A word such as “long” is ours in millimetres; the standard gives words only.",
    "Cutting forces come from published tables. Real ones differ by a third either way.",
)


def error_words(code: str) -> ErrorWords:
    """Return the sentences for an error code; those of ``"unexpected"`` for unknown ones."""
    return ERRORS.get(code, ERRORS["unexpected"])


def error_message(error: BaseException) -> str:
    """Return one line for people: what happened, why, and what to do.

    An error of a core that already says all of it speaks for itself; a short detail (a
    field's name, a path) takes the place of the general reason, because it says more.
    The text of an unforeseen error never reaches people; it belongs in the log file.
    """
    code = code_of(error)
    words = error_words(code)
    if code == "unexpected":
        return words.sentence
    ours = isinstance(error, AppError)
    detail = " ".join((error.detail if isinstance(error, AppError) else str(error)).split())
    if not detail:
        return words.sentence
    if not ours and _SENTENCES.search(detail):
        return detail
    ending = "" if detail.endswith((".", "?")) else "."
    return f"{words.what[:-1]}: {detail}{ending} {words.do}"
