"""The packaged tables: metals and the sources that every value names.

Values live in ``advisor/data``; nothing here computes. A value without a known source
does not load, so a number can always be traced to where it was obtained.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Literal, cast

from advisor.errors import OutOfTable, SourceMissing

__all__ = [
    "Given",
    "Metal",
    "Range",
    "Source",
    "find_metal",
    "load_metals",
    "load_sources",
    "material_names",
    "read_metal",
]

Breaks = Literal["by itself", "with feed", "controlled", "crumbles"]
_OBTAINED = ("read", "memory", "shop practice")


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where a value comes from and how it was obtained."""

    id: str
    title: str
    obtained: Literal["read", "memory", "shop practice"]
    says: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """A tabled value with its source; ``stands_in`` names what it was really given for."""

    value: float
    source: str
    stands_in: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """A recommended range; never a hard limit. ``ceiling`` is the most a fresh edge takes."""

    low: float
    high: float
    start: float
    ceiling: float
    source: str
    stands_in: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Metal:
    """One metal as the lathe sees it."""

    name: str
    also: tuple[str, ...]
    family: str
    breaks: Breaks
    work_hardens: bool
    built_up_edge: bool
    tint_tells: bool
    hazards: tuple[str, ...]
    kc11_n_mm2: Given
    mc: Given
    elastic_modulus_gpa: Given
    expansion_um_m_k: Given
    rake_deg: Given
    hss_m_min: Range
    carbide_m_min: Range
    feed_mm_rev: Range
    depth_mm: Range
    finishing_floor_mm: Given

    def speed_m_min(self, edge_material: str) -> Range:
        """Return the speed range for an edge material, m/min."""
        return self.hss_m_min if edge_material == "HSS" else self.carbide_m_min


_GIVEN = (
    "kc11_n_mm2",
    "mc",
    "elastic_modulus_gpa",
    "expansion_um_m_k",
    "rake_deg",
    "finishing_floor_mm",
)
_RANGES = ("hss_m_min", "carbide_m_min", "feed_mm_rev", "depth_mm")
_WORDS = ("name", "family", "breaks")
_SWITCHES = ("work_hardens", "built_up_edge", "tint_tells")


def _packaged(name: str) -> dict[str, Any]:
    return tomllib.loads((files("advisor") / "data" / name).read_text(encoding="utf-8"))


@cache
def load_sources() -> dict[str, Source]:
    """Return all sources by id.

    Raises
    ------
    SourceMissing
        If a source does not say how it was obtained.
    """
    sources = {}
    for key, entry in _packaged("sources.toml").items():
        if entry.get("obtained") not in _OBTAINED:
            raise SourceMissing(f"source {key} does not say how it was obtained")
        sources[key] = Source(id=key, **entry)
    return sources


def _known(entry: object, where: str) -> dict[str, Any]:
    if not isinstance(entry, dict) or entry.get("source") not in load_sources():
        raise SourceMissing(f"{where} names no known source")
    table = cast("dict[str, Any]", entry)
    for key, value in table.items():
        if isinstance(value, (int, float)) and not math.isfinite(value):
            raise SourceMissing(f"{where}.{key} is not a finite number")
    return table


def read_metal(entry: dict[str, Any]) -> Metal:
    """Return one metal from its TOML table.

    Raises
    ------
    SourceMissing
        If any value lacks a source, or the table has other keys than expected.
    """
    name = str(entry.get("name"))
    given = {k: Given(**_known(entry.get(k), f"{name}.{k}")) for k in _GIVEN}
    ranges = {}
    for key in _RANGES:
        table = _known(entry.get(key), f"{name}.{key}")
        ranges[key] = Range(**{"ceiling": table["high"], **table})
    rest = {k: entry[k] for k in entry if k not in {*_GIVEN, *_RANGES}}
    if set(rest) != {*_WORDS, *_SWITCHES, "also", "hazards"}:
        raise SourceMissing(f"{name} has unknown or missing keys: {sorted(rest)}")
    words = {k: rest[k] for k in (*_WORDS, *_SWITCHES)}
    return Metal(
        **words, also=tuple(rest["also"]), hazards=tuple(rest["hazards"]), **given, **ranges
    )


@cache
def load_metals() -> dict[str, Metal]:
    """Return all metals by their main name, in the order of the file."""
    metals = [read_metal(entry) for entry in _packaged("materials.toml")["metal"]]
    return {metal.name: metal for metal in metals}


def _key(name: str) -> str:
    return "".join(c for c in name.casefold() if c.isalnum())


@cache
def _by_alias() -> dict[str, Metal]:
    return {_key(a): m for m in load_metals().values() for a in (m.name, *m.also)}


def material_names() -> tuple[str, ...]:
    """Return the main names of all metals.

    >>> "Ti-6Al-4V" in material_names()
    True
    """
    return tuple(load_metals())


def find_metal(name: str) -> Metal:
    """Return a metal by main name, UNS or EN name; case, blanks and dashes do not matter.

    Raises
    ------
    OutOfTable
        If the metal is unknown. Its hazards are then unknown too, so nothing is guessed.
    """
    metal = _by_alias().get(_key(name))
    if metal is None:
        raise OutOfTable(
            f"The tables do not know the metal \N{LEFT DOUBLE QUOTATION MARK}{name[:40]}"
            "\N{RIGHT DOUBLE QUOTATION MARK}. Its forces and hazards are unknown here, so "
            f"nothing is guessed. Choose one of: {', '.join(material_names())}."
        )
    return metal
