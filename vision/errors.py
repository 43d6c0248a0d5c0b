"""Everything that can go wrong with a photo, as one small tree.

VisionError
    PhotoError
        PhotoUnreadable      not a picture we accept, or damaged
        PhotoTooLarge        too many bytes or too many pixels
    CardError
        CardNotFound         the caller needs the card and it is not in view
        CardMismatch         a card is in view but its print cannot be trusted
    NoChips                  nothing in the photo that could be a chip
    ModelError
        ModelUnreadable      the form model cannot be loaded

Bad luck inside a usable photo (blur, glare, cut-off chips) is a flag on the
reading, never an exception. Wording for users lives with the page, by ``code``.
"""

from __future__ import annotations

from typing import ClassVar

__all__ = [
    "CardError",
    "CardMismatch",
    "CardNotFound",
    "ModelError",
    "ModelUnreadable",
    "NoChips",
    "PhotoError",
    "PhotoTooLarge",
    "PhotoUnreadable",
    "VisionError",
]


class VisionError(Exception):
    """Base of all errors of this package; ``code`` is stable, the text is for people."""

    code: ClassVar[str] = "vision-error"

    def __init__(self, message: str) -> None:
        super().__init__(message)
        self.message = message


class PhotoError(VisionError):
    """The photo itself cannot be used."""

    code = "photo-unreadable"


class PhotoUnreadable(PhotoError):  # noqa: N818 - named after what is wrong
    """The bytes are no picture we accept, or the picture is damaged."""

    code = "photo-unreadable"


class PhotoTooLarge(PhotoError):  # noqa: N818
    """The file or its pixel count is over our limit."""

    code = "photo-too-large"


class CardError(VisionError):
    """The reference card cannot be used."""

    code = "card-not-found"


class CardNotFound(CardError):  # noqa: N818
    """No reference card was recognised."""

    code = "card-not-found"


class CardMismatch(CardError):  # noqa: N818
    """A card was seen, but its print or shape does not fit any card we know."""

    code = "card-mismatch"


class NoChips(VisionError):  # noqa: N818
    """Nothing in the photo stands out as a chip."""

    code = "no-chips"


class ModelError(VisionError):
    """The form model cannot be used."""

    code = "model-unreadable"


class ModelUnreadable(ModelError):  # noqa: N818
    """The stored model is damaged or was written by other library versions."""

    code = "model-unreadable"
