"""What the chips of a pass say, from a reading of a photo or from the eye alone.

Takes from a reading only what the rules use; a newer reading may hold more.
"""

from __future__ import annotations

from statistics import median
from typing import Any, Final

from advisor.errors import CaseInvalid
from advisor.fields import Fields, as_list, as_number
from advisor.records import ChipWidth, Evidence
from advisor.terms import TINTS, USABLE, ChipForm

__all__ = ["parse_reading", "parse_signs"]

_CODES: Final = tuple(code.value for code in ChipForm)
_SIGNS = ("form", "share", "sure", "length_mm", "curl_radius_mm", "tint", "width_mm")
_MOST_CHIPS: Final = 5000
#: Forms of which a strip of full width can be seen: ribbons and arcs. Coils and spirals
#: show rims, a needle is part of a split chip.
_STRIPS: Final = ("1", "6")


def parse_signs(value: object, path: str) -> Evidence:
    """Return the evidence of an eye: a form, how sure, a length, a tint."""
    fields = Fields(value, path, allowed=_SIGNS, assumed=[])
    form = None if fields.raw("form") is None else fields.word("form", _CODES)
    share = fields.maybe("share", low=0, high=1)
    return Evidence(
        source="signs",
        form=form,
        share=1.0 if share is None else share,
        mix=((form, 1.0 if share is None else share),) if form else (),
        sure=fields.flag("sure", default=True),
        candidates=(form,) if form else (),
        length_mm=fields.maybe("length_mm", low=0, high=100_000),
        curl_radius_mm=fields.maybe("curl_radius_mm", low=0, high=1000),
        width_mm=fields.maybe("width_mm", low=0, high=100),
        tint=None if fields.raw("tint") is None else fields.word("tint", TINTS),
    )


def parse_reading(value: object, path: str) -> Evidence:
    """Return the evidence of a whole reading: form, tint, lengths, whether it is usable."""
    reading = _object(value, path)
    schema = reading.get("schema")
    if schema is not None and schema != "bluecurl.reading/1":
        raise CaseInvalid(f"{path}.schema", "is not one we can read.", "Read the photo again.")
    form = _object(reading.get("form"), f"{path}.form", may_lack=True)
    heat = _object(reading.get("heat"), f"{path}.heat", may_lack=True)
    code = _known(form.get("code"), _CODES, f"{path}.form.code")
    candidates = _texts(form.get("candidates"), f"{path}.form.candidates")
    share = form.get("share")
    tint = _known(heat.get("tint"), TINTS, f"{path}.heat.tint")
    film_nm, u_film_nm = _measured(heat, "film_nm", f"{path}.heat", high=10_000)
    tinted, u_tinted = _measured(heat, "share_tinted", f"{path}.heat", high=1)
    return Evidence(
        source="reading",
        form=code,
        share=1.0 if share is None else as_number(share, f"{path}.form.share", low=0, high=1),
        sure=code is not None and _flag(form.get("sure"), f"{path}.form.sure"),
        candidates=tuple(c for c in candidates if c in _CODES) or ((code,) if code else ()),
        mix=_mix(form.get("mix"), f"{path}.form.mix") or (((code, 1.0),) if code else ()),
        length_mm=max(_sizes(reading, "length_mm", f"{path}.chips"), default=None),
        curl_radius_mm=_middle(_sizes(reading, "curl_radius_mm", f"{path}.chips")),
        width_mm=_middle(_sizes(reading, "width_mm", f"{path}.chips")),
        widths=_widths(reading, f"{path}.chips"),
        tint=tint,
        tint_sure=tint is not None and _flag(heat.get("sure"), f"{path}.heat.sure"),
        film_nm=film_nm,
        u_film_nm=u_film_nm,
        share_tinted=tinted,
        u_share_tinted=u_tinted,
        usable=_known(reading.get("usable"), USABLE, f"{path}.usable") or "yes",
    )


def _object(value: object, path: str, *, may_lack: bool = False) -> dict[str, Any]:
    if value is None and may_lack:
        return {}
    if not isinstance(value, dict):
        raise CaseInvalid(path, "is no object.", "Give the reading as the reader wrote it.")
    return value


def _measured(
    fields: dict[str, Any], name: str, path: str, *, high: float
) -> tuple[float | None, float]:
    """Return a measured value with its uncertainty; ``None`` and 0 where there is none."""
    measured = _object(fields.get(name), f"{path}.{name}", may_lack=True)
    if measured.get("value") is None:
        return None, 0.0
    value = as_number(measured["value"], f"{path}.{name}.value", low=0, high=high)
    u = measured.get("u")
    return value, 0.0 if u is None else as_number(u, f"{path}.{name}.u", low=0, high=high)


def _flag(value: object, path: str) -> bool:
    if value is None:
        return True
    if not isinstance(value, bool):
        raise CaseInvalid(path, "is neither true nor false.", "Give the reading unchanged.")
    return value


def _known(value: object, words: tuple[str, ...], path: str) -> str | None:
    if value is None:
        return None
    if not isinstance(value, str) or value not in words:
        raise CaseInvalid(path, "is not a word we know.", f"Known are: {', '.join(words)}.")
    return value


def _texts(value: object, path: str) -> list[str]:
    if value is None:
        return []
    return [item for item in as_list(value, path, longest=100) if isinstance(item, str)]


def _mix(value: object, path: str) -> tuple[tuple[str, float], ...]:
    """Return the shares of full form codes; bare groups are left out."""
    shares = _object(value, path, may_lack=True)
    return tuple(
        (code, as_number(share, f"{path}.{code}", low=0, high=1))
        for code, share in shares.items()
        if code in _CODES and share is not None
    )


def _sizes(reading: dict[str, Any], name: str, path: str) -> list[float]:
    """Return one size of all chips that have it, mm."""
    chips = reading.get("chips")
    if chips is None:
        return []
    sizes = []
    for place, chip in enumerate(as_list(chips, path, longest=_MOST_CHIPS)):
        where = f"{path}[{place}]"
        measured = _object(_object(chip, where).get(name), f"{where}.{name}", may_lack=True)
        number = measured.get("value")
        if number is not None:
            where = f"{where}.{name}.value"
            sizes.append(as_number(number, where, low=0, high=100_000))
    return sizes


def _widths(reading: dict[str, Any], path: str) -> tuple[ChipWidth, ...]:
    """Return the widths of surely named ribbons and arcs, all others hide theirs."""
    out = []
    for place, chip in enumerate(reading.get("chips") or []):
        where, group = f"{path}[{place}]", chip.get("group")
        if chip.get("kind", "chip") != "chip" or chip.get("sure") is not True:
            continue
        width, u = _measured(chip, "width_mm", where, high=100)
        if group not in _STRIPS or not width:
            continue
        number = as_number(chip.get("number", place + 1), f"{where}.number", low=1, high=1e6)
        out.append(ChipWidth(number=int(number), group=group, mm=width, u_mm=u))
    return tuple(out)


def _middle(sizes: list[float]) -> float | None:
    return median(sizes) if sizes else None
