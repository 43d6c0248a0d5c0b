"""Turns a reason into its sentences: because, expect, if not.

The sentences themselves stand in one file, ``advisor/data/wording.toml``, by reason id.
A ``show`` callable turns each quantity into text, so another unit needs no other sentence.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Final, TypeAlias

from advisor.records import Quantity

if TYPE_CHECKING:
    from advisor.records import Reason

__all__ = ["Show", "because", "expect", "if_not", "metric_text", "reason_ids", "sentences"]

Show: TypeAlias = Callable[[float, str], str]

_DECIMALS: Final = {
    "mm": 3,
    "mm/rev": 3,
    "m/min": 0,
    "rev/min": 0,
    "N": 0,
    "W": 0,
    "N m": 2,
    "um": 1,
    "%": 0,
    "": 1,
}
_NAMES: Final = {"um": "µm"}


@cache
def _texts() -> dict[str, dict[str, str]]:
    """Return all templates, by reason id and part; ``{chip}`` and its like filled in."""
    file = resources.files("advisor") / "data" / "wording.toml"
    tree = tomllib.loads(file.read_text(encoding="utf-8"))
    said = {key: {"because": text} for key, text in tree["said"].items()}
    parts = {f"{{{name}}}": text for name, text in tree["parts"].items()}

    def whole(text: str) -> str:
        for mark, part in parts.items():
            text = text.replace(mark, part)
        return text

    return {
        key: {part: whole(text) for part, text in row.items()}
        for key, row in (said | tree["change"]).items()
    }


def metric_text(value: float, unit: str) -> str:
    """Return a metric quantity as text, trailing zeros dropped.

    >>> metric_text(0.06, "mm/rev"), metric_text(900.0, "rev/min")
    ('0.06 mm/rev', '900 rev/min')
    """
    text = f"{value:.{_DECIMALS.get(unit, 3)}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return f"{text} {_NAMES.get(unit, unit)}".strip()


def _fill(part: str, reason: Reason, show: Show) -> str:
    shown = {
        name: show(value.value, value.unit) if isinstance(value, Quantity) else value
        for name, value in reason.values.items()
    }
    text = _texts()[reason.id][part].format_map(shown)
    return text if reason.id.startswith("word-") else text[:1].upper() + text[1:]


def because(reason: Reason, show: Show = metric_text) -> str:
    """Return why, as one or two sentences."""
    return _fill("because", reason, show)


def expect(reason: Reason, show: Show = metric_text) -> str:
    """Return what to see on the next pass if the change was right."""
    return _fill("expect", reason, show)


def if_not(reason: Reason, show: Show = metric_text) -> str:
    """Return what to do where that does not happen."""
    return _fill("if_not", reason, show)


def reason_ids() -> frozenset[str]:
    """Return the ids of all sentences."""
    return frozenset(_texts())


def sentences(reason_id: str) -> dict[str, str]:
    """Return the templates of a reason: one part, or three for a change."""
    return dict(_texts()[reason_id])
