"""Invented jobs of a small bicycle-restoring workshop, for the demo photos."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Job"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    name: str
    metal: str
    chips: tuple[int, int]
    forms: dict[str, float]
    width_mm: float
    thickness_mm: float
    film_nm: tuple[float, float]


def draw_job(seed: int) -> Job:
    raise NotImplementedError(seed)
