"""Spirals, arcs, grains and needles."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from vision.training.made import Made, Section, draw_section, strip_with_teeth
from vision.training.noise import chance, log_uniform, wander
from vision.training.sweep import Points3, Strip

if TYPE_CHECKING:
    from vision.arrays import Float1

__all__ = [
    "ARC_DEG",
    "SPIRAL_TURNS",
    "arc_loose",
    "arcs_connected",
    "grain",
    "needle",
    "sliver",
    "spiral",
    "spiral_conical",
    "spiral_flat",
]

#: Turns of what is surely a spiral, and degrees of what is surely an arc.
SPIRAL_TURNS = (1.4, 4.0)
ARC_DEG = (60.0, 330.0)
#: Distance between points of short curls, mm: three points a tooth.
_STEP_MM = 0.09
_UP = np.array([0.0, 0.0, 1.0])


def _planar(
    angle: Float1, radius: Float1, lift: Float1, tilt_deg: float
) -> tuple[Points3, Points3]:
    """Curl about z: centre line and width direction."""
    radial = np.stack([np.cos(angle), np.sin(angle), np.zeros_like(angle)], axis=1)
    line = radius[:, None] * radial + lift[:, None] * _UP
    tilt = np.radians(tilt_deg)
    return line, np.cos(tilt) * _UP + np.sin(tilt) * radial


def _mirrored(
    rng: np.random.Generator, line: Points3, across: Points3
) -> tuple[Points3, Points3]:
    if chance(rng, 0.5):
        return line, across
    mirror = np.array([1.0, -1.0, 1.0])
    return line * mirror, -across * mirror


def spiral(
    rng: np.random.Generator, wish: Section | None, turns: float, *, conical: bool
) -> Made:
    """Clock spring of so many turns, flat or with its centre pushed out."""
    section = draw_section(rng, wish, (0.3, 2.5), (0.08, 0.6))
    inner = log_uniform(rng, max(0.6, 2 * section.thickness_mm), 3.0)
    growth = log_uniform(rng, 1.15 * section.thickness_mm, 4.5 * section.thickness_mm)
    growth = min(growth, 1.6 * inner)
    outer = inner + growth * turns
    per_turn = float(np.clip(np.pi * (inner + outer) / _STEP_MM, 60, 180))
    angle = np.linspace(0.0, 2 * np.pi * turns, int(per_turn * turns) + 2)
    lap = angle / (2 * np.pi)
    radius = inner + growth * lap * (1 + 0.15 * lap / turns)
    radius = radius * (1 + wander(rng, lap, 0.8, 0.015))
    lift = np.zeros_like(lap)
    if conical:
        lift = lap * rng.uniform(0.35, 0.9) * section.width_mm
    tilt = rng.uniform(-20, 20) if conical else rng.uniform(-4, 4)
    line, across = _mirrored(rng, *_planar(angle, radius, lift, tilt))
    return Made(
        strip=strip_with_teeth(rng, line, across, section),
        curl={
            "curl_radius_mm": float(radius.mean()),
            "curl_radius_range_mm": (float(radius.min()), float(radius.max())),
            "turns": float(turns),
            "theta_deg": abs(float(tilt)),
        },
    )


def spiral_flat(rng: np.random.Generator, wish: Section | None) -> Made:
    """Clock spring."""
    return spiral(rng, wish, rng.uniform(*SPIRAL_TURNS), conical=False)


def spiral_conical(rng: np.random.Generator, wish: Section | None) -> Made:
    """Clock spring with its centre pushed out."""
    return spiral(rng, wish, rng.uniform(*SPIRAL_TURNS), conical=True)


def arc_loose(rng: np.random.Generator, wish: Section | None) -> Made:
    """Single arc of 60 to 330 degrees, even or opening outwards."""
    section = draw_section(rng, wish, (0.3, 2.5), (0.08, 0.6))
    degrees = rng.uniform(*ARC_DEG)
    low = max(0.8, 2.2 * section.thickness_mm)
    radius0 = log_uniform(rng, low, 5.0)
    sweep_rad = np.radians(degrees)
    angle = np.linspace(0.0, sweep_rad, int(np.clip(sweep_rad * radius0 / _STEP_MM, 30, 300)))
    opening = rng.uniform(0, 0.35) * chance(rng, 0.6)
    radius = radius0 * np.exp(opening * (angle / angle[-1] - 0.5))
    tilt = rng.uniform(-8, 8) if chance(rng, 0.6) else rng.uniform(15, 80) * rng.choice([-1, 1])
    if radius0 < 0.7 * section.width_mm:
        tilt = float(np.clip(tilt, -8, 8))
    lift = rng.uniform(0, 0.25) * section.width_mm * angle / angle[-1]
    line, across = _mirrored(rng, *_planar(angle, radius, lift, tilt))
    strip = strip_with_teeth(rng, line, across, section)
    if chance(rng, 0.4):
        strip = _comma(rng, strip)
    return Made(
        strip=strip,
        curl={
            "curl_radius_mm": float(radius.mean()),
            "turns": float(degrees / 360),
            "theta_deg": abs(float(tilt)),
        },
    )


def _comma(rng: np.random.Generator, strip: Strip) -> Strip:
    """Chip of a cut that grows from nothing: thin and narrow at one end."""
    share = np.linspace(0.0, 1.0, len(strip.line))
    if chance(rng, 0.5):
        share = 1 - share
    start = rng.uniform(0.15, 0.5)
    grown = start + (1 - start) * np.minimum(1.0, share / rng.uniform(0.5, 1.0)) ** 0.8
    return replace(
        strip,
        width=strip.width * grown,
        thickness=strip.thickness * np.sqrt(grown),
        ragged=strip.ragged * grown,
    )


def arcs_connected(rng: np.random.Generator, wish: Section | None) -> Made:
    """Two to four arcs that hang together at half-broken necks."""
    section = draw_section(rng, wish, (0.4, 2.0), (0.1, 0.5))
    radius = log_uniform(rng, max(0.9, 2.5 * section.thickness_mm), 4.0)
    step = 0.06
    bends: list[Float1] = []
    necks: list[int] = []
    for k in range(rng.integers(2, 5)):
        if k:
            fold = -np.radians(rng.uniform(70, 150))
            necks.append(sum(len(b) for b in bends) + 4)
            bends.append(np.full(8, fold / (8 * step)))
        sweep_rad = np.radians(rng.uniform(90, 210))
        bends.append(np.full(int(sweep_rad * radius / step), rng.normal(1, 0.1) / radius))
    heading = np.cumsum(np.concatenate(bends)) * step
    rise = wander(rng, np.arange(0.0, len(heading)) * step, 2 * radius, 0.12 * radius)
    line = np.column_stack(
        [np.cumsum(np.cos(heading)), np.cumsum(np.sin(heading)), rise / step]
    )
    line = line * step
    across = np.tile(_UP, (len(line), 1))
    line, across = _mirrored(rng, line, across)
    strip = strip_with_teeth(rng, line, across, section)
    index = np.arange(len(line))[:, None]
    pinch = np.exp(-(((index - np.array(necks)[None, :]) * step / 0.25) ** 2)).max(axis=1)
    width = strip.width * (1 - 0.6 * pinch)
    narrow = Strip(
        line=line,
        across=across,
        width=width,
        thickness=strip.thickness,
        ragged=strip.ragged * (1 - pinch),
    )
    return Made(strip=narrow, curl={"curl_radius_mm": float(radius)})


def grain(rng: np.random.Generator, wish: Section | None) -> Made:
    """Elemental chip: a chunky flake of three to six sides with hardly any curl."""
    width = log_uniform(rng, 0.7, 2.0)
    thickness = log_uniform(rng, 0.12, 0.5) if wish is None else wish.thickness_mm
    thickness = min(thickness, 0.45 * width)
    length = width * rng.uniform(0.8, 1.9)
    share = np.linspace(0.0, 1.0, 9)
    bow = rng.uniform(0.0, 0.22) * 2 * np.pi  # rad of curl over the grain
    angle = (share - 0.5) * max(bow, 0.05)
    radius = length / max(bow, 0.05)
    line = np.stack([radius * np.sin(angle), 0 * share, -radius * np.cos(angle)], axis=1)
    skew = rng.uniform(-0.4, 0.4) * width
    line[:, 1] = skew * (share - 0.5)
    corners = np.sort(rng.uniform(0, 1, rng.integers(1, 4)))
    profile = np.interp(
        share,
        np.concatenate([[0.0], corners, [1.0]]),
        np.concatenate(
            [
                rng.uniform(0.15, 1, 1),
                rng.uniform(0.7, 1.1, len(corners)),
                rng.uniform(0.15, 1, 1),
            ]
        ),
    )
    across = np.tile([0.0, -1.0, 0.0], (9, 1))
    strip = Strip(
        line=line,
        across=across,
        width=width * profile,
        thickness=thickness * (1 + 0.25 * np.sin(3 * np.pi * share + rng.uniform(0, 6))),
        ragged=width * rng.normal(0, 0.06, 9),
    )
    return Made(strip=strip)


def needle(rng: np.random.Generator, wish: Section | None) -> Made:
    """Sliver tapered at both ends, straight, bowed, twisted or rolled to a corkscrew."""
    width = log_uniform(rng, 0.12, 0.6) if wish is None else min(wish.width_mm, 0.6)
    length = float(np.clip(width * log_uniform(rng, 10, 34), 2.2, 20.0))
    if chance(rng, 0.2):
        return _rolled(rng, 0.5 * width, length)
    return sliver(rng, width, length)


def _rolled(rng: np.random.Generator, width: float, length: float) -> Made:
    """Sliver rolled about its length: a steep screw, tapered at both ends."""
    width = max(width, 0.12)
    thickness = min(log_uniform(rng, 0.05, 0.2), 0.6 * width)
    radius = float(np.clip(log_uniform(rng, 0.2, 0.8), None, length / 20))
    share = np.linspace(0.0, 1.0, 160)
    turns = min(rng.uniform(0.7, 3.0), length / (4 * np.pi * radius))
    angle = 2 * np.pi * turns * share * rng.choice([-1.0, 1.0])
    slim = radius * np.minimum(1.0, 0.35 + 2 * np.minimum(share, 1 - share))
    radial = np.stack([np.cos(angle), np.sin(angle), 0 * share], axis=1)
    rise = np.sqrt(length**2 - (2 * np.pi * turns * radius) ** 2)
    line = slim[:, None] * radial + (rise * share)[:, None] * _UP
    taper = np.minimum(1.0, 0.2 + 4 * np.minimum(share, 1 - share))
    around = np.cross(_UP, radial)
    strip = Strip(
        line=line,
        across=around * 0.7 + _UP * 0.7,
        width=width * taper,
        thickness=thickness * taper,
        ragged=width * taper * rng.uniform(-0.12, 0.0, len(share)),
    )
    return Made(strip=strip)


def sliver(rng: np.random.Generator, width: float, length: float) -> Made:
    """Needle of a width and length, straight, bowed or twisted."""
    thickness = min(log_uniform(rng, 0.05, 0.3), 0.7 * width)
    s = np.linspace(0.0, length, 120)
    share = s / length
    bow = rng.normal(0, 0.25)
    heading = bow * (share - 0.5) + wander(rng, s, length / 3, 0.04)
    line = np.stack([np.cumsum(np.cos(heading)), np.cumsum(np.sin(heading)), 0 * s], axis=1)
    line = line * s[1]
    roll = 2 * np.pi * share * rng.uniform(0, 1.5) * chance(rng, 0.5)
    side = np.stack([-np.sin(heading), np.cos(heading), 0 * s], axis=1)
    across = np.cos(roll)[:, None] * _UP + np.sin(roll)[:, None] * side
    blunt = rng.uniform(0.05, 0.5, 2)
    taper = np.minimum(1.0, np.minimum(blunt[0] + share / 0.35, blunt[1] + (1 - share) / 0.35))
    strip = Strip(
        line=line,
        across=across,
        width=width * taper,
        thickness=thickness * taper,
        ragged=width * taper * rng.uniform(-0.12, 0.0, len(s)),
    )
    return Made(strip=strip)
