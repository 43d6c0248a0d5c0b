"""What happens to a printed card in a workshop: bent, printed badly, soiled.

A bent card is part of a cylinder: paper bends one way only. Its mean height over the
sheet is zero, so the plane z = 0 stays the best plane through it and the homography of
the truth is off by a share of sagitta over camera distance, no more.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
from scipy.ndimage import gaussian_filter, gaussian_filter1d

from vision.training.noise import chance
from vision.training.sweep import Mesh, rotation_between, unit

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import Float1, Matrix3
    from vision.training.sheet import SheetPlan
    from vision.training.sweep import Points3

__all__ = [
    "FLAT",
    "CardWear",
    "draw_wear",
    "seated",
    "sheet_height",
    "sheet_mesh",
    "soiled",
    "with_toner",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class CardWear:
    """State of a printed card.

    ``sagitta_mm`` is the height of the middle over the edges across the bend, negative
    where the edges stand up; ``bend_deg`` the direction on the sheet along which the
    height changes. ``print_scale`` is printed over nominal size, kept about the middle
    of the sheet. ``toner`` is the blackness of the print, 1 is full; ``streaks`` how
    unevenly it came out; ``dirt`` the share of light that smudges take.
    """

    sagitta_mm: float = 0.0
    bend_deg: float = 0.0
    print_scale: float = 1.0
    toner: float = 1.0
    streaks: float = 0.0
    dirt: float = 0.0
    seed: int = 0

    def true_from_nominal(self, size_mm: tuple[float, float]) -> Matrix3:
        """Matrix from where a mark should be (card mm) to where it was printed (mm)."""
        s = self.print_scale
        return np.array(
            [[s, 0, (1 - s) * size_mm[0] / 2], [0, s, (1 - s) * size_mm[1] / 2], [0, 0, 1]]
        )


#: A perfect print on a flat sheet.
FLAT = CardWear()


def draw_wear(rng: np.random.Generator) -> CardWear:
    """Draw the state of a card; nearly half of them are as they should be."""
    bent, faded, dirty = chance(rng, 0.25), chance(rng, 0.22), chance(rng, 0.3)
    resized = chance(rng, 0.2)
    sagitta = float(rng.uniform(0.8, 5.0) * rng.choice([-1, 1]))
    along = float(rng.choice([0.0, 90.0]) + rng.normal(0, 12))
    scale = float(rng.uniform(0.94, 1.03))
    toner, streaks = float(rng.uniform(0.45, 0.95)), float(rng.uniform(0.1, 0.5))
    return CardWear(
        sagitta_mm=sagitta if bent else 0.0,
        bend_deg=along if bent else 0.0,
        print_scale=scale if resized else 1.0,
        toner=toner if faded else 1.0,
        streaks=streaks if faded else 0.0,
        dirt=float(rng.uniform(0.03, 0.16)) if dirty else 0.0,
        seed=int(rng.integers(2**31)),
    )


def _across(
    sheet: SheetPlan, wear: CardWear, x: Float1, y: Float1
) -> tuple[npt.NDArray[np.float64], float, npt.NDArray[np.float64]]:
    """Return place across the bend in -1...1, half the way there in mm, unit direction."""
    width, height = sheet.size_mm
    angle = np.radians(wear.bend_deg)
    way = np.array([np.cos(angle), np.sin(angle)])
    half = (abs(way[0]) * width + abs(way[1]) * height) / 2
    off = (x - width / 2) * way[0] + (y + height / 2) * way[1]
    return np.asarray(off / half), float(half), way


def sheet_height(sheet: SheetPlan, wear: CardWear, points: Points3) -> Float1:
    """Height of the sheet in mm under world points (N, 3); zero for a flat card."""
    if not wear.sagitta_mm:
        return np.zeros(len(points))
    t, _, _ = _across(sheet, wear, points[:, 0], points[:, 1])
    # 1 - t^2 has a mean of 2/3 over -1...1
    return np.asarray(wear.sagitta_mm * (1 / 3 - t**2))


def sheet_mesh(sheet: SheetPlan, wear: CardWear, cells: int = 48) -> Mesh:
    """Bent sheet as a mesh; ``uv`` runs over the flat sheet, v upwards."""
    width, height = sheet.size_mm
    v, u = (k.ravel() for k in np.mgrid[0 : 1 : (cells + 1) * 1j, 0 : 1 : (cells + 1) * 1j])
    t, half, way = _across(sheet, wear, u * width, (v - 1) * height)
    rise = 2 * wear.sagitta_mm / half
    # the way along the paper is longer than its shadow: half the slope squared, summed up
    short = half * rise**2 * t**3 / 6
    normals = np.column_stack([rise * t * way[0], rise * t * way[1], np.ones(len(t))])
    corner = np.arange((cells + 1) * cells).reshape(cells, cells + 1)[:, :-1].ravel()
    up = corner + cells + 1
    return Mesh(
        points=np.column_stack(
            [
                u * width - short * way[0],
                (v - 1) * height - short * way[1],
                wear.sagitta_mm * (1 / 3 - t**2),
            ]
        ),
        normals=normals / np.linalg.norm(normals, axis=1, keepdims=True),
        uv=np.column_stack([u, v]),
        along=np.zeros(len(t)),
        over=np.zeros(len(t)),
        faces=np.concatenate(
            [
                np.column_stack([corner, corner + 1, up + 1]),
                np.column_stack([corner, up + 1, up]),
            ]
        ),
    )


def seated(sheet: SheetPlan, wear: CardWear, points: Points3) -> tuple[Points3, Points3]:
    """Turn and shift that set a rigid body, made for the flat sheet, on the bent one.

    Returns
    -------
    rotation (3, 3), shift (3,) : for ``points @ rotation.T + shift``; afterwards the
        lowest point stands on the sheet as high as it stood on the plane before.
    """
    if not wear.sagitta_mm:
        return np.eye(3), np.zeros(3)
    foot = (points.min(axis=0) + points.max(axis=0)) / 2
    foot[2] = 0.0
    t, half, way = _across(sheet, wear, foot[:1], foot[1:2])
    slope = float(-2 * wear.sagitta_mm * t[0] / half)
    turn = rotation_between(
        np.array([0.0, 0.0, 1.0]), unit(np.array([-slope * way[0], -slope * way[1], 1.0]))
    )
    turned = (points - foot) @ turn.T + foot
    gap = turned[:, 2] - sheet_height(sheet, wear, turned)
    lift = np.array([0.0, 0.0, float(points[:, 2].min() - gap.min())])
    return turn, foot - turn @ foot + lift


def with_toner(
    printed: npt.NDArray[np.float32], wear: CardWear, px_per_mm: float
) -> npt.NDArray[np.float32]:
    """Reflectance over paper (H, W) as the printer really left it.

    The whole print is scaled about the middle of the sheet; toner is pale, lies in
    streaks along the sheet's way through the printer and misses specks.
    """
    height, width = printed.shape
    out = printed
    if wear.print_scale != 1.0:
        matrix = wear.true_from_nominal((width, height))[:2].astype(np.float64)
        matrix[:, 2] -= (1 - wear.print_scale) / 2  # pixel centres are at integers
        out = np.asarray(
            cv2.warpAffine(
                printed, matrix, (width, height), flags=cv2.INTER_AREA, borderValue=1.0
            ),
            np.float32,
        )
    if wear.toner < 1.0 or wear.streaks > 0:
        rng = np.random.default_rng([wear.seed, 1])
        lines = gaussian_filter1d(rng.normal(size=height), px_per_mm * rng.uniform(0.3, 2.5))
        worst = lines / max(float(np.abs(lines).max()), 1e-9)
        cover = wear.toner * (1 - wear.streaks * np.clip(worst, 0, 1))
        small = rng.random((height // 4 + 1, width // 4 + 1), dtype=np.float32)
        missed = cv2.resize(small, (width, height)) > 1 - 0.06 * wear.streaks
        out = 1 - (1 - out) * cover[:, None].astype(np.float32)
        out = np.where(missed, 0.4 + 0.6 * out, out)
    return np.asarray(out, np.float32)


def soiled(shape: tuple[int, int], wear: CardWear, px_per_mm: float) -> npt.NDArray[np.float32]:
    """Share of light (H, W, 3) that a soiled sheet still returns: rubbed-in grey, prints."""
    height, width = shape
    if not wear.dirt:
        return np.ones((height, width, 3), np.float32)
    rng = np.random.default_rng([wear.seed, 2])
    size = (int(width / px_per_mm) + 1, int(height / px_per_mm) + 1)  # a millimetre a pixel
    cloud = gaussian_filter(rng.normal(size=size[::-1]), rng.uniform(4, 14))
    dark = np.clip(cloud / cloud.std() - 0.5, 0, 2.5)
    for _ in range(int(rng.integers(0, 7))):  # finger prints and rings of oily parts
        x, y = rng.uniform(0, size[0]), rng.uniform(0, size[1])
        grid_y, grid_x = np.mgrid[: size[1], : size[0]]
        far = np.hypot((grid_x - x) * rng.uniform(0.7, 1.4), grid_y - y)
        if chance(rng, 0.5):
            dark += 2 * np.exp(-((far / rng.uniform(4, 8)) ** 4))
        else:
            dark += 2 * np.exp(-(((far - rng.uniform(5, 20)) / 1.2) ** 2))
    dark = dark * (1 + 0.3 * rng.normal(size=dark.shape))
    colour = np.array([0.8, 1.0, 1.3]) * rng.uniform([0.9, 0.9, 0.7], [1.1, 1.1, 1.1])
    keep = np.exp(-wear.dirt * np.clip(dark, 0, 4)[:, :, None] * colour)
    return np.asarray(cv2.resize(keep.astype(np.float32), (width, height)), np.float32)
