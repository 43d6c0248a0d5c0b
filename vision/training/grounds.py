"""Surfaces that chips or the card lie on: machined tables, wood, cloth, paper, mats.

Every surface is drawn from numbers alone. A tile of ``tile_mm`` repeats over the plane;
it is larger than most photos, so the repeat rarely shows. ``relief`` is a normal map
with its own, smaller tile for what is too fine for the picture of colours.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.special import expit

from vision.training.noise import chance, log_uniform
from vision.training.surfaces import normal_map

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

__all__ = ["Ground", "draw_ground"]

_PX = 2048
_TILE_MM = 340.0
_PX_PER_MM = _PX / _TILE_MM
_RELIEF_MM = 40.0
_RELIEF_PX = 640
#: Cover from which a drop counts as a puddle; spread of noise from which wood has a pore.
_WET_FROM, _PORE_FROM = 0.2, 1.9
#: Shares of a printed page's lines.
_PICTURES, _HEADINGS = 0.02, 0.04


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """Reflectance (H, W, 3), roughness (H, W) or even, and the rest of its finish.

    ``metallic`` 0...1; ``anisotropic`` 0...1 along u; ``relief`` a normal map in 0...1
    or ``None``.
    """

    rgb: npt.NDArray[np.float32]
    roughness: npt.NDArray[np.float32] | float
    metallic: float = 0.0
    anisotropic: float = 0.0
    specular: float = 0.4
    relief: npt.NDArray[np.float32] | None = None
    tile_mm: tuple[float, float] = field(default=(_TILE_MM, _TILE_MM))
    relief_mm: float = _RELIEF_MM


def draw_ground(seed: int, spec: dict[str, Any]) -> Ground:
    """Draw the surface of a family of ``families.toml``; same seed, same surface."""
    rng = np.random.default_rng([seed, 41])
    rgb = np.array(spec["rgb"]) * rng.uniform(0.75, 1.25) * rng.normal(1, 0.02, 3)
    return _KINDS[spec["kind"]](rng, rgb)


def _cloud(rng: np.random.Generator, *mm: float) -> npt.NDArray[np.float32]:
    """Smooth noise of spread 1 with correlation lengths (down, across) on the tile.

    Long waves are made on a coarse grid and blown up, each axis by itself.
    """
    sigmas, shape = [], []
    for reach in (mm[0], mm[-1]):
        sigma = reach * _PX_PER_MM / 2
        size = int(np.clip(_PX * 2.0 / max(sigma, 2.0), 8, _PX))
        shape.append(size)
        sigmas.append(sigma * size / _PX)
    noise = rng.standard_normal(shape, dtype=np.float32)
    soft = gaussian_filter(noise, sigmas, mode="wrap")
    soft = soft / max(float(soft.std()), 1e-9)
    return np.asarray(cv2.resize(soft, (_PX, _PX), interpolation=cv2.INTER_CUBIC), np.float32)


def _dots(
    rng: np.random.Generator, count: int, radius_mm: tuple[float, float], knots: int = 6
) -> npt.NDArray[np.float32]:
    """Cover 0...1 of many small irregular drops, half of them in clusters."""
    cover = np.zeros((_PX, _PX), np.float32)
    centres = rng.uniform(0, _PX, (knots, 2))
    for _ in range(count):
        near = chance(rng, 0.5)
        spot = (
            centres[rng.integers(knots)] + rng.normal(0, _PX / 14, 2)
            if near
            else rng.uniform(0, _PX, 2)
        )
        r = log_uniform(rng, *radius_mm) * _PX_PER_MM
        axes = (max(1, round(r * rng.uniform(0.6, 1.3))), max(1, round(r)))
        at = (int(spot[0]) % _PX, int(spot[1]) % _PX)
        angle, dark = float(rng.uniform(0, 180)), float(rng.uniform(0.3, 1))
        cv2.ellipse(cover, at, axes, angle, 0, 360, dark, -1, cv2.LINE_AA)
    return np.asarray(cv2.GaussianBlur(cover, (0, 0), 0.7), np.float32)


def _scratches(
    rng: np.random.Generator, count: int, length_mm: tuple[float, float]
) -> npt.NDArray[np.float32]:
    """Fine lines in all directions, bright or dark: -1...1."""
    lines = np.zeros((_PX, _PX), np.float32)
    main = rng.uniform(0, np.pi)
    for _ in range(count):
        angle = main + rng.normal(0, 0.4) if chance(rng, 0.5) else rng.uniform(0, np.pi)
        reach = log_uniform(rng, *length_mm) * _PX_PER_MM / 2
        spot = rng.uniform(0, _PX, 2)
        bow = rng.normal(0, 0.04) * reach
        t = np.linspace(-1, 1, 9)[:, None]
        way, off = (
            np.array([np.cos(angle), np.sin(angle)]),
            np.array([-np.sin(angle), np.cos(angle)]),
        )
        path = spot + t * reach * way + (t * t - 1) * bow * off
        value = float(rng.uniform(0.25, 1) * rng.choice([-1, 1]))
        points = np.rint(path).astype(np.int32).reshape(-1, 1, 2)
        cv2.polylines(lines, [points], isClosed=False, color=value, lineType=cv2.LINE_AA)
    return lines


def _mix(
    rgb: npt.NDArray[np.float32], over: npt.NDArray[np.float64], cover: npt.NDArray[np.float32]
) -> npt.NDArray[np.float32]:
    share = cover[:, :, None]
    return np.asarray(rgb * (1 - share) + over.astype(np.float32) * share, np.float32)


def _shade(
    rgb: npt.NDArray[np.float64], change: npt.NDArray[np.float32]
) -> npt.NDArray[np.float32]:
    return np.asarray(
        np.clip(rgb.astype(np.float32) * change[:, :, None], 0.004, 0.92), np.float32
    )


def _machined(rng: np.random.Generator, rgb: npt.NDArray[np.float64]) -> Ground:
    """Worn table of a machine: stained, scratched, spotted with oil and rust, slotted."""
    worn = 1 + 0.10 * _cloud(rng, 25) + 0.07 * _cloud(rng, 4) + 0.08 * _cloud(rng, 0.5)
    lay = _cloud(rng, 0.35, rng.uniform(20, 90))
    worn = worn + rng.uniform(0.0, 0.09) * lay
    worn = worn + rng.uniform(0.1, 0.45) * _scratches(rng, int(rng.integers(40, 240)), (3, 120))
    picture = _shade(rgb, np.asarray(worn, np.float32))
    rust = np.array([0.16, 0.075, 0.035]) * rng.uniform(0.5, 1.2)
    picture = _mix(
        picture, rust, 0.8 * _dots(rng, int(log_uniform(rng, 30, 1500)), (0.15, 1.1))
    )
    bloom = expit((_cloud(rng, 18) - rng.uniform(1.0, 2.2)) * 4) * rng.uniform(0.1, 0.5)
    picture = _mix(picture, rgb * [0.62, 0.48, 0.36], np.asarray(bloom, np.float32))
    rough = rng.uniform(0.34, 0.5) + 0.03 * _cloud(rng, 3)
    wet = _wet(rng)
    picture = picture * (1 - 0.35 * wet[:, :, None])
    rough = rough * (1 - wet) + 0.13 * wet
    if chance(rng, 0.3):
        picture, rough = _slotted(rng, picture, np.asarray(rough, np.float32))
    return Ground(
        rgb=np.asarray(picture, np.float32),
        roughness=np.asarray(np.clip(rough, 0.1, 0.7), np.float32),
        metallic=float(rng.uniform(0.55, 0.95)),
        relief=_relief(rng, 0.12, 0.12, float(rng.uniform(0.04, 0.12))),
    )


def _wet(rng: np.random.Generator) -> npt.NDArray[np.float32]:
    """Smears and drops of oil that lie on the surface: 0...1."""
    if chance(rng, 0.35):
        return np.zeros((_PX, _PX), np.float32)
    smear = expit((_cloud(rng, rng.uniform(8, 30)) - rng.uniform(1.0, 2.2)) * 9)
    drops = _dots(rng, int(rng.integers(0, 40)), (0.8, 6))
    return np.asarray(np.clip(smear + (drops > _WET_FROM), 0, 1), np.float32)


def _slotted(
    rng: np.random.Generator,
    picture: npt.NDArray[np.float32],
    rough: npt.NDArray[np.float32],
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    """Draw a slot with chamfers across the table, beside its middle."""
    picture, rough = picture.copy(), rough.copy()
    wide = int(rng.uniform(10, 18) * _PX_PER_MM)
    side = int(rng.choice([-1, 1]) * rng.uniform(45, 90) * _PX_PER_MM)
    at = _PX // 2 + side
    rim = max(2, int(0.8 * _PX_PER_MM))
    picture[at - rim : at] *= 1.5
    picture[at + wide : at + wide + rim] *= 0.7
    depth = np.linspace(0.03, 0.12, wide, dtype=np.float32)[:, None, None]
    picture[at : at + wide] *= depth
    rough[at : at + wide] = 0.7
    return np.clip(picture, 0.003, 0.92), rough


def _brushed(rng: np.random.Generator, rgb: npt.NDArray[np.float64]) -> Ground:
    """Ground or brushed plate: long fine lines one way, a soft mirror across them."""
    lines = _cloud(rng, 0.2, rng.uniform(15, 60))
    change = 1 + rng.uniform(0.04, 0.12) * lines + 0.05 * _cloud(rng, 30)
    change = change + rng.uniform(0.0, 0.25) * _scratches(
        rng, int(rng.integers(5, 90)), (2, 60)
    )
    picture = _shade(rgb, np.asarray(change, np.float32))
    spots = _dots(rng, int(rng.integers(0, 60)), (0.15, 0.9))
    picture = _mix(picture, np.array([0.1, 0.07, 0.05]), 0.6 * spots)
    wet = _wet(rng)
    rough = rng.uniform(0.26, 0.42) * (1 - wet) + 0.12 * wet
    return Ground(
        rgb=np.asarray(picture * (1 - 0.25 * wet[:, :, None]), np.float32),
        roughness=np.asarray(rough, np.float32),
        metallic=float(rng.uniform(0.85, 1.0)),
        anisotropic=float(rng.uniform(0.3, 0.8)),
        relief=_relief(rng, 8.0, 0.09, float(rng.uniform(0.03, 0.1))),
    )


def _paper(rng: np.random.Generator, rgb: npt.NDArray[np.float64]) -> Ground:
    change = 1 + 0.012 * _cloud(rng, 0.5) + 0.015 * _cloud(rng, 40)
    picture = _shade(rgb, np.asarray(change, np.float32))
    if chance(rng, 0.5):
        oil = np.clip(_cloud(rng, 20) - rng.uniform(1.2, 2.2), 0, 1)
        picture = _mix(picture, rgb * [0.78, 0.74, 0.62], np.asarray(oil, np.float32))
    if chance(rng, 0.4):
        dust = _dots(rng, int(rng.integers(5, 150)), (0.1, 0.4))
        picture = _mix(picture, np.array([0.15, 0.12, 0.1]), 0.7 * dust)
    relief = _relief(rng, 6.0, 6.0, 0.02) if chance(rng, 0.4) else None
    return Ground(rgb=picture, roughness=0.85, specular=0.2, relief=relief)


def _board(rng: np.random.Generator, rgb: npt.NDArray[np.float64]) -> Ground:
    change = 1 + 0.05 * _cloud(rng, 0.3) + 0.05 * _cloud(rng, 1.2, 5.0) + 0.05 * _cloud(rng, 30)
    change = change + 0.15 * _scratches(rng, int(rng.integers(0, 40)), (3, 60))
    picture = _shade(rgb, np.asarray(change, np.float32))
    oil = expit((_cloud(rng, 15) - rng.uniform(1.2, 2.6)) * 6)
    picture = _mix(picture, rgb * [0.5, 0.45, 0.4], np.asarray(0.7 * oil, np.float32))
    return Ground(rgb=picture, roughness=0.7, specular=0.3)


def _wood(rng: np.random.Generator, rgb: npt.NDArray[np.float64]) -> Ground:
    """Bench top: year rings cut lengthwise, pores, dents and oil."""
    warp = 4.0 * _cloud(rng, 14, 110)
    y = (np.arange(_PX, dtype=np.float32) / _PX_PER_MM)[:, None]
    rings = np.sin(2 * np.pi * (y + warp) / rng.uniform(3, 9))
    change = 1 + 0.16 * rings + 0.09 * _cloud(rng, 0.25, 9) + 0.12 * _cloud(rng, 40)
    pores = _cloud(rng, 0.25, 4.0) > _PORE_FROM
    change = change - 0.35 * pores
    change = change + 0.3 * _scratches(rng, int(rng.integers(10, 80)), (2, 40))
    picture = _shade(rgb, np.asarray(change, np.float32))
    stain = expit((_cloud(rng, 16) - rng.uniform(0.8, 2.4)) * 5)
    picture = _mix(picture, rgb * 0.3, np.asarray(0.6 * stain, np.float32))
    return Ground(
        rgb=picture,
        roughness=float(rng.uniform(0.4, 0.7)),
        specular=0.3,
        relief=_relief(rng, 6.0, 0.3, 0.06),
    )


def _mat(rng: np.random.Generator, rgb: npt.NDArray[np.float64]) -> Ground:
    change = 1 + 0.12 * _cloud(rng, 0.3) + 0.06 * _cloud(rng, 30)
    change = change + 0.5 * _scratches(rng, int(rng.integers(10, 120)), (5, 120))
    picture = _shade(rgb, np.asarray(change, np.float32))
    if chance(rng, 0.45):
        grid = np.zeros((_PX, _PX), np.float32)
        for k in range(34):
            at = round(k * 10 * _PX_PER_MM)
            cv2.line(grid, (at, 0), (at, _PX), 1.0, 2 if k % 5 == 0 else 1, cv2.LINE_AA)
            cv2.line(grid, (0, at), (_PX, at), 1.0, 2 if k % 5 == 0 else 1, cv2.LINE_AA)
        picture = _mix(picture, np.array([0.5, 0.48, 0.25]), 0.55 * grid)
    dust = _dots(rng, int(rng.integers(0, 250)), (0.1, 0.3))
    picture = _mix(picture, np.array([0.35, 0.35, 0.35]), 0.4 * dust)
    return Ground(
        rgb=picture,
        roughness=float(rng.uniform(0.4, 0.65)),
        specular=0.3,
        relief=_relief(rng, 0.25, 0.25, 0.08),
    )


def _cloth(rng: np.random.Generator, rgb: npt.NDArray[np.float64]) -> Ground:
    """Woven working cloth with soft folds and oily places."""
    pitch = rng.uniform(0.55, 1.0)  # mm a thread: coarse enough for the tile
    place = np.arange(_PX, dtype=np.float32) / _PX_PER_MM
    x, y = np.meshgrid(place, place)
    x, y = x + 0.25 * _cloud(rng, 3), y + 0.25 * _cloud(rng, 3)
    weave = np.sin(2 * np.pi * x / pitch) * np.sin(2 * np.pi * y / pitch)
    change = 1 + 0.22 * weave + 0.12 * _cloud(rng, 0.4, 6) + 0.12 * _cloud(rng, 30)
    picture = _shade(rgb, np.asarray(change, np.float32))
    oil = expit((_cloud(rng, 14) - rng.uniform(1.0, 2.4)) * 6)
    picture = _mix(picture, rgb * 0.4, np.asarray(0.8 * oil, np.float32))
    folds = _cloud(rng, 30, 14)
    size = 512
    relief = normal_map(cv2.resize(folds, (size, size)), float(rng.uniform(0.05, 0.2)))
    return Ground(rgb=picture, roughness=0.9, specular=0.1, relief=relief, relief_mm=_TILE_MM)


def _page(rng: np.random.Generator, rgb: npt.NDArray[np.float64]) -> Ground:
    """Page printed like a newspaper: columns of marks that are no letters, grey boxes."""
    ink = np.zeros((_PX, _PX), np.float32)
    column = int(rng.uniform(38, 60) * _PX_PER_MM)
    gutter, line = int(4 * _PX_PER_MM), rng.uniform(2.6, 4.0) * _PX_PER_MM
    for left in range(gutter, _PX - column, column + gutter):
        y = float(rng.uniform(1, 4)) * line
        while y < _PX - 3 * line:
            draw = rng.random()
            if draw < _PICTURES:  # a picture in halftone
                tall = int(rng.uniform(15, 50) * _PX_PER_MM)
                box = ink[int(y) : int(y) + tall, left : left + column]
                tone = gaussian_filter(rng.normal(size=box.shape), 25)
                box[:] = expit(tone / max(float(tone.std()), 1e-9)) * rng.uniform(0.5, 1)
                y += tall + 2 * line
            elif draw < _PICTURES + _HEADINGS:  # a heading
                _marks(rng, ink, (left, y + 2 * line), column, 2.2 * line)
                y += 3.5 * line
            else:
                short = column * (rng.uniform(0.2, 0.9) if chance(rng, 0.12) else 1.0)
                _marks(rng, ink, (left, y + line), int(short), line)
                y += line
    picture = _shade(rgb, np.asarray(1 + 0.03 * _cloud(rng, 0.5), np.float32))
    picture = _mix(picture, np.array([0.05, 0.05, 0.055]), 0.85 * ink)
    oil = expit((_cloud(rng, 15) - rng.uniform(1.2, 2.6)) * 6)
    picture = picture * (1 - 0.35 * oil[:, :, None])
    return Ground(rgb=np.asarray(picture, np.float32), roughness=0.85, specular=0.2)


def _marks(
    rng: np.random.Generator,
    ink: npt.NDArray[np.float32],
    start: tuple[float, float],
    wide: int,
    line: float,
) -> None:
    """Draw one line of invented letters: a few strokes each, gaps between words."""
    left, base = start
    tall, x = 0.5 * line, left
    bold = max(1, round(0.11 * line))
    while x < left + wide - tall:
        for _ in range(int(rng.integers(2, 9))):
            corners = rng.integers(0, 3, (3, 2)) * np.array([0.35, 0.5]) * tall
            points = (
                np.rint(corners + np.array([x, base - tall])).astype(np.int32).reshape(-1, 1, 2)
            )
            cv2.polylines(ink, [points], isClosed=False, color=1.0, thickness=bold)
            x += 0.95 * tall
        x += 0.6 * tall


def _relief(
    rng: np.random.Generator, along_mm: float, across_mm: float, slope: float
) -> npt.NDArray[np.float32]:
    px = _RELIEF_PX / _RELIEF_MM
    noise = rng.normal(size=(_RELIEF_PX, _RELIEF_PX))
    height = gaussian_filter(noise, (across_mm * px / 2, along_mm * px / 2), mode="wrap")
    return normal_map(height, slope)


_KINDS: dict[str, Callable[[np.random.Generator, npt.NDArray[np.float64]], Ground]] = {
    "machined": _machined,
    "brushed": _brushed,
    "paper": _paper,
    "board": _board,
    "wood": _wood,
    "mat": _mat,
    "cloth": _cloth,
    "page": _page,
}
