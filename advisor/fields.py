"""Reads one JSON object field by field and says plainly what is wrong with it.

Knows nothing of lathes; ``advisor.parse`` says which fields there are.
"""

from __future__ import annotations

import difflib
import math
from typing import TYPE_CHECKING, Any

from advisor.errors import CaseInvalid

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["Fields", "as_list", "as_number"]

_SHOWN = 40


def _kind(value: object) -> str:
    names = {type(None): "nothing", bool: "true or false", str: "text", list: "a list"}
    names |= {dict: "an object", int: "a number", float: "a number"}
    return names.get(type(value), type(value).__name__)


def _short(value: object) -> str:
    text = str(value)
    return text if len(text) <= _SHOWN else text[:_SHOWN] + "…"


def as_number(value: object, path: str, *, low: float, high: float) -> float:
    """Return a finite number within a range, or refuse it with its path."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise CaseInvalid(path, f"needs a number, but holds {_kind(value)}.", "Give a number.")
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise CaseInvalid(path, "is no finite number.", "Give a plain number.")
    if not low <= number <= high:
        raise CaseInvalid(
            path,
            f"is {number:g}, outside {low:g} to {high:g}.",
            "Check the value and its unit; all lengths are millimetres.",
        )
    return number


def as_list(value: object, path: str, *, longest: int) -> list[Any]:
    """Return a list of no more than so many items, or refuse it with its path."""
    if not isinstance(value, list):
        raise CaseInvalid(path, f"needs a list, but holds {_kind(value)}.", "Give a list.")
    if len(value) > longest:
        raise CaseInvalid(path, f"holds {len(value)} items.", f"Give at most {longest}.")
    return value


class Fields:
    """One object of a case; remembers which fields had to be assumed."""

    def __init__(
        self, value: object, path: str, *, allowed: Sequence[str], assumed: list[str]
    ) -> None:
        if not isinstance(value, dict):
            raise CaseInvalid(
                path or "case",
                f"needs an object, but holds {_kind(value)}.",
                "Give fields by name, as the description of a case shows.",
            )
        self._values: dict[str, Any] = value
        self._path = path
        self._assumed = assumed
        for key in value:
            if key not in allowed and key != "note":
                near = difflib.get_close_matches(str(key), allowed, n=1)
                hint = f"Did you mean “{near[0]}”?" if near else "Leave it out."
                raise CaseInvalid(self.at(_short(key)), "is not a field we know.", hint)

    def at(self, key: str) -> str:
        """Return the path of a field of this object."""
        return f"{self._path}.{key}" if self._path else key

    def raw(self, key: str) -> Any:  # noqa: ANN401 - JSON
        """Return what stands there, ``None`` where nothing does."""
        return self._values.get(key)

    def has(self, key: str) -> bool:
        """Return whether the field is there at all, even as null."""
        return key in self._values

    def missing(self, key: str, do: str) -> CaseInvalid:
        """Return the error for a field that has no default."""
        return CaseInvalid(self.at(key), "is missing, and nothing can stand in for it.", do)

    def number(self, key: str, *, low: float, high: float, do: str) -> float:
        """Return a number that must be there."""
        if self.raw(key) is None:
            raise self.missing(key, do)
        return as_number(self.raw(key), self.at(key), low=low, high=high)

    def maybe(self, key: str, *, low: float, high: float) -> float | None:
        """Return a number that may be left out."""
        if self.raw(key) is None:
            return None
        return as_number(self.raw(key), self.at(key), low=low, high=high)

    def assume(self, key: str, *, low: float, high: float, default: float) -> float:
        """Return a number, or its default, which is then noted as assumed."""
        given = self.maybe(key, low=low, high=high)
        if given is None:
            self.note(key)
            return default
        return given

    def note(self, key: str) -> None:
        """Remember that a field had to be assumed."""
        self._assumed.append(self.at(key))

    def word(
        self, key: str, words: Sequence[str], *, default: str | None = None, do: str = ""
    ) -> str:
        """Return one of the known words, or the default."""
        value = self.raw(key)
        if value is None:
            if default is None:
                raise self.missing(key, do or f"Give one of: {', '.join(words)}.")
            self.note(key)
            return default
        if not isinstance(value, str) or value not in words:
            near = difflib.get_close_matches(_short(value), words, n=1)
            hint = f"Did you mean “{near[0]}”? " if near else ""
            raise CaseInvalid(
                self.at(key),
                f"holds “{_short(value)}”, which is not a word we know.",
                f"{hint}Known are: {', '.join(words)}.",
            )
        return value

    def words(self, key: str, known: Sequence[str]) -> tuple[str, ...]:
        """Return a list of known words, empty where nothing stands."""
        if self.raw(key) is None:
            return ()
        items = as_list(self.raw(key), self.at(key), longest=len(known))
        for place, item in enumerate(items):
            if not isinstance(item, str) or item not in known:
                raise CaseInvalid(
                    f"{self.at(key)}[{place}]",
                    f"holds “{_short(item)}”, which is not a word we know.",
                    f"Known are: {', '.join(known)}.",
                )
        return tuple(dict.fromkeys(items))

    def text(self, key: str, *, default: str) -> str:
        """Return a short free text."""
        value = self.raw(key)
        if value is None:
            return default
        if not isinstance(value, str) or not value.strip():
            raise CaseInvalid(self.at(key), "needs a name.", "Give text, or leave it out.")
        return value.strip()

    def flag(self, key: str, *, default: bool) -> bool:
        """Return true or false."""
        value = self.raw(key)
        if value is None:
            return default
        if not isinstance(value, bool):
            raise CaseInvalid(
                self.at(key), f"holds {_kind(value)}.", "Give true or false, without quotes."
            )
        return value

    def numbers(self, key: str, *, low: float, high: float, do: str) -> tuple[float, ...]:
        """Return a list of numbers in rising order, at least one."""
        if self.raw(key) is None:
            raise self.missing(key, do)
        items = as_list(self.raw(key), self.at(key), longest=200)
        if not items:
            raise CaseInvalid(self.at(key), "is an empty list.", do)
        values = [
            as_number(item, f"{self.at(key)}[{place}]", low=low, high=high)
            for place, item in enumerate(items)
        ]
        return tuple(sorted(set(values)))
