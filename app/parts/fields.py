"""Text fields for facts about work, edge, lathe and cut: one table, one reader.

Everything is typed as text, because a number box refuses a decimal comma and loses what
was typed when the unit changes.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from app.show import Units, convert, metric, parse_number, parse_numbers, unit_label

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

__all__ = [
    "EDGE_FIELDS",
    "LATHE_FIELDS",
    "WORK_FIELDS",
    "Field",
    "field_label",
    "field_text",
    "read_field",
    "read_fields",
]

Json = dict[str, Any]
Kind = Literal["number", "list", "speeds", "words", "choice"]


@dataclass(frozen=True, slots=True)
class Field:
    """One fact: its key in a case, its words, its metric unit."""

    key: str
    words: str
    kind: Kind = "number"
    unit: str = ""
    needed: bool = False
    choices: tuple[str, ...] = ()
    hint: str = ""


_HOLDINGS = ("chuck", "chuck and centre", "between centres", "steady rest")
_DIRECTIONS = ("along", "face", "plunge", "part off", "bore")

WORK_FIELDS: tuple[Field, ...] = (
    Field("diameter_mm", "Bar diameter at the start", unit="mm", needed=True),
    Field("target_diameter_mm", "Diameter wanted", unit="mm"),
    Field("tolerance_mm", "Tolerance, plus or minus", unit="mm"),
    Field("stickout_mm", "Stick-out from the chuck", unit="mm"),
    Field("cut_length_mm", "Length of the cut", unit="mm"),
    Field("direction", "Direction of feed", "choice", choices=_DIRECTIONS),
    Field("holding", "Held in", "choice", choices=_HOLDINGS),
    Field("grip_mm", "Length gripped by the jaws", unit="mm", hint="empty if unknown"),
    Field(
        "stock",
        "Stock",
        "choice",
        choices=("round", "hex", "square", "cast skin", "rolled skin"),
    ),
)

EDGE_FIELDS: tuple[Field, ...] = (
    Field("id", "Your name for this edge", "words", hint="such as hss-3; new grind, new name"),
    Field(
        "material",
        "Edge material",
        "choice",
        needed=True,
        choices=("HSS", "carbide", "coated carbide"),
    ),
    Field("condition", "Condition", "choice", choices=("fresh", "used", "dull")),
    Field("re_mm", "Nose radius", unit="mm"),
    Field("rake_deg", "Rake", unit="°"),
    Field("kapr_deg", "Cutting edge angle", unit="°", hint="90 is square to the bar"),
    Field("overhang_mm", "Tool overhang", unit="mm"),
    Field("shank_mm", "Shank height", unit="mm"),
)

LATHE_FIELDS: tuple[Field, ...] = (
    Field(
        "spindle_rev_min",
        "Spindle speeds",
        "speeds",
        unit="rev/min",
        needed=True,
        hint="160 260 430 or 100-2000",
    ),
    Field("feeds_mm_rev", "Feeds", "list", unit="mm/rev", needed=True, hint="0.04 0.06 0.1"),
    Field("power_w", "Motor power", unit="W"),
    Field("chuck_max_rev_min", "Highest speed of the chuck", unit="rev/min"),
    Field("feed_change", "Feed is changed by", "choice", choices=("lever", "gears")),
    Field(
        "stiffness_n_um", "Stiffness at the tool", unit="N/µm", hint="leave empty if unknown"
    ),
)


def field_label(field: Field, units: Units) -> str:
    """Return the label with the unit the person reads."""
    unit = unit_label(field.unit, units) if field.unit else ""
    star = "" if field.needed or field.kind in {"choice", "words"} else " (if known)"
    return f"{field.words}, {unit}{star}" if unit else f"{field.words}{star}"


def field_text(field: Field, value: Any, units: Units) -> str:  # noqa: ANN401 - JSON
    """Return a stored value as the person would type it; empty for what is not known."""
    if value is None:
        return ""
    if field.kind == "speeds" and isinstance(value, dict):
        return f"{value['from']:g}-{value['to']:g}"
    if field.kind in {"list", "speeds"}:
        return " ".join(_typed(v, field, units) for v in value)
    return _typed(value, field, units) if field.kind == "number" else str(value)


def _typed(value: float, field: Field, units: Units) -> str:
    return f"{convert(value, field.unit, units)[0]:.6g}"


def read_field(field: Field, text: str, units: Units) -> Any:  # noqa: ANN401 - JSON
    """Return what was typed, in the metric unit; ``None`` for nothing.

    Raises
    ------
    ValueError
        With words for the person.
    """
    typed = text.strip()
    if not typed:
        if field.needed:
            raise ValueError(f"{field.words} is needed")
        return None
    readers: dict[Kind, Callable[[str], Any]] = {
        "number": lambda t: metric(parse_number(t), field.unit, units),
        "list": lambda t: [metric(v, field.unit, units) for v in parse_numbers(t)],
        "speeds": _read_speeds,
        "words": str,
        "choice": str,
    }
    try:
        return readers[field.kind](typed)
    except ValueError as error:
        raise ValueError(f"{field.words}: {error}") from error


def _read_speeds(text: str) -> list[float] | dict[str, float]:
    ends = re.split(r"\s*(?:-|\N{EN DASH}|\bto\b)\s*", text)
    if len(ends) == 2 and all(ends):  # noqa: PLR2004 - from, to
        low, high = (parse_number(end) for end in ends)
        return {"from": low, "to": high}
    return parse_numbers(text)


def read_fields(
    fields: Sequence[Field], typed: Mapping[str, str], units: Units
) -> tuple[Json, list[str]]:
    """Return the facts that were given, and one sentence for each that cannot be read."""
    facts: Json = {}
    wrong: list[str] = []
    for field in fields:
        try:
            value = read_field(field, typed.get(field.key, ""), units)
        except ValueError as error:
            wrong.append(str(error))
            continue
        if value is not None:
            facts[field.key] = value
    return facts, wrong
