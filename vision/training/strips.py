"""Ribbons, spirals, arcs, grains and needles."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vision.terms import GREY_ZONE, LONG_ALONG_CHIP_MM
from vision.training.made import Made, Section, draw_section, strip_with_teeth
from vision.training.noise import chance, log_uniform, wander
from vision.training.sweep import Points3, Strip, arc_lengths, unit
from vision.training.worm import worm

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import Float1

__all__ = [
    "arc_loose",
    "arcs_connected",
    "grain",
    "needle",
    "ribbon_long",
    "ribbon_nest",
    "ribbon_short",
    "spiral_conical",
    "spiral_flat",
]

_UP = np.array([0.0, 0.0, 1.0])
#: Longest ribbon that is still surely short, along the chip.
_SHORT_MM = (1 - GREY_ZONE) * LONG_ALONG_CHIP_MM
#: Longer ribbons lie down on the sheet instead of standing like a rigid body.
_LIMP_MM = 70.0
#: Smaller and larger side of the box that a ribbon may cover.
_ROOM_MM = np.array([90.0, 120.0])


def ribbon_short(rng: np.random.Generator, wish: Section | None) -> Made:
    """Ribbon of 6 mm up to the lower border of the grey zone."""
    section = draw_section(rng, wish, (0.2, 2.5), (0.05, 0.45))
    low = max(6.0, 9 * section.width_mm)
    length = log_uniform(rng, low, _SHORT_MM)
    return _ribbon(rng, section, length)


def ribbon_long(rng: np.random.Generator, wish: Section | None) -> Made:
    """Ribbon from the upper border of the grey zone to 420 mm, loosely laid down."""
    section = draw_section(rng, wish, (0.2, 2.5), (0.05, 0.45))
    return _ribbon(rng, section, log_uniform(rng, (1 + GREY_ZONE) * LONG_ALONG_CHIP_MM, 420.0))


def ribbon_nest(rng: np.random.Generator, wish: Section | None) -> Made:
    """Ribbon that has tangled itself into a ball."""
    section = draw_section(rng, wish, (0.2, 1.8), (0.05, 0.3))
    loop = log_uniform(rng, 3.0, 11.0)
    line = worm(
        rng,
        length_mm=log_uniform(rng, 180.0, 700.0),
        loop_radius_mm=loop,
        ball_radius_mm=max(1.3 * loop, log_uniform(rng, 8.0, 20.0)),
        floor_mm=section.width_mm / 2,
    )
    tangent = unit(np.gradient(line, axis=0))
    inward = unit(np.gradient(tangent, axis=0))
    across = np.cross(tangent, inward)
    s = arc_lengths(line)
    roll = wander(rng, s, 15.0, 0.4)[:, None]
    across = np.cos(roll) * across + np.sin(roll) * inward
    return Made(strip=strip_with_teeth(rng, line, across, section), lies_as_made=True)


def _ribbon(rng: np.random.Generator, section: Section, length: float) -> Made:
    step = float(np.clip(length / 900, 0.08, 0.25))
    s = np.arange(0.0, length, step)
    limp = length > _LIMP_MM
    heading, flat = _ribbon_course(rng, s, limp=limp)
    rise = wander(rng, s, 14.0, min(2.0, length / 25))
    if limp:
        rise = np.logaddexp(0.0, rise)  # it sags onto the sheet between its humps
    line = np.column_stack([flat, rise])
    roll = rng.choice([0.0, np.pi / 2]) + wander(rng, s, 12.0, rng.uniform(0.05, 0.5))
    roll = roll + rng.choice([0.0, 1.0], p=[0.6, 0.4]) * 2 * np.pi * s / rng.uniform(50, 200)
    side = np.stack([-np.sin(heading), np.cos(heading), np.zeros_like(s)], axis=1)
    across = np.cos(roll)[:, None] * _UP + np.sin(roll)[:, None] * side
    if length <= _SHORT_MM:  # humps add to the length: keep out of the grey zone
        kept = arc_lengths(line) <= _SHORT_MM
        line, across = line[kept], across[kept]
    return Made(strip=strip_with_teeth(rng, line, across, section), lies_as_made=limp)


def _ribbon_course(
    rng: np.random.Generator, s: Float1, *, limp: bool
) -> tuple[Float1, npt.NDArray[np.float64]]:
    """Heading and plane points, drawn again while the ribbon would leave the card."""
    tries = 40
    while True:
        heading = _ribbon_heading(rng, s, limp=limp)
        steps = np.stack([np.cos(heading), np.sin(heading)], axis=1) * s[1]
        flat = np.cumsum(steps, axis=0)
        reach = np.sort(np.ptp(flat, axis=0))
        tries -= 1
        if (reach < _ROOM_MM).all() or not tries:
            return heading, flat


def _ribbon_heading(rng: np.random.Generator, s: Float1, *, limp: bool) -> Float1:
    """Heading in the plane: slow curvature under 1/20 per mm, waves and kinks."""
    curvature = wander(rng, s, rng.uniform(10, 40), rng.uniform(0.006, 0.03)).clip(-0.05, 0.05)
    if limp:
        curvature = curvature + rng.uniform(-0.03, 0.03)
    heading = np.cumsum(curvature) * (s[1] - s[0])
    if chance(rng, 0.4):
        wave = rng.uniform(3, 12)
        phase = 2 * np.pi * s / wave + wander(rng, s, wave, 1.0)
        strength = rng.uniform(0.1, 0.45) * (1 + wander(rng, s, 2 * wave, 0.4))
        heading = heading + strength * np.sin(phase)
    for _ in range(rng.integers(0, 4)):
        place = rng.uniform(0.1, 0.9) * s[-1]
        turn = np.radians(rng.uniform(20, 80)) * rng.choice([-1, 1])
        heading = heading + turn * 0.5 * (1 + np.tanh((s - place) / 0.7))
    return np.asarray(heading)


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


def _spiral(rng: np.random.Generator, wish: Section | None, *, conical: bool) -> Made:
    section = draw_section(rng, wish, (0.4, 2.5), (0.08, 0.5))
    turns = rng.uniform(1.35, 4.0)
    inner = log_uniform(rng, max(0.6, 2 * section.thickness_mm), 2.2)
    growth = log_uniform(rng, 1.15 * section.thickness_mm, 3.5 * section.thickness_mm)
    angle = np.linspace(0.0, 2 * np.pi * turns, int(60 * turns) + 2)
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
    return _spiral(rng, wish, conical=False)


def spiral_conical(rng: np.random.Generator, wish: Section | None) -> Made:
    """Clock spring with its centre pushed out."""
    return _spiral(rng, wish, conical=True)


def arc_loose(rng: np.random.Generator, wish: Section | None) -> Made:
    """Single arc of 60 to 330 degrees, even or opening outwards."""
    section = draw_section(rng, wish, (0.3, 2.5), (0.08, 0.6))
    degrees = rng.uniform(60, 330)
    low = max(0.8, 2.2 * section.thickness_mm)
    radius0 = log_uniform(rng, low, 5.0)
    angle = np.linspace(0.0, np.radians(degrees), max(24, int(degrees / 4)))
    opening = rng.uniform(0, 0.35) * chance(rng, 0.6)
    radius = radius0 * np.exp(opening * (angle / angle[-1] - 0.5))
    tilt = rng.uniform(-8, 8) if chance(rng, 0.6) else rng.uniform(15, 80) * rng.choice([-1, 1])
    if radius0 < 0.7 * section.width_mm:
        tilt = float(np.clip(tilt, -8, 8))
    lift = rng.uniform(0, 0.25) * section.width_mm * angle / angle[-1]
    line, across = _mirrored(rng, *_planar(angle, radius, lift, tilt))
    return Made(
        strip=strip_with_teeth(rng, line, across, section),
        curl={
            "curl_radius_mm": float(radius.mean()),
            "turns": float(degrees / 360),
            "theta_deg": abs(float(tilt)),
        },
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
    """Sliver tapered at both ends, straight, bowed or rolled about its own length."""
    width = log_uniform(rng, 0.15, 0.6) if wish is None else min(wish.width_mm, 0.6)
    thickness = min(log_uniform(rng, 0.06, 0.3), 0.7 * width)
    length = float(np.clip(width * log_uniform(rng, 10, 34), 2.5, 20.0))
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
