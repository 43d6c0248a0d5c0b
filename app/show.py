"""Numbers to text, and text to numbers: millimetre or inch, digits by uncertainty.

All data is metric; only this module knows inches, feet, pounds and horsepower. What a
person types may use a decimal comma or a decimal point.
"""

from __future__ import annotations

import math
import re
from enum import StrEnum
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = [
    "Units",
    "about",
    "convert",
    "is_inch_unit",
    "lab_to_hex",
    "metric",
    "parse_number",
    "parse_numbers",
    "quantity",
    "unit_label",
]

MM_PER_INCH = 25.4  # exact: international yard and pound agreement of 1959
FEET_PER_METRE = 1 / 0.3048  # exact, same
LBF_PER_NEWTON = 1 / 4.4482216152605  # exact pound times standard gravity
WATTS_PER_HP = 745.69987158227022  # mechanical horsepower, 550 ft lbf/s
LBF_IN_PER_N_M = LBF_PER_NEWTON * 1000 / MM_PER_INCH


class Units(StrEnum):
    """What people read."""

    METRIC = "metric"
    INCH = "inch"


#: metric unit -> (inch unit, factor from metric to inch, decimals in metric, in inch)
_UNITS: dict[str, tuple[str, float, int, int]] = {
    "mm": ("in", 1 / MM_PER_INCH, 2, 4),
    "mm/rev": ("in/rev", 1 / MM_PER_INCH, 3, 4),
    "µm": ("µin", 1000 / MM_PER_INCH, 1, 0),
    "um": ("µin", 1000 / MM_PER_INCH, 1, 0),
    "m/min": ("ft/min", FEET_PER_METRE, 0, 0),
    "N": ("lbf", LBF_PER_NEWTON, 0, 0),
    "W": ("hp", 1 / WATTS_PER_HP, 0, 2),
    "N m": ("lbf in", LBF_IN_PER_N_M, 1, 0),
    "mm³/min": ("in³/min", MM_PER_INCH**-3, 0, 3),
}
_DECIMALS: dict[str, int] = {"rev/min": 0, "°C": 0, "°": 0, "nm": 0, "%": 0, "s": 0}

_NOTHING = "\N{EN DASH}"
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)")


def convert(value: float, unit: str, units: Units) -> tuple[float, str]:
    """Return a metric value in the units asked for, with the unit's name.

    >>> convert(25.4, "mm", Units.INCH)
    (1.0, 'in')
    """
    if units is Units.METRIC or unit not in _UNITS:
        return value, "µm" if unit == "um" else unit
    name, factor, _, _ = _UNITS[unit]
    return value * factor, name


def metric(value: float, unit: str, units: Units) -> float:
    """Return what a person entered, in the metric unit ``unit``."""
    if units is Units.METRIC or unit not in _UNITS:
        return value
    return value / _UNITS[unit][1]


def unit_label(unit: str, units: Units) -> str:
    """Return the name of a metric unit as the person reads it."""
    return convert(0.0, unit, units)[1]


def is_inch_unit(unit: str) -> bool:
    """Whether a metric unit has another name in inch units."""
    return unit in _UNITS


def _plain(value: float, decimals: int) -> str:
    text = f"{value:.{max(decimals, 0)}f}"
    return text.replace("-", "\N{MINUS SIGN}") if float(text) else text.lstrip("-")


def quantity(value: float | None, unit: str | None, units: Units = Units.METRIC) -> str:
    """Return a set value, such as a feed, with its unit; a dash for ``None``.

    Trailing zeros go, because a dial is set to 0.06, not to 0.060.
    """
    if value is None:
        return _NOTHING
    if not unit:
        return f"{value:.3g}"
    shown, name = convert(value, unit, units)
    decimals = _DECIMALS.get(unit, 2)
    if unit in _UNITS:
        _, _, in_metric, in_inch = _UNITS[unit]
        decimals = in_inch if units is Units.INCH else in_metric
    if shown and abs(shown) < 10.0**-decimals:  # too small for that: keep two digits
        decimals = 1 - math.floor(math.log10(abs(shown)))
    text = _plain(shown, decimals)
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return f"{text} {name}" if name else text


def about(
    measured: Mapping[str, Any] | None,
    unit: str,
    units: Units = Units.METRIC,
    *,
    spread: bool = False,
) -> str:
    """Return a measured value with as many digits as its uncertainty carries.

    Parameters
    ----------
    measured : mapping or None
        ``{"value", "u", "bound"?}`` in the metric ``unit``; ``None`` is shown as a dash.
    unit : str
        Metric unit of the value.
    units : Units
        What the person reads.
    spread : bool
        Whether "± 2 u" follows.

    Notes
    -----
    The last digit shown is that of the first significant digit of u (JCGM 100:2008,
    clause 7.2.6, asks for no more than two), so the text never claims more than was
    measured. Half a unit rounds to even, as Python does.
    """
    if measured is None or measured.get("value") is None:
        return _NOTHING
    value, name = convert(float(measured["value"]), unit, units)
    u, _ = convert(float(measured.get("u") or 0.0), unit, units)
    decimals = -math.floor(math.log10(u)) if u > 0 else 2
    scale = 10.0**-decimals
    text = _plain(round(value / scale) * scale, decimals)
    text = f"{text} {name}" if name else text
    if measured.get("bound") == "at_least":
        text = f"at least {text}"
    if spread and u > 0:
        text += f" ± {_plain(2 * u, decimals)}"
    return text


def parse_number(text: str) -> float:
    """Return the number a person typed, with a decimal comma or point.

    Raises
    ------
    ValueError
        If it is not one plain number. ``1,234.5`` is refused rather than guessed.
    """
    cleaned = text.strip().replace("\N{MINUS SIGN}", "-")
    if not _NUMBER.fullmatch(cleaned):
        raise ValueError(f"“{text.strip()}” is not a number")
    return float(cleaned.replace(",", "."))


def parse_numbers(text: str) -> list[float]:
    """Return a list of numbers typed with spaces or semicolons between them.

    A comma followed by a space also separates; any other comma is a decimal comma.

    >>> parse_numbers("0,04 0,06; 0.1")
    [0.04, 0.06, 0.1]
    >>> parse_numbers("160, 260, 430")
    [160.0, 260.0, 430.0]
    """
    parts = [part for part in re.split(r"[;\s]+", re.sub(r",\s+", " ", text.strip())) if part]
    return [parse_number(part) for part in parts]


def lab_to_hex(lab: tuple[float, float, float] | list[float]) -> str:
    """Return the sRGB colour of a CIELAB (D65, 2°) triple as ``#rrggbb``, clipped.

    References
    ----------
    CIE 15:2004, clause 8.2.1 (CIELAB) and IEC 61966-2-1 (sRGB); constants from memory,
    checked in the tests against colour-science.
    """
    fy = (lab[0] + 16) / 116
    f = (fy + lab[1] / 500, fy, fy - lab[2] / 200)
    x, y, z = (
        white * (t**3 if t > 6 / 29 else 3 * (6 / 29) ** 2 * (t - 4 / 29))
        for white, t in zip((0.95047, 1.0, 1.08883), f, strict=True)
    )
    toe = 0.0031308  # end of the straight part of the sRGB curve
    linear = (
        3.2404542 * x - 1.5371385 * y - 0.4985314 * z,
        -0.9692660 * x + 1.8760108 * y + 0.0415560 * z,
        0.0556434 * x - 0.2040259 * y + 1.0572252 * z,
    )
    coded = (12.92 * c if c <= toe else 1.055 * c ** (1 / 2.4) - 0.055 for c in linear)
    return "#" + "".join(f"{round(255 * min(max(c, 0.0), 1.0)):02x}" for c in coded)
