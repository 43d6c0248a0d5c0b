"""The whole walk of one photo: bytes in, a reading out.

In here: the order of the rooms and the gates between them. Each room does its own
work: photo (decode, card, plane, light), chips (find, measure), heat (tint), forms
(name, verdict).
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from vision import bundled
from vision.chips.ground import FIND_PX_PER_MM
from vision.chips.look import Look, look_at
from vision.errors import NoChips
from vision.forms.name import READER_VERSION, name_chips
from vision.forms.verdict import doubts_of, verdict_of
from vision.heat.chip_tint import colour_doubt
from vision.heat.names import family_of
from vision.heat.photo_heat import heat_of
from vision.photo.opened import open_photo
from vision.records import Measured, PhotoReading
from vision.terms import Flag

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from vision.photo.light import Light
    from vision.photo.plane import Plane
    from vision.records import ChipReading, FormVerdict, Heat, Scale

__all__ = ["combine_readings", "parts_of", "read_photo"]

_RETAKE = frozenset({Flag.CLUTTER, Flag.CLIPPED, Flag.BLURRED})
_WITH_CARE = frozenset(
    {
        Flag.NO_SCALE,
        Flag.CARD_BENT,
        Flag.CARD_TILTED,
        Flag.UNEVEN_LIGHT,
        Flag.LOW_DENSITY,
        Flag.FEW_CHIPS,
        Flag.NOT_SURE,
        Flag.MODEL_MISSING,
    }
)


#: Share of a reading that is done when a stage begins.
_DONE = {
    "open the photo": 0.0,
    "find the card": 0.2,
    "measure the light": 0.35,
    "find the chips": 0.45,
    "name the chips": 0.8,
    "done": 1.0,
}


def _gates(
    look: Look,
    plane: Plane,
    light: Light,
    chips: Sequence[ChipReading],
    form: FormVerdict | None,
) -> tuple[str, ...]:
    flags: list[Flag] = [*light.flags, *plane.flags()]
    if look.clutter:
        flags.append(Flag.CLUTTER)
    flags += doubts_of(form, chips)
    return tuple(dict.fromkeys(flags))


def _usable(flags: Sequence[str]) -> Literal["yes", "with care", "retake"]:
    if _RETAKE & set(flags):
        return "retake"
    return "with care" if _WITH_CARE & set(flags) else "yes"


def _heat(
    chips: Sequence[ChipReading], family: str | None, light: Light, flags: tuple[str, ...]
) -> tuple[Heat | None, tuple[str, ...]]:
    if family == "none":
        return None, (*flags, Flag.TINT_SAYS_NOTHING)
    if light.neutral and colour_doubt(light.neutral_de00) is None:
        return None, (*flags, Flag.MIXED_LAMPS)
    tints = [(c.tint, c.volume_weight) for c in chips if c.tint is not None]
    return heat_of(tints, family), flags


def read_photo(
    data: bytes,
    *,
    name: str = "",
    px_per_mm: float | None = None,
    check_line_mm: float = 100.0,
    neutral_px: tuple[float, float] | None = None,
    need_card: bool = False,
    metal: str | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> PhotoReading:
    """Read the chips in one photo.

    Parameters
    ----------
    data : bytes
        A JPEG, PNG, WebP or HEIC file.
    name : str
        What to call the photo in the reading.
    px_per_mm : float, optional
        A typed scale, used where no card is found.
    check_line_mm : float
        What the card's 100 mm line really measures.
    neutral_px : (x, y), optional
        Where in the upright photo something white or grey lies, in pixels; tints are then
        read without a card too, with more doubt.
    need_card : bool
        Raise where no card is found instead of reading without millimetres.
    metal : str, optional
        The work's material; decides what a tint means.
    progress : callable, optional
        Called with the name of each stage and the share done.

    Returns
    -------
    PhotoReading
        Without a card and a typed scale every size is ``None``.

    Raises
    ------
    PhotoUnreadable, PhotoTooLarge, CardNotFound, CardMismatch, NoChips

    Notes
    -----
    Not to be trusted for: heaps, chips under water or oil, photos of photos.
    """

    def told(stage: str) -> None:
        if progress is not None:
            progress(stage, _DONE[stage])

    opened = open_photo(
        data,
        check_line_mm=check_line_mm,
        px_per_mm=px_per_mm,
        neutral_px=neutral_px,
        need_card=need_card,
        told=told,
    )
    plane, light = opened.plane, opened.light
    told("find the chips")
    look = look_at(plane, light, bundled.packaged_eye())
    told("name the chips")
    family = family_of(metal)
    chips = name_chips(look, plane, light, family=family)
    if not chips and not look.clutter:
        raise NoChips(
            "Nothing in the photo stands out as a chip. Lay the chips on the white field, "
            "apart from each other, and take the photo from straight above."
        )
    form = verdict_of(chips)
    flags = _gates(look, plane, light, chips, form)
    heat, flags = _heat(chips, family, light, flags)
    told("done")
    photo = plane.photo
    return PhotoReading(
        photo=name,
        photos=(name,),
        sha256=photo.sha256,
        sha256s=(photo.sha256,),
        size_px=(photo.facts.width_px, photo.facts.height_px),
        scale=_scale_at(plane, chips),
        chips=chips,
        form=form,
        heat=heat,
        flags=flags,
        usable=_usable(flags),
        versions={
            "reader": READER_VERSION,
            "features": f"{FIND_PX_PER_MM:g}",
            "model": bundled.form_model().version,
        },
    )


def _scale_at(plane: Plane, chips: Sequence[ChipReading]) -> Scale:
    """Return the scale at the middle of the chips, each counted once."""
    known = plane.scale.px_per_mm
    if known is None or not chips:
        return plane.scale
    boxes = [np.concatenate(c.outline_px) for c in chips if c.outline_px]
    middles = np.array([(b.min(axis=0) + b.max(axis=0)) / 2 for b in boxes])
    middle = plane.to_mm(middles).mean(axis=0)
    value = plane.px_per_mm_at(float(middle[0]), float(middle[1]))
    here = Measured(value=value, u=value * float(plane.u_rel_at(middle[None])[0]))
    return replace(plane.scale, px_per_mm=here)


def _heat_of_all(readings: Sequence[PhotoReading]) -> Heat | None:
    """Return the heat over the chips of all photos whose colour could be trusted."""
    read = [r for r in readings if r.heat is not None]
    tints = [(c.tint, c.volume_weight) for r in read for c in r.chips if c.tint is not None]
    family = read[0].heat.family if read and read[0].heat is not None else None
    return heat_of(tints, family)


def combine_readings(readings: Sequence[PhotoReading]) -> PhotoReading:
    """Return one reading of several photos of the same pass.

    Chips are listed one after the other with new numbers, form and heat are taken over
    all; outlines stay in the pixels of their own photo, the ``photo_number``-th of
    ``photos``. :func:`parts_of` gives the photos back with those numbers.

    Raises
    ------
    ValueError
        For no readings.
    """
    if not readings:
        raise ValueError("no readings to combine")
    if len(readings) == 1:
        return readings[0]
    chips: list[ChipReading] = []
    before = 0
    for reading in readings:
        chips += [
            replace(c, number=len(chips) + i, photo_number=before + c.photo_number)
            for i, c in enumerate(reading.chips, 1)
        ]
        before += len(reading.photos)
    form = verdict_of(chips)
    merged = tuple(dict.fromkeys(f for r in readings for f in r.flags))
    lone = {Flag.FEW_CHIPS.value, Flag.NOT_SURE.value, Flag.NEST_OPEN.value}
    flags = (*(f for f in merged if f not in lone), *doubts_of(form, chips))
    usable = [r for r in readings if r.usable != "retake"]
    best = max(usable or readings, key=lambda r: len(r.chips))
    return replace(
        best,
        photos=tuple(name for r in readings for name in r.photos),
        sha256s=tuple(sha for r in readings for sha in r.sha256s),
        chips=tuple(chips),
        form=form,
        heat=_heat_of_all(readings),
        flags=flags,
        usable=_usable(flags) if usable else "retake",
    )


def parts_of(whole: PhotoReading, readings: Sequence[PhotoReading]) -> list[PhotoReading]:
    """Return each photo's own reading with its chips under the numbers of the whole.

    Parameters
    ----------
    whole : PhotoReading
        What :func:`combine_readings` made of ``readings``.
    readings : sequence of PhotoReading
        One for each photo, in the same order.
    """
    return [
        replace(
            reading,
            chips=tuple(
                replace(chip, photo_number=1) for chip in whole.chips if chip.photo_number == k
            ),
        )
        for k, reading in enumerate(readings, 1)
    ]
