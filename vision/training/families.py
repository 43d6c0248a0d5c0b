"""Families of metals, lights, cameras and benches that scenes are drawn from."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import Any, Literal, TypeAlias

import numpy as np

__all__ = ["Side", "families", "pick_family", "span"]

#: Which half of ``families.toml`` a set draws from.
Side: TypeAlias = Literal["train", "held_out"]


@cache
def _table() -> dict[str, Any]:
    text = files("vision.training").joinpath("families.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def families(kind: str, side: Side) -> dict[str, Any]:
    """All families of a kind ('metals', 'lights', 'cameras', 'benches') on one side."""
    return dict(_table()[kind][side])


def pick_family(
    rng: np.random.Generator, table: dict[str, Any], weight: str
) -> tuple[str, dict[str, Any]]:
    """Draw a family by its entry ``weight``; returns its name and description."""
    names = sorted(table)
    weights = np.array([float(table[n][weight]) for n in names])
    name = str(rng.choice(names, p=weights / weights.sum()))
    return name, dict(table[name])


def span(name: str, side: Side) -> tuple[float, float]:
    """Range of a scene parameter ('px_per_mm', 'tilt_deg') on one side."""
    low, high = _table()["ranges"][side][name]
    return float(low), float(high)
