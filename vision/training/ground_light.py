"""The picture of a scene from as few light paths as will do.

Things, and every edge, get many paths a pixel. The ground is told apart into what it
is painted with, known exactly from its own picture, and the light that falls on it,
which is smooth but for shadows: light is traced sparsely, pixel by pixel only close to
things and where it changes, and multiplied with the paint.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.training.trace import Hits, Tracer

    Picture = npt.NDArray[np.float32]
    Flags = npt.NDArray[np.bool_]

__all__ = ["Paint", "picture_of"]

#: Paint is never taken for darker than this, so that light over paint stays bounded.
_DARKEST = 0.02
#: Light over paint that a single path may bring (a white sheet in full light: about 1).
_MOST_LIGHT = 12.0
#: Change of light from cell to cell from which it is traced pixel by pixel.
_SHADOW_EDGE = 0.09
_NEAR_PX = 7
#: Light is averaged over neighbours with these spreads, where coarse and where fine.
_SOFT_CELLS, _SOFT_PX = 4.5, 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Paint:
    """Reflectance (H, W, 3) of a ground, repeated ``repeats`` (u, v) times over its shape.

    ``fine``: it has slopes or gloss of its own, so that its light has detail, too.
    """

    picture: Picture
    repeats: tuple[float, float] = (1.0, 1.0)
    fine: bool = False

    def at(self, uv: Picture) -> Picture:
        """Reflectance (N, 3) at places (N, 2) of the shape."""
        tall, wide = self.picture.shape[:2]
        u = np.mod(uv[:, 0] * np.float32(self.repeats[0]), 1) * wide - 0.5
        v = np.mod(uv[:, 1] * np.float32(self.repeats[1]), 1) * tall - 0.5
        out = np.empty((len(uv), 3), np.float32)
        for start in range(0, len(uv), 30_000):  # the library wants pictures, not long rows
            part = slice(start, start + 30_000)
            seen = cv2.remap(
                self.picture,
                np.ascontiguousarray(u[part, None], np.float32),
                np.ascontiguousarray(v[part, None], np.float32),
                cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_WRAP,
            )
            out[part] = seen.reshape(-1, 3)
        return np.maximum(out, _DARKEST)


def picture_of(
    tracer: Tracer, hits: Hits, paints: dict[int, Paint], samples: int, seed: int
) -> Picture:
    """Trace the linear picture (H, W, 3) of a view.

    Parameters
    ----------
    hits : first hits of all pixel centres, row by row.
    paints : paint of each ground by its place; all other places are things.
    samples : paths a pixel of things and edges.
    """
    width, height = tracer.view.size_px
    rng = np.random.default_rng([seed, 23])
    shape = hits.shape.reshape(height, width)
    out = np.zeros((height, width, 3), np.float32)
    things = ~np.isin(shape, list(paints))
    three = np.ones((3, 3), np.uint8)
    edge = cv2.dilate(shape, three) != cv2.erode(shape, three)
    full = edge | things
    near = cv2.dilate(full.astype(np.uint8), np.ones((2 * _NEAR_PX + 1,) * 2, np.uint8)) > 0
    for place, paint in paints.items():
        mine = (shape == place) & ~full
        if mine.any():
            light = _light_on(tracer, rng, place, paint, mine, near)
            out[mine] = paint.at(hits.uv[mine.ravel()]) * light[mine]
    out[full] = _averaged(tracer, rng, full, samples)
    return out


def _averaged(tracer: Tracer, rng: np.random.Generator, where: Flags, samples: int) -> Picture:
    """Mean light of whole pixels, (N, 3), each cut into strips for its paths."""
    y, x = (a.astype(np.float32) for a in np.nonzero(where))
    total = np.zeros((len(x), 3), np.float32)
    for k in range(samples):
        dx = rng.random(len(x), dtype=np.float32) - 0.5
        dy = (rng.random(len(x), dtype=np.float32) + k) / samples - 0.5
        total += tracer.light(x + dx, y + dy.astype(np.float32))[0]
    return np.asarray(total / samples, np.float32)


def _light_on(  # noqa: PLR0917 - what light falls on
    tracer: Tracer,
    rng: np.random.Generator,
    place: int,
    paint: Paint,
    mine: Flags,
    near: Flags,
) -> Picture:
    """Light over paint (H, W, 3) on one ground: coarse cells, pixels where it changes."""
    height, width = mine.shape
    cell, paths = (2, 2) if paint.fine else (5, 8)
    rows, columns = -(-height // cell), -(-width // cell)
    padded = np.zeros((rows * cell, columns * cell), np.uint8)
    padded[:height, :width] = mine
    cells = padded.reshape(rows, cell, columns, cell).max(axis=(1, 3)) > 0
    total, weight = _gathered(tracer, rng, place, paint, cells, paths, cell)
    soft = 0.6 if paint.fine else _SOFT_CELLS
    smooth = _blurred(total, weight, soft)
    wanted = padded & np.pad(near, ((0, rows * cell - height), (0, columns * cell - width)))
    flags = wanted.reshape(rows, cell, columns, cell).max(axis=(1, 3)) > 0
    if not paint.fine:
        flags |= _changes(smooth) & cells
    coarse = cv2.resize(smooth, (columns * cell, rows * cell), interpolation=cv2.INTER_LINEAR)[
        :height, :width
    ]
    if not flags.any():
        return np.asarray(coarse)
    wide = cv2.dilate(flags.astype(np.uint8), np.ones((3, 3), np.uint8))
    share = cv2.blur(flags.astype(np.float32), (3, 3)) * wide
    up = (columns * cell, rows * cell)
    share = cv2.resize(share, up, interpolation=cv2.INTER_LINEAR)[:height, :width]
    pixels = (share > 0) & mine
    total, weight = _gathered(tracer, rng, place, paint, pixels, 3, 1)
    fine = _blurred(total, weight, 0.8 if paint.fine else _SOFT_PX)
    share = (share * (weight > 0))[:, :, None]
    return np.asarray(coarse + share * (fine - coarse), np.float32)


def _gathered(  # noqa: PLR0917 - what light falls on
    tracer: Tracer,
    rng: np.random.Generator,
    place: int,
    paint: Paint,
    where: Flags,
    paths: int,
    cell: int,
) -> tuple[Picture, Picture]:
    """Sum of light over paint (H, W, 3) in cells of some pixels, and paths that hit (H, W)."""
    y, x = (a.astype(np.float32) * cell for a in np.nonzero(where))
    total = np.zeros((*where.shape, 3), np.float32)
    weight = np.zeros(where.shape, np.float32)
    for k in range(paths):
        dx = rng.random(len(x), dtype=np.float32) * cell - 0.5
        dy = (rng.random(len(x), dtype=np.float32) + k) * np.float32(cell / paths) - 0.5
        light, hits = tracer.light(x + dx, y + dy)
        hit = hits.shape == place
        over = np.minimum(light / paint.at(hits.uv), _MOST_LIGHT)
        total[where] += over * hit[:, None]
        weight[where] += hit
    return total, weight


def _blurred(total: Picture, weight: Picture, sigma: float) -> Picture:
    """Mean with its neighbours; cells that hold nothing take theirs from farther away."""
    sums, counts = (cv2.GaussianBlur(a, (0, 0), sigma) for a in (total, weight))
    far_sums, far_counts = (cv2.GaussianBlur(a, (0, 0), 4 * sigma) for a in (total, weight))
    mean = float(weight.sum()) or 1.0
    far = (far_sums + 1e-6 * total.sum(axis=(0, 1)) / mean) / (far_counts[..., None] + 1e-6)
    here = counts[..., None]
    return np.asarray((sums + 1e-3 * far) / (here + 1e-3), np.float32)


def _changes(light: Picture) -> Flags:
    """Cells in which light changes much faster than noise does."""
    level: Any = np.log(np.maximum(light.mean(axis=2), 1e-3))
    down = np.abs(np.roll(level, -1, 0) - np.roll(level, 1, 0))
    across = np.abs(np.roll(level, -1, 1) - np.roll(level, 1, 1))
    found = np.maximum(down, across) > _SHADOW_EDGE
    found[[0, -1]] = False
    found[:, [0, -1]] = False
    lone = cv2.blur(found.astype(np.float32), (5, 5)) > 0.2  # noqa: PLR2004
    wide = cv2.dilate((found & lone).astype(np.uint8), np.ones((3, 3), np.uint8))
    return np.asarray(wide > 0)
