"""From group and measured length to an ISO 3685 code: long, short, snarled.

The model names only the group; the sub-number is measured. ISO gives words, not
millimetres, so the limits in ``vision.terms`` are ours, and within 15 % of a limit
both codes are candidates.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from vision.terms import COIL_GROUPS, GREY_ZONE, LONG_ALONG_CHIP_MM, LONG_COIL_MM, SNARLING

if TYPE_CHECKING:
    from vision.records import ChipGeometry, Measured

__all__ = ["code_of"]


def _long_or_short(group: str, size: Measured | None, limit_mm: float) -> tuple[str, ...]:
    if size is None:
        return ()
    if size.value >= limit_mm * (1 + GREY_ZONE):
        return (f"{group}.1",)
    if size.bound == "at_least":
        return (f"{group}.1", f"{group}.2")
    if size.value <= limit_mm * (1 - GREY_ZONE):
        return (f"{group}.2",)
    both = (f"{group}.1", f"{group}.2")
    return both if size.value >= limit_mm else both[::-1]


def code_of(label: str, geometry: ChipGeometry, *, nest: bool) -> tuple[str, ...]:
    """Return the possible ISO 3685 codes, likeliest first; empty where none can be given.

    Parameters
    ----------
    label : str
        A group ``"1"``...``"8"``, or ``"3.1"``, ``"3.2"``, ``"6.1"``, ``"6.2"`` where the
        sub-number is a word about shape.
    geometry : ChipGeometry
        Sizes; without a scale groups 1, 2, 4 and 5 get no code unless snarled.
    nest : bool
        Snarled: folded over itself.
    """
    group = label[:1]
    if nest:
        return (f"{group}.3",) if group in SNARLING else ()
    if group == "1":
        return _long_or_short("1", geometry.length_mm, LONG_ALONG_CHIP_MM)
    if group in COIL_GROUPS:
        return _long_or_short(group, geometry.coil_length_mm, LONG_COIL_MM)
    return (label,)
