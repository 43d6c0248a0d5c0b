"""The eye: from the bytes of a photo to chips with form, sizes and tint.

The door is :func:`read_photo`; :func:`combine_readings` joins several photos of one
pass. Records, words and errors are in ``records``, ``terms`` and ``errors``.
"""

from __future__ import annotations

from vision.errors import (
    CardError,
    CardMismatch,
    CardNotFound,
    ModelError,
    ModelUnreadable,
    NoChips,
    PhotoError,
    PhotoTooLarge,
    PhotoUnreadable,
    VisionError,
)
from vision.reading import combine_readings, read_photo
from vision.records import ChipReading, Measured, PhotoReading

__all__ = [
    "CardError",
    "CardMismatch",
    "CardNotFound",
    "ChipReading",
    "Measured",
    "ModelError",
    "ModelUnreadable",
    "NoChips",
    "PhotoError",
    "PhotoReading",
    "PhotoTooLarge",
    "PhotoUnreadable",
    "VisionError",
    "combine_readings",
    "read_photo",
]
