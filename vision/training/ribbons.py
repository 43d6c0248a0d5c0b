"""Ribbons: strips without a stable coil, short and stiff, long and limp, or snarled."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import cKDTree

from vision.terms import GREY_ZONE, LONG_ALONG_CHIP_MM
from vision.training.made import Made, Section, draw_section, strip_with_teeth
from vision.training.noise import chance, log_uniform, wander
from vision.training.sweep import Points3, arc_lengths, unit
from vision.training.worm import respaced, settle, smooth, worm

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import Float1

__all__ = ["ribbon", "ribbon_long", "ribbon_nest", "ribbon_short"]

_UP = np.array([0.0, 0.0, 1.0])
WIDTH_MM, THICKNESS_MM = (0.15, 2.5), (0.05, 0.5)
#: Longest ribbon that is still surely short, along the chip.
SHORT_MM = (1 - GREY_ZONE) * LONG_ALONG_CHIP_MM
#: Shortest ribbon that is surely long.
LONG_MM = (1 + GREY_ZONE) * LONG_ALONG_CHIP_MM
#: Longer ribbons lie down on the sheet instead of standing like a rigid body.
_LIMP_MM = 70.0
#: Smaller and larger side of the box that a ribbon may cover.
_ROOM_MM = np.array([90.0, 120.0])


def ribbon_short(rng: np.random.Generator, wish: Section | None) -> Made:
    """Ribbon of 5 mm up to the lower border of the grey zone."""
    section = draw_section(rng, wish, WIDTH_MM, THICKNESS_MM)
    low = max(5.0, 9 * section.width_mm)
    return ribbon(rng, section, log_uniform(rng, low, SHORT_MM), at_most_mm=SHORT_MM)


def ribbon_long(rng: np.random.Generator, wish: Section | None) -> Made:
    """Ribbon from the upper border of the grey zone to 480 mm, loosely laid down."""
    section = draw_section(rng, wish, WIDTH_MM, THICKNESS_MM)
    return ribbon(rng, section, log_uniform(rng, 1.02 * LONG_MM, 480.0))


def ribbon_nest(rng: np.random.Generator, wish: Section | None) -> Made:
    """Ribbon of 150 to 1000 mm that has tangled itself into a ball."""
    section = draw_section(rng, wish, (0.15, 1.8), (0.05, 0.35))
    loop = log_uniform(rng, max(2.5, 2 * section.width_mm), 11.0)
    length = log_uniform(rng, 150.0, 1000.0)
    # strips meet edge to edge, face to face or aslant: a cord of this width stands for them
    gap = max(0.5, 0.75 * section.width_mm + 0.3 * section.thickness_mm)
    path = worm(
        rng,
        length_mm=length,
        loop_radius_mm=loop,
        ball_radius_mm=max(1.3 * loop, log_uniform(rng, 8.0, 20.0), (length * gap) ** 0.5),
    )
    path[:, 2] *= rng.uniform(0.3, 0.7)
    step = float(np.clip(0.8 * gap, 0.5, 1.0))
    (coarse,) = settle(
        [respaced(path, step)],
        gap_mm=gap,
        floor_mm=0.55 * section.width_mm,
        sag_mm=0.12,
        rounds=50,
    )
    line = smooth(coarse, max(0.12, length / 4000))
    tangent = unit(np.gradient(line, axis=0))
    s = arc_lengths(line)
    inward = _side_of_curve(tangent, s)
    across = np.cross(tangent, inward)
    roll = wander(rng, s, 15.0, 0.4)[:, None]
    across = np.cos(roll) * across + np.sin(roll) * inward
    return Made(strip=strip_with_teeth(rng, line, across, section), lies_as_made=True)


def _side_of_curve(tangent: Points3, s: Float1) -> Points3:
    """Direction to which a curve bends, carried over its straight parts without jumps."""
    bend = np.gradient(tangent, axis=0) / np.maximum(np.gradient(s), 1e-6)[:, None]
    # averaging over some 3 mm bridges places where the bend vanishes or jitters
    width = max(1, int(1.5 / max(float(np.median(np.diff(s))), 1e-3)))
    summed = np.cumsum(np.concatenate([np.zeros((1, 3)), bend]), axis=0)
    n = len(s)
    at = np.arange(n)
    low, high = np.maximum(at - width, 0), np.minimum(at + width + 1, n)
    return unit(summed[high] - summed[low])


def ribbon(
    rng: np.random.Generator,
    section: Section,
    length_mm: float,
    *,
    at_most_mm: float | None = None,
) -> Made:
    """Ribbon of a length: waves, kinks and twist, limp from some 70 mm on.

    A strip bends easily about its width and hardly in its plane. Where it stands on
    edge, waves and kinks therefore lie in the sheet; where it lies flat, they rise
    from it.
    """
    step = float(np.clip(length_mm / 800, 0.06, 0.35))
    s = np.arange(0.0, length_mm, step)
    limp = length_mm > _LIMP_MM
    flat = chance(rng, 0.5)
    roll = (0.5 * np.pi if flat else 0.0) + wander(rng, s, 12.0, rng.uniform(0.05, 0.4))
    if chance(rng, 0.4):
        roll = roll + rng.choice([-1.0, 1.0]) * 2 * np.pi * s / log_uniform(rng, 50.0, 250.0)
    lying = np.sin(roll) ** 2
    sharp = _waves_and_kinks(rng, s)
    heading, plane = _course(rng, s, np.gradient(sharp) * (1 - lying), limp=limp)
    slope = np.cumsum(np.gradient(sharp) * lying)
    if limp:
        # lying limp it cannot climb: only the short waves of the slope stay
        slope = slope - np.interp(s, s[::20], slope[::20])
    slope = slope.clip(-0.9, 0.9)
    rise = np.cumsum(np.sin(slope)) * step + wander(rng, s, 14.0, min(1.5, length_mm / 40))
    if limp:
        half = 0.5 * (
            section.width_mm * np.abs(np.cos(roll))
            + section.thickness_mm * np.abs(np.sin(roll))
        )
        rise = half + np.logaddexp(0.0, 2 * (rise - 0.5)) / 2
    line = np.column_stack([plane, rise])
    side = np.stack([-np.sin(heading), np.cos(heading), np.zeros_like(s)], axis=1)
    across = np.cos(roll)[:, None] * _UP + np.sin(roll)[:, None] * side
    if limp:
        line = _over_itself(line, section)
    if at_most_mm is not None:  # humps add to the length: keep out of the grey zone
        kept = arc_lengths(line) <= at_most_mm
        line, across = line[kept], across[kept]
    return Made(strip=strip_with_teeth(rng, line, across, section), lies_as_made=limp)


def _over_itself(line: Points3, section: Section) -> Points3:
    """Lift a lying ribbon where it crosses an earlier part of itself."""
    room = 0.7 * section.width_mm + section.thickness_mm
    step = float(np.median(np.linalg.norm(np.diff(line, axis=0), axis=1)))
    near = int(np.ceil(6 * room / step)) + 2
    pairs = cKDTree(line[:, :2]).query_pairs(room, output_type="ndarray")
    pairs = pairs[pairs[:, 1] - pairs[:, 0] > near]
    if not len(pairs):
        return line
    pairs = pairs[np.lexsort((pairs[:, 0], pairs[:, 1]))]
    out = line.copy()
    width = max(4.0, 3 * room)
    reach = int(3 * width / step)
    earlier, later = pairs[:, 0], pairs[:, 1]
    # one lift for each run of crossing points, in order along the ribbon
    runs = np.flatnonzero(np.diff(later, prepend=-(10**6)) > near)
    for first, last in zip(runs, np.append(runs[1:], len(pairs)), strict=True):
        need = (room + out[earlier[first:last], 2] - out[later[first:last], 2]).max()
        if need <= 0:
            continue
        lo, hi = int(later[first]), int(later[last - 1])
        a, b = max(0, lo - reach), min(len(line), hi + reach + 1)
        at = np.arange(a, b)
        off = np.maximum(np.maximum(lo - at, at - hi), 0) * step / width
        out[a:b, 2] += need * np.exp(-(off**2))
    return out


def _course(
    rng: np.random.Generator, s: Float1, extra: Float1, *, limp: bool
) -> tuple[Float1, npt.NDArray[np.float64]]:
    """Heading and plane points, drawn again while the ribbon would leave the card."""
    sharp = np.cumsum(extra)
    tries = 40
    while True:
        curvature = wander(rng, s, rng.uniform(10, 40), rng.uniform(0.006, 0.03))
        curvature = curvature.clip(-0.05, 0.05)
        if limp:
            curvature = curvature + rng.uniform(-0.03, 0.03)
        heading = sharp + np.cumsum(curvature) * s[1]
        steps = np.stack([np.cos(heading), np.sin(heading)], axis=1) * s[1]
        plane = np.cumsum(steps, axis=0)
        tries -= 1
        if (np.sort(np.ptp(plane, axis=0)) < _ROOM_MM).all() or not tries:
            return heading, plane


def _waves_and_kinks(rng: np.random.Generator, s: Float1) -> Float1:
    """Angle that the chip gains by waves and up to three kinks."""
    angle = np.zeros_like(s)
    if chance(rng, 0.4):
        wave = rng.uniform(3, 12)
        phase = 2 * np.pi * s / wave + wander(rng, s, wave, 1.0)
        strength = rng.uniform(0.1, 0.45) * (1 + wander(rng, s, 2 * wave, 0.4))
        angle = angle + strength * np.sin(phase)
    for _ in range(rng.integers(0, 4)):
        place = rng.uniform(0.1, 0.9) * s[-1]
        turn = np.radians(rng.uniform(20, 80)) * rng.choice([-1, 1])
        angle = angle + turn * 0.5 * (1 + np.tanh((s - place) / 0.7))
    return angle
