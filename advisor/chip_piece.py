"""What a person measured on a piece of chip, from the JSON of a pass.

A plain number was measured by hand and gets the usual doubt of such a measurement; a
value with its ``u`` comes as the photo gave it.
"""

from __future__ import annotations

from math import hypot
from typing import TYPE_CHECKING, Final

from advisor.errors import CaseInvalid
from advisor.fields import Fields, as_list, as_number
from advisor.records import ChipPiece
from advisor.tables import rule_value

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["parse_chip_piece"]

_PIECE: Final = ("thickness_mm", "mass_g", "length_mm", "width_mm", "cut_mm", "turns")
_THICKEST_MM: Final = 10.0
_MOST_READINGS: Final = 20


def parse_chip_piece(value: object, thickness_mm: object, path: str) -> ChipPiece:
    """Return the measured piece of a pass.

    Parameters
    ----------
    value : object
        ``chip`` of the pass: ``thickness_mm`` (one micrometer reading or a list),
        ``mass_g``, ``length_mm``, ``width_mm`` (numbers, or values with ``u``), and
        ``cut_mm`` or ``turns`` for a whole chip. ``None`` for nothing.
    thickness_mm : object
        ``chip_thickness_mm`` of the pass: one micrometer reading, or ``None``.
    path : str
        Path of the pass, for errors.

    Raises
    ------
    CaseInvalid
        For what cannot be measured or contradicts itself.
    """
    readings: list[float] = []
    if thickness_mm is not None:
        where = f"{path}.chip_thickness_mm"
        readings.append(as_number(thickness_mm, where, low=0.001, high=_THICKEST_MM))
    if value is None:
        return ChipPiece(readings_mm=tuple(readings))
    fields = Fields(value, f"{path}.chip", allowed=_PIECE, assumed=[])
    readings += _readings(fields)
    cut_mm = fields.maybe("cut_mm", low=1, high=1_000_000)
    turns = fields.maybe("turns", low=0.1, high=100_000)
    if cut_mm is not None and turns is not None:
        raise CaseInvalid(
            fields.at("turns"), "stands beside cut_mm.", "Give the length cut or the turns."
        )
    width = fields.raw("width_mm")
    return ChipPiece(
        readings_mm=tuple(readings),
        mass_g=fields.maybe("mass_g", low=0.001, high=10_000),
        length_mm=_pair(fields, "length_mm", _u_of_length, high=1_000_000),
        width_mm=_pair(
            fields, "width_mm", lambda _: rule_value("gauge", "calliper_mm"), high=100
        ),
        width_by_hand=width is not None and not isinstance(width, dict),
        cut_mm=cut_mm,
        turns=turns,
    )


def _readings(fields: Fields) -> list[float]:
    raw = fields.raw("thickness_mm")
    if raw is None:
        return []
    where = fields.at("thickness_mm")
    items = as_list(raw, where, longest=_MOST_READINGS) if isinstance(raw, list) else [raw]
    return [as_number(item, where, low=0.001, high=_THICKEST_MM) for item in items]


def _u_of_length(value: float) -> float:
    return hypot(rule_value("gauge", "rule_mm"), rule_value("gauge", "rule_share") * value)


def _pair(
    fields: Fields, key: str, usual_u: Callable[[float], float], *, high: float
) -> tuple[float, float] | None:
    """Return a value with its uncertainty: its own, or the usual one of a hand's measure."""
    raw = fields.raw(key)
    if raw is None:
        return None
    if not isinstance(raw, dict):
        value = as_number(raw, fields.at(key), low=0.05, high=high)
        return value, usual_u(value)
    inner = Fields(raw, fields.at(key), allowed=("value", "u", "bound"), assumed=[])
    if inner.raw("bound") is not None:
        raise CaseInvalid(
            inner.at("bound"), "says that more of the chip is hidden.", "Measure a whole piece."
        )
    value = inner.number("value", low=0.05, high=high, do="Give the value.")
    return value, inner.maybe("u", low=0, high=high) or usual_u(value)
