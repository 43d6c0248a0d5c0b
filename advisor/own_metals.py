"""A user's own metals: a TOML text in the layout of ``advisor/data/materials.toml``.

A metal may be said to be ``like`` one of ours; what it does not give itself is borrowed
from there, and every advice for it says so. Each number must name its source in plain
words. A metal that does not list its hazards is one of unknown hazard.
"""

from __future__ import annotations

import tomllib
from dataclasses import fields
from typing import Any, Final

from advisor.errors import CaseInvalid, SourceMissing
from advisor.tables import OWN_SOURCE, Material, material, material_from, sources

__all__ = ["parse_metals"]

_MOST_METALS: Final = 200
_NAMES: Final = frozenset(f.name for f in fields(Material))
_TEXTS: Final = ("name", "nature", "tint", "iso_513")
#: What a metal may lack, also one that is like none of ours.
_FREE: Final = frozenset({"hss_ceiling_m_min", "density_g_cm3", "stand_in"})
_DO: Final = "See README, “Your own metals”."


def parse_metals(text: str) -> tuple[Material, ...]:
    """Return the metals of a user's file.

    Parameters
    ----------
    text : str
        TOML, an array of tables called ``material`` with, for each
        metal, ``name``, ``like`` and whatever is known
        better, each number as ``{ value = 900, source = "…" }`` or
        ``{ low = 10, high = 20, source = "…" }``.

    Raises
    ------
    CaseInvalid
        With the metal and the field: no TOML, an unknown field or word, a number without
        a source, nothing to borrow from.
    OutOfTable
        If ``like`` names no metal of ours.

    Examples
    --------
    >>> metal, = parse_metals('material = [{ name = "1.4539", like = "316" }]')
    >>> metal.name, metal.hazards, metal.kc11_n_mm2.value
    ('1.4539', ('unknown',), 2350.0)
    """
    try:
        tree = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise CaseInvalid("metals", f"is no TOML: {error}.", _DO) from error
    rows = tree.get("material")
    if set(tree) - {"material"} or not isinstance(rows, list) or len(rows) > _MOST_METALS:
        raise CaseInvalid("metals", "holds something other than [[material]] tables.", _DO)
    return tuple(_metal(row, f"metals[{place}]") for place, row in enumerate(rows))


def _metal(row: Any, path: str) -> Material:  # noqa: ANN401 - what TOML holds
    if not isinstance(row, dict) or not isinstance(row.get("name"), str) or not row["name"]:
        raise CaseInvalid(f"{path}.name", "is missing.", "Name the metal.")
    path = f"metals.{row['name']}"
    strange = sorted(set(row) - _NAMES - {"like"})
    if strange:
        raise CaseInvalid(f"{path}.{strange[0]}", "is not a field we know.", _DO)
    given = {key: _with_own_source(item, f"{path}.{key}") for key, item in row.items()}
    like = given.pop("like", None)
    if like is None and (_NAMES - _FREE) - set(given):
        missing = sorted(_NAMES - _FREE - {"hazards"} - set(given))
        raise CaseInvalid(
            f"{path}.like", f"is missing, and so is {missing[0]}.", "Name the nearest metal."
        )
    base = {} if like is None else _row_of(material(str(like)))
    whole = base | {"aliases": [], "hazards": ["unknown"], "stand_in": {}} | given
    if like is not None:
        borrowed = [key for key in base if key not in given and isinstance(base[key], dict)]
        said = dict(whole["stand_in"]) if isinstance(whole["stand_in"], dict) else {}
        whole["stand_in"] = dict.fromkeys(borrowed, f"{like}, by your own file") | said
    _check_words(whole, path)
    try:
        return material_from(whole)
    except (SourceMissing, TypeError, ValueError, KeyError) as error:
        raise CaseInvalid(path, f"cannot be used: {error}.", _DO) from error


def _row_of(metal: Material) -> dict[str, Any]:
    """Return one of our metals as the table row it came from, names and hazards left out."""
    row: dict[str, Any] = {}
    for field in fields(Material):
        value = getattr(metal, field.name)
        if field.name in {"name", "aliases", "hazards", "stand_in"} or value is None:
            continue
        if hasattr(value, "value"):
            value = {"value": value.value, "source": value.source}
        elif hasattr(value, "low"):
            value = {"low": value.low, "high": value.high, "source": value.source}
        row[field.name] = value
    return row


def _with_own_source(item: Any, path: str) -> Any:  # noqa: ANN401 - what TOML holds
    """Return a number of the user with its source marked as the user's own."""
    if not isinstance(item, dict) or not ({"value", "low"} & set(item)):
        if isinstance(item, int | float) and not isinstance(item, bool):
            raise CaseInvalid(path, "is a number without a source.", _DO)
        return item
    numbers = [item.get(key) for key in ("value", "low", "high") if key in item]
    if not all(
        isinstance(n, int | float) and not isinstance(n, bool) and n > 0 for n in numbers
    ):
        raise CaseInvalid(path, "needs numbers above nought.", _DO)
    source = item.get("source")
    if not isinstance(source, str) or not source.strip():
        raise CaseInvalid(path, "names no source.", "Say where the number comes from.")
    return item if source in sources() else {**item, "source": OWN_SOURCE + source.strip()}


def _check_words(row: dict[str, Any], path: str) -> None:
    """Refuse words that no rule knows; they would be taken for nothing in silence."""
    ours = [material(name) for name in ("304", "Ti-6Al-4V", "1018", "12L14", "6061", "C360")]
    ours += [material(name) for name in ("1045", "grey iron")]
    for key in _TEXTS[1:]:
        known = {getattr(metal, key) for metal in ours}
        if row.get(key) not in known:
            words = ", ".join(sorted(known))
            raise CaseInvalid(f"{path}.{key}", "is not a word we know.", f"Known: {words}.")
    for key in ("aliases", "hazards"):
        if not isinstance(row[key], list | tuple) or not all(
            isinstance(item, str) for item in row[key]
        ):
            raise CaseInvalid(f"{path}.{key}", "is no list of words.", _DO)
    for key in ("wants_oil", "hardens"):
        if not isinstance(row.get(key), bool):
            raise CaseInvalid(f"{path}.{key}", "is neither true nor false.", _DO)
