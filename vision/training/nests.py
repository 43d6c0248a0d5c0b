"""Axes of snarled coils: one that is tangled with itself, or two caught in each other."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vision.training.noise import log_uniform
from vision.training.winding import Axis, axis_along
from vision.training.worm import respaced, settle, worm

if TYPE_CHECKING:
    from vision.training.sweep import Points3

__all__ = ["nest_axes"]


def nest_axes(rng: np.random.Generator, *, outer_mm: float, length_mm: float) -> list[Axis]:
    """Axes of one nest lying on z = 0.

    Parameters
    ----------
    outer_mm : radius of the coil round the axis with its strip.
    length_mm : length of all axes together.
    """
    kind = str(rng.choice(["tangle", "hooked", "crossed"], p=[0.7, 0.2, 0.1]))
    if kind == "hooked" and length_mm > 18 * outer_mm:
        lines = _hooked(rng, outer_mm, length_mm)
    elif kind == "crossed" and length_mm > 18 * outer_mm:
        lines = _crossed(rng, outer_mm, length_mm)
    else:
        # a ball of which the coil fills about a third
        ball = (2.2 * outer_mm**2 * length_mm) ** (1 / 3)
        lines = [
            worm(
                rng,
                length_mm=length_mm,
                loop_radius_mm=outer_mm * log_uniform(rng, 3.0, 5.0),
                ball_radius_mm=ball * log_uniform(rng, 0.9, 1.4),
            )
        ]
        lines[0][:, 2] *= rng.uniform(0.3, 0.7)
    step = min(1.0, 0.6 * outer_mm)
    settled = settle(
        [respaced(line, step) for line in lines],
        gap_mm=2 * outer_mm,
        floor_mm=outer_mm,
        sag_mm=0.1 * outer_mm,
        rounds=90,
    )
    return [axis_along(respaced(line, min(step, 0.5))) for line in settled]


def _hooked(rng: np.random.Generator, outer: float, length: float) -> list[Points3]:
    """Two bent coils, each through the bight of the other, like links of a chain."""
    share = rng.uniform(0.4, 0.6)
    tilt = np.radians(rng.uniform(25, 60))
    out = []
    for part, sign, lean in ((share, 1.0, 0.0), (1 - share, -1.0, tilt)):
        s = np.arange(0.0, part * length, 0.4)
        bight = max(3.0 * outer, 0.12 * part * length)  # radius of the bend
        at = rng.uniform(0.35, 0.65) * part * length
        heading = np.clip((s - at) / bight, -0.5 * np.pi, 0.5 * np.pi) * rng.uniform(0.75, 1.0)
        flat = np.stack([np.cumsum(-np.sin(heading)), np.cumsum(np.cos(heading))], axis=1) * 0.4
        middle = int(np.argmin(np.abs(s - at)))
        flat -= flat[middle]
        line = np.column_stack([flat[:, 0] + 1.1 * outer, flat[:, 1], np.zeros(len(s))])
        line = line * [sign, sign, 1.0]
        c, d = np.cos(lean), np.sin(lean)
        out.append(np.column_stack([line[:, 0], c * line[:, 1], d * line[:, 1]]))
    return out


def _crossed(rng: np.random.Generator, outer: float, length: float) -> list[Points3]:
    """Two coils twisted round each other where they cross, their ends apart."""
    share = rng.uniform(0.42, 0.58)
    angle = np.radians(rng.uniform(30, 75))
    out = []
    for part, sign in ((share, 1.0), (1 - share, -1.0)):
        s = np.arange(0.0, part * length, 0.4) - rng.uniform(0.4, 0.6) * part * length
        reach = 7.0 * outer
        wrap = np.clip(s / reach, -1, 1)
        phase = 1.25 * np.pi * wrap + (0.0 if sign > 0 else np.pi)
        fan = np.sign(s) * np.maximum(np.abs(s) - reach, 0.0) * np.tan(angle / 2) * sign
        y = 1.1 * outer * np.cos(phase) + fan * np.cos(angle / 2)
        z = 1.1 * outer * np.sin(phase)
        line = np.column_stack([s * 0.9, y, z])
        out.append(line)
    return out
