"""Reads the packaged tables into records; a number without a known source does not load.

The only place of this package that reads files, and only its own.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any, Final

from advisor.errors import OutOfTable, SourceMissing

__all__ = [
    "Material",
    "Number",
    "Source",
    "Span",
    "assumed_value",
    "check_sources",
    "edge_number",
    "material",
    "material_from",
    "material_names",
    "materials",
    "rule",
    "rule_value",
    "source_text",
    "sources",
]

_OBTAINED: Final = ("read", "memory", "shop practice", "choice")
#: Marks a source that a user wrote beside a metal of their own.
OWN_SOURCE: Final = "own: "


@dataclass(frozen=True, slots=True)
class Source:
    """A cited work, or the admission that there is none, and how we came by it."""

    id: str
    citation: str
    obtained: str

    @property
    def text(self) -> str:
        """Citation as people read it."""
        return f"{self.citation} (from memory)" if self.obtained == "memory" else self.citation


@dataclass(frozen=True, slots=True)
class Number:
    """One value of a table with its source."""

    value: float
    source: str


@dataclass(frozen=True, slots=True)
class Span:
    """A range of a table with its source."""

    low: float
    high: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """One metal. ``stand_in`` says what a number was borrowed from."""

    name: str
    aliases: tuple[str, ...]
    iso_513: str
    nature: str
    tint: str
    hazards: tuple[str, ...]
    wants_oil: bool
    hardens: bool
    kc11_n_mm2: Number
    mc: Number
    reference_rake_deg: Number
    rake_deg: Number
    hss_m_min: Span
    carbide_m_min: Span
    feed_mm_rev: Span
    start_feed_mm_rev: Number
    depth_mm: Span
    finishing_floor_mm: Number
    compression: Span
    expansion_1e6_k: Number
    e_gpa: Number
    hss_ceiling_m_min: Number | None = None
    density_g_cm3: Number | None = None
    stand_in: tuple[tuple[str, str], ...] = ()


def _read(name: str) -> dict[str, Any]:
    text = (resources.files("advisor") / "data" / name).read_text(encoding="utf-8")
    return tomllib.loads(text)


@cache
def sources() -> dict[str, Source]:
    """Return all sources by id."""
    out = {}
    for key, row in _read("sources.toml").items():
        if row.get("obtained") not in _OBTAINED or not str(row.get("citation", "")).strip():
            raise SourceMissing(f"source {key} does not say what it is and how it was obtained")
        out[key] = Source(key, row["citation"], row["obtained"])
    return out


def source_text(key: str) -> str:
    """Return what people read for a source id, or for what a user wrote as their source."""
    if key.startswith(OWN_SOURCE):
        return f"{key.removeprefix(OWN_SOURCE)} (your own figure)"
    return sources()[key].text


def check_sources(node: object, where: str) -> None:
    """Refuse a table in which a number stands without a known source.

    Raises
    ------
    SourceMissing
        Naming the place.
    """
    if isinstance(node, bool | str):
        return
    if isinstance(node, int | float):
        raise SourceMissing(f"{where}: a number without a source")
    if isinstance(node, list):
        for place, item in enumerate(node):
            check_sources(item, f"{where}[{place}]")
        return
    if not isinstance(node, dict):
        raise SourceMissing(f"{where}: {type(node).__name__} has no place in a table")
    if "value" in node or "low" in node:
        source = str(node.get("source") or "")
        if source not in sources() and not source.removeprefix(OWN_SOURCE).strip():
            raise SourceMissing(f"{where}: no source")
        if source not in sources() and not source.startswith(OWN_SOURCE):
            raise SourceMissing(f"{where}: no source, or one that sources.toml does not know")
        return
    for key, item in node.items():
        check_sources(item, f"{where}.{key}")


def _cell(node: Any, where: str) -> Any:  # noqa: ANN401 - what TOML holds
    if isinstance(node, dict) and "value" in node:
        return Number(float(node["value"]), node["source"])
    if isinstance(node, dict) and "low" in node:
        if not node["low"] < node["high"]:
            raise SourceMissing(f"{where}: the low end is not below the high end")
        return Span(float(node["low"]), float(node["high"]), node["source"])
    if isinstance(node, dict):
        return tuple(node.items())
    return tuple(node) if isinstance(node, list) else node


@cache
def materials() -> tuple[Material, ...]:
    """Return all metals in the order of the table."""
    rows = _read("materials.toml")["material"]
    return tuple(material_from(row) for row in rows)


def material_from(row: dict[str, Any]) -> Material:
    """Return the record of one row of a table of metals, all its fields being there."""
    where = f"material {row.get('name')}"
    check_sources(row, where)
    return Material(**{k: _cell(v, f"{where}.{k}") for k, v in row.items()})


def _key(name: str) -> str:
    return re.sub(r"[^a-z0-9]", "", name.casefold())


@cache
def _by_name(own: tuple[Material, ...]) -> dict[str, Material]:
    out: dict[str, Material] = {}
    for metal in materials():
        for name in (metal.name, *metal.aliases):
            if out.setdefault(_key(name), metal) is not metal:
                raise SourceMissing(f"{name} names two metals")
    out.update({_key(name): metal for metal in own for name in (metal.name, *metal.aliases)})
    return out


def material(name: str, own: tuple[Material, ...] = ()) -> Material:
    """Return a metal by its name or by a UNS or EN name; case, spaces and dashes are free.

    Parameters
    ----------
    name : str
    own : tuple of Material
        Metals of the user's own file; they come before ours of the same name.

    Raises
    ------
    OutOfTable
        If we have no figures for it.

    Examples
    --------
    >>> material("1.4301").name, material("r56400").name
    ('304', 'Ti-6Al-4V')
    """
    key = re.sub(r"^(aisi|uns|sae(?!660))", "", _key(name))
    known_metals = _by_name(own)
    found = known_metals.get(key) or known_metals.get(_key(name))
    if found is None:
        known = ", ".join([*(metal.name for metal in own), *material_names()])
        raise OutOfTable(
            f"No figures for the metal “{name}”, because it is not in our tables. "
            f"Choose one of {known}, or its UNS or EN name."
        )
    return found


def material_names() -> tuple[str, ...]:
    """Return the names of all metals, in the order of the table."""
    return tuple(metal.name for metal in materials())


@cache
def _flat(name: str) -> dict[tuple[str, ...], Number]:
    out: dict[tuple[str, ...], Number] = {}

    def walk(node: dict[str, Any], path: tuple[str, ...]) -> None:
        if "value" in node:
            out[path] = Number(float(node["value"]), node["source"])
            return
        for key, item in node.items():
            walk(item, (*path, key))

    tree = _read(name)
    check_sources(tree, name)
    walk(tree, ())
    return out


def edge_number(*path: str) -> Number:
    """Return a number of ``edges.toml``, such as ``("wear_factor", "dull")``."""
    return _flat("edges.toml")[path]


def assumed_value(*path: str) -> float:
    """Return a number of ``assumed.toml``, such as ``("lathe", "power_w")``."""
    return _flat("assumed.toml")[path].value


def rule(*path: str) -> Number:
    """Return a number of ``rules.toml``, such as ``("move", "feed")``."""
    return _flat("rules.toml")[path]


def rule_value(*path: str) -> float:
    """Return the bare value of a number of ``rules.toml``."""
    return _flat("rules.toml")[path].value
