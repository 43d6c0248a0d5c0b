"""What a maker of shapes hands over: the strip, its curl and how it lies."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypedDict

import numpy as np

from vision.training.noise import log_uniform, teeth, wander
from vision.training.sweep import Strip, arc_lengths

if TYPE_CHECKING:
    from vision.arrays import Float1
    from vision.training.sweep import Points3

__all__ = ["CurlSizes", "Made", "Section", "Sizes", "draw_section", "strip_with_teeth"]


#: How often an end of a chip is broken off square.
_SQUARE_ENDS = 0.4


class CurlSizes(TypedDict, total=False):
    """The part of :class:`Sizes` that only the maker knows."""

    curl_radius_mm: float
    curl_radius_range_mm: tuple[float, float]
    pitch_mm: float
    turns: float
    theta_deg: float
    coil_length_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sizes:
    """True sizes of a chip; ``None`` where the form has no such size.

    ``curl_radius_mm`` is the mean distance of the centre line from the curl axis,
    ``turns`` the winding angle over 360 degrees, ``coil_length_mm`` the length of
    the axis, ``pitch_mm`` that length over the turns, ``width_mm`` the mean width with
    the teeth of the free edge.
    """

    length_mm: float
    width_mm: float
    thickness_mm: float
    extent_mm: float
    curl_radius_mm: float | None = None
    curl_radius_range_mm: tuple[float, float] | None = None
    pitch_mm: float | None = None
    turns: float | None = None
    theta_deg: float | None = None
    coil_length_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """Cross-section that a cut gives its chips, mm."""

    width_mm: float
    thickness_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """A strip and what its maker knows of it.

    ``more`` holds further strips of the same chip, caught in the first.
    ``lies_as_made`` is for limp or tangled chips that were laid on the plane while
    being made; all others are rigid and still have to come to rest.
    """

    strip: Strip
    more: tuple[Strip, ...] = ()
    curl: CurlSizes = field(default_factory=CurlSizes)
    lies_as_made: bool = False


def draw_section(
    rng: np.random.Generator,
    section: Section | None,
    width_mm: tuple[float, float],
    thickness_mm: tuple[float, float],
) -> Section:
    """Take the cut's section with a little spread, or draw one from the ranges."""
    if section is not None:
        spread = rng.normal(1.0, 0.08, 2).clip(0.8, 1.2)
        width = float(np.clip(section.width_mm * spread[0], *width_mm))
        thickness = np.clip(section.thickness_mm * spread[1], *thickness_mm)
        return Section(width_mm=width, thickness_mm=float(min(thickness, width / 1.5)))
    width = log_uniform(rng, *width_mm)
    thickest = min(thickness_mm[1], width / 2)
    return Section(width_mm=width, thickness_mm=log_uniform(rng, thickness_mm[0], thickest))


def strip_with_teeth(
    rng: np.random.Generator, line: Points3, across: Points3, section: Section
) -> Strip:
    """Strip of nearly even section whose free edge is more or less torn."""
    s = arc_lengths(line)
    width = section.width_mm * (1 + 0.05 * np.sin(s / rng.uniform(3, 12) + rng.uniform(0, 6)))
    torn = _torn_ends(rng, s, section.width_mm)
    share = rng.choice([0.0, 0.08, 0.18, 0.3], p=[0.1, 0.35, 0.35, 0.2])
    # three points a tooth at least, else the teeth alias into slow waves
    pitch = max(log_uniform(rng, 0.1, 0.6), 3 * float(np.median(np.diff(s))))
    # lamellae: the free side is thicker and thinner along the chip
    uneven = wander(rng, s, max(log_uniform(rng, 0.3, 3.0), float(s[-1]) / 400), 0.06)
    return Strip(
        line=line,
        across=across,
        width=width * torn,
        thickness=section.thickness_mm * (1 + uneven.clip(-0.2, 0.2)),
        ragged=teeth(rng, s, pitch, share * section.width_mm) * torn,
    )


def _torn_ends(rng: np.random.Generator, s: Float1, width_mm: float) -> Float1:
    """Share of the width left at each point: ends are cut square or torn to a tip."""
    left = np.ones_like(s)
    for away in (s, s[-1] - s):
        if rng.random() < _SQUARE_ENDS:
            continue
        reach = min(log_uniform(rng, 0.3, 3.0) * width_mm, 0.25 * float(s[-1]))
        tip = rng.uniform(0.15, 0.7)
        left = np.minimum(left, tip + (1 - tip) * np.minimum(away / reach, 1.0) ** 0.7)
    return left
