"""The one door from the app to the two cores: bytes and JSON in, JSON and pictures out.

The cores are imported when they are first needed, because the reader brings large
libraries and most commands do without them.
"""

# ruff: noqa: PLC0415 - see above

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from app.settings import data_file
from app.show import Units, is_inch_unit, quantity

if TYPE_CHECKING:
    from advisor.tables import Material
    from vision.arrays import Rgb8
    from vision.records import PhotoReading

__all__ = [
    "ReadPhoto",
    "Upright",
    "advise_case",
    "combine",
    "form_name",
    "gauges",
    "heat_trend",
    "materials",
    "own_parts",
    "picture",
    "plan_case",
    "read_bytes",
    "thickness_trend",
    "tint_ladder",
    "upright",
]

#: The user's own metals, in the data folder; see ``advisor.own_metals``.
OWN_METALS = "metals.toml"
#: A name that the reader knows, for each way of a metal's oxide to colour.
_TINT_NAMES = {
    "steel": "steel",
    "free steel": "steel",
    "stainless": "stainless",
    "titanium": "titanium",
    "none": "brass",
}

Json = dict[str, Any]
Progress = Callable[[str, float], None]


@dataclass(frozen=True, slots=True)
class ReadPhoto:
    """A reading as a record, for drawing and combining, and as JSON, for all else."""

    record: PhotoReading
    json: Json


@dataclass(frozen=True, slots=True)
class Upright:
    """A photo as a person sees it, made small; ``size_px`` is (width, height) before that.

    ``icc`` is the profile of its colours, ``None`` for sRGB.
    """

    rgb: Rgb8
    icc: bytes | None
    size_px: tuple[int, int]


def read_bytes(
    data: bytes,
    name: str,
    *,
    px_per_mm: float | None = None,
    check_line_mm: float = 100.0,
    neutral_px: tuple[float, float] | None = None,
    need_card: bool = False,
    metal: str | None = None,
    progress: Progress | None = None,
) -> ReadPhoto:
    """Read one photo; arguments and errors are those of ``vision.read_photo``.

    Whatever a library prints goes to standard error, since standard output is data.
    """
    with contextlib.redirect_stdout(sys.stderr):
        from vision import read_photo

        record = read_photo(
            data,
            name=name,
            px_per_mm=px_per_mm,
            check_line_mm=check_line_mm,
            neutral_px=neutral_px,
            need_card=need_card,
            metal=_metal_for_the_eye(metal),
            progress=progress,
        )
    return _with_json(record)


def combine(readings: Sequence[ReadPhoto]) -> ReadPhoto:
    """Make one reading of several photos of the same pass."""
    from vision import combine_readings

    return _with_json(combine_readings([reading.record for reading in readings]))


def own_parts(whole: ReadPhoto, readings: Sequence[ReadPhoto]) -> list[ReadPhoto]:
    """Return the photos of a combined reading one by one, to be drawn with its numbers.

    The JSON stays that of each photo alone.
    """
    from vision.reading import parts_of

    parts = parts_of(whole.record, [one.record for one in readings])
    return [ReadPhoto(part, one.json) for part, one in zip(parts, readings, strict=True)]


def _with_json(record: PhotoReading) -> ReadPhoto:
    from vision.as_json import reading_json

    return ReadPhoto(record, reading_json(record))


def picture(
    data: bytes, reading: ReadPhoto, *, max_side_px: int = 1600, focus: bool = False
) -> bytes:
    """Return the photo with outlines and numbers drawn in, as JPEG.

    The photo's colour profile travels along, so that tints look as the camera meant.
    """
    from vision.overlay import draw_overlay, encode_jpeg
    from vision.photo.decode import decode_photo

    photo = decode_photo(data)
    drawn = draw_overlay(photo.rgb, reading.record, max_side_px=max_side_px, focus=focus)
    return encode_jpeg(drawn, icc=photo.icc)


def upright(data: bytes, *, max_side_px: int = 2000) -> Upright:
    """Return a photo turned as it is read, to point at things; errors are the reader's."""
    import numpy as np
    from PIL import Image

    from vision.photo.decode import decode_photo

    photo = decode_photo(data)
    small = Image.fromarray(photo.rgb)
    small.thumbnail((max_side_px, max_side_px))
    return Upright(np.asarray(small), photo.icc, (photo.facts.width_px, photo.facts.height_px))


def advise_case(case: Json, units: Units = Units.METRIC) -> Json:
    """Return the advice (``bluecurl.advice/1``) for a case (``bluecurl.case/1``).

    ``units`` changes the sentences only; numbers stay metric. ``gauges`` are those of
    :func:`gauges`.
    """
    import advisor

    parsed = advisor.parse_case(case, metals=_own_metals())
    advice = advisor.advice_json(advisor.advise(parsed), show=_sentence_numbers(units))
    return {**advice, "gauges": advisor.gauges_json(parsed)}


def gauges(case: Json) -> Json | None:
    """Return what width and thickness of the last pass's chips say; ``None`` for a new job.

    Errors are those of :func:`advise_case`.
    """
    import advisor

    return advisor.gauges_json(advisor.parse_case(case, metals=_own_metals()))


def thickness_trend(case: Json) -> Json:
    """Return the chip thickness over the passes of a job; errors as above."""
    import advisor

    return advisor.thickness_trend_json(advisor.parse_case(case, metals=_own_metals()))


def plan_case(case: Json, units: Units = Units.METRIC) -> Json:
    """Return the pass plan (``bluecurl.plan/1``) for a case; ``units`` as above."""
    import advisor

    plan = advisor.plan_passes(advisor.parse_case(case, metals=_own_metals()))
    return advisor.plan_json(plan, show=_sentence_numbers(units))


def _sentence_numbers(units: Units) -> Callable[[float, str], str]:
    """Return how numbers stand inside the advisor's sentences; metric is its own way."""
    from advisor.wording import metric_text

    if units is Units.METRIC:
        return metric_text
    return lambda value, unit: (
        quantity(value, unit, units) if is_inch_unit(unit) else (metric_text(value, unit))
    )


def materials() -> list[str]:
    """Return the names of the metals that the tables know, the user's own first."""
    import advisor

    own = [metal.name for metal in _own_metals()]
    return [*own, *(name for name in advisor.material_names() if name not in own)]


def _own_metals() -> tuple[Material, ...]:
    """Return the metals of the user's own file in the data folder; none without a file.

    Raises
    ------
    CaseInvalid
        Naming the field of the file that cannot be used.
    """
    import advisor

    path = data_file(OWN_METALS)
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return ()
    except (OSError, UnicodeDecodeError) as error:
        raise advisor.CaseInvalid(
            "metals", f"cannot be read: {error}.", f"See {path}."
        ) from error
    return advisor.parse_metals(text)


def _metal_for_the_eye(metal: str | None) -> str | None:
    """Return a metal as the reader knows it: by name, else by how its oxide colours."""
    import advisor
    from vision.heat.names import family_of

    if metal is None or family_of(metal) is not None:
        return metal
    try:
        found = advisor.material(metal, _own_metals())
    except advisor.AdvisorError:
        return metal
    return _TINT_NAMES.get(found.tint)


def heat_trend(case: Json) -> Json:
    """Return how the heat of a job's chips went; errors are those of ``advise_case``.

    ``family`` is the ladder of tints of the metal, ``points`` the passes with a film.
    """
    import advisor

    parsed = advisor.parse_case(case, _own_metals())
    trend = advisor.heat_trend(advisor.heat_passes(parsed), parsed.metal.tint)
    family = {"free steel": "steel"}.get(parsed.metal.tint, parsed.metal.tint)
    return {"family": family, **asdict(trend)}


def tint_ladder(family: str | None) -> list[Json]:
    """Return the tints of a metal family from bright on; a metal not named shows steel's.

    Each is ``{"name", "from_nm", "to_nm", "shades"}``, shades as CIELAB from thin to thick.
    Empty for metals whose tint says nothing.
    """
    from vision.heat.ladder import ladder_of

    try:
        return [asdict(rung) for rung in ladder_of("steel" if family is None else family)]
    except KeyError:
        return []


def form_name(code: str | None) -> str:
    """Return the shop words of a form or group code with the ISO code in brackets."""
    from vision.terms import FORM_NAMES, GROUP_NAMES

    if code is None:
        return "no form"
    words = FORM_NAMES.get(code) or GROUP_NAMES.get(code)
    return f"{words} ({code})" if words else code
