"""Metal or not: a small learned decision for each pixel of the flattened sheet.

In here: the filter responses a pixel is judged by, and the judging network (two
thin layers, applied with plain matrix products). Fitting the network is in
``vision.training``. Not in here: making chips out of pixels (``find``).

A fixed threshold cannot do it: a bright curl on a white sheet is hardly darker
than the sheet, while a shadow is. What tells metal from shadow and print is the
company a pixel keeps: fine light-dark texture, colour, hard edges on both sides.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    from vision.arrays import BoolMask, Float2, Linear3

__all__ = [
    "FIND_PX_PER_MM",
    "RESPONSES",
    "Eye",
    "Ground",
    "even_light",
    "metal_probability",
    "pixel_responses",
    "whole_ground",
]

#: Linear light, share of white: about the light of black print with its veil.
_FOOT = 0.06
#: Density at which chips are looked for; responses below are in these pixels.
FIND_PX_PER_MM = 7.0

RESPONSES: tuple[str, ...] = (
    "lightness",
    "red_green",
    "yellow_blue",
    "edge_fine",
    "edge_coarse",
    "ridge_dark_fine",
    "ridge_bright_fine",
    "ridge_dark_coarse",
    "ridge_bright_coarse",
    "texture_3",
    "texture_9",
    "darkest_5",
    "brightest_5",
    "darkest_15",
    "brightest_15",
    "mean_9",
    "mean_31",
    "edge_near",
    "colour_9",
    "off_print",
    "print_edge",
)


def even_light(linear: Linear3) -> Linear3:
    """Return cube-root light with a foot: equal steps look equal, white stays 1.

    The foot keeps the noise of black print from looking like texture.
    """
    top = np.float32((1 + _FOOT) ** (1 / 3) - _FOOT ** (1 / 3))
    lifted = np.clip(linear, 0.0, 2.5) + np.float32(_FOOT)
    root = np.power(lifted, np.float32(1 / 3)) - np.float32(_FOOT ** (1 / 3))
    return np.asarray(root / top, np.float32)


def _ridges(l: Float2, sigma: float) -> tuple[Float2, Float2]:  # noqa: E741 - lightness
    """Return dark-line and bright-line strength: signed Hessian eigenvalues, scaled."""
    g = cv2.GaussianBlur(l, (0, 0), sigma)
    xx = cv2.Sobel(g, cv2.CV_32F, 2, 0, ksize=3)
    yy = cv2.Sobel(g, cv2.CV_32F, 0, 2, ksize=3)
    xy = cv2.Sobel(g, cv2.CV_32F, 1, 1, ksize=3)
    half = (xx + yy) * 0.5
    root = cv2.magnitude((xx - yy) * 0.5, xy)
    s2 = np.float32(sigma * sigma)
    return np.maximum(half + root, 0) * s2, np.maximum(root - half, 0) * s2


def _edge(l: Float2, sigma: float) -> Float2:  # noqa: E741
    g = cv2.GaussianBlur(l, (0, 0), sigma)
    return cv2.magnitude(
        cv2.Sobel(g, cv2.CV_32F, 1, 0, ksize=3), cv2.Sobel(g, cv2.CV_32F, 0, 1, ksize=3)
    ) * np.float32(sigma)


def _spread(l: Float2, size: int) -> Float2:  # noqa: E741
    mean = cv2.blur(l, (size, size))
    square = cv2.blur(l * l, (size, size))
    return np.sqrt(np.maximum(square - mean * mean, 0))


def _planes(root: Linear3, want: Float2 | None) -> list[Float2]:
    """Return one (H, W) picture for each name in :data:`RESPONSES`; all in even light."""
    red, green, blue = root[..., 0], root[..., 1], root[..., 2]
    light = (red + green + blue) * np.float32(1 / 3)
    if want is None:
        off = light - 1
        print_edge = np.zeros_like(light)
    else:
        kernel = np.ones((5, 5), np.uint8)
        low, high = cv2.erode(want, kernel), cv2.dilate(want, kernel)
        off = np.where(light > high, light - high, np.minimum(light - low, 0))
        print_edge = high - low
        # Inside the print the ground is not white: judge against the expected print.
        light = light + (1 - want)
    a, b = red - green, (red + green) * np.float32(0.5) - blue
    near = np.ones((3, 3), np.uint8)
    dark1, bright1 = _ridges(light, 1.0)
    dark2, bright2 = _ridges(light, 2.2)
    edge = _edge(light, 0.8)
    small = np.ones((5, 5), np.uint8)
    large = np.ones((15, 15), np.uint8)
    return [
        light - 1,
        a,
        b,
        edge,
        _edge(light, 2.0),
        dark1,
        bright1,
        dark2,
        bright2,
        _spread(light, 3),
        _spread(light, 9),
        cv2.erode(light, small) - 1,
        cv2.dilate(light, small) - 1,
        cv2.erode(light, large) - 1,
        cv2.dilate(light, large) - 1,
        cv2.blur(light, (9, 9)) - 1,
        cv2.blur(light, (31, 31)) - 1,
        cv2.dilate(edge, near, iterations=3),
        cv2.blur(cv2.magnitude(a, b), (9, 9)),
        off,
        print_edge,
    ]


def pixel_responses(linear: Linear3, expected: Float2 | None = None) -> npt.NDArray[np.float32]:
    """Return what each pixel is judged by.

    Parameters
    ----------
    linear : (H, W, 3) float32
        Balanced linear light at :data:`FIND_PX_PER_MM`, white sheet = 1.
    expected : (H, W) float32 in 0..1 or None
        Reflectance of the sheet's own print at each pixel; ``None`` for no print.

    Returns
    -------
    (H, W, R) float32
        One plane for each name in :data:`RESPONSES`.
    """
    want = None if expected is None else even_light(expected)
    return np.stack(_planes(even_light(linear), want), axis=-1).astype(np.float32, copy=False)


#: Cube-root light: this far from the sheet is worth a look (paper noise is about 0.02).
_BUSY_LIGHT = 0.05
_BUSY_COLOUR = 0.04
#: Pixels round a box that the widest response looks at.
_MARGIN = 18
#: Rows judged at a time: the layers then stay in the processor's cache.
_CHUNK = 8192


@dataclass(frozen=True, slots=True, kw_only=True)
class Eye:
    """Weights of the judging network: standardise, two hidden layers, one output."""

    mean: npt.NDArray[np.float32]
    scale: npt.NDArray[np.float32]
    weights: tuple[npt.NDArray[np.float32], ...]
    biases: tuple[npt.NDArray[np.float32], ...]

    def __call__(self, rows: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
        """Return the probability of metal for (N, R) responses."""
        if len(rows) > _CHUNK:
            parts = [self(rows[i : i + _CHUNK]) for i in range(0, len(rows), _CHUNK)]
            return np.concatenate(parts)
        x = (rows - self.mean) * self.scale
        for w, b in zip(self.weights[:-1], self.biases[:-1], strict=True):
            x = x @ w
            x += b
            np.maximum(x, 0, out=x)
        z = (x @ self.weights[-1] + self.biases[-1])[:, 0]
        return np.asarray(1 / (1 + np.exp(-np.clip(z, -30, 30))), np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """A sheet to look for metal on, seen coarsely as a whole and finely where asked.

    ``coarse`` (with ``coarse_print``) shows all of it at half density; ``fine`` returns
    the balanced picture and the expected print of a box of rows and columns at
    :data:`FIND_PX_PER_MM`. ``print`` is ``None`` off the card.
    """

    shape: tuple[int, int]
    coarse: Linear3
    coarse_print: Float2 | None
    fine: Callable[[slice, slice], tuple[Linear3, Float2 | None]]


def whole_ground(linear: Linear3, expected: Float2 | None) -> Ground:
    """Return the ground of a picture that is there as a whole, (H, W, 3)."""
    h, w = linear.shape[:2]
    half = (max(w // 2, 1), max(h // 2, 1))

    def fine(rows: slice, cols: slice) -> tuple[Linear3, Float2 | None]:
        return linear[rows, cols], None if expected is None else expected[rows, cols]

    return Ground(
        shape=(h, w),
        coarse=np.asarray(cv2.resize(linear, half, interpolation=cv2.INTER_AREA), np.float32),
        coarse_print=None
        if expected is None
        else np.asarray(cv2.resize(expected, half, interpolation=cv2.INTER_AREA), np.float32),
        fine=fine,
    )


def _busy(ground: Ground) -> BoolMask:
    """Mark places that differ from plain sheet or from the sheet's own print.

    Judged on the coarse picture, smoothed: it only says where to look.
    """
    h, w = ground.shape
    soft = cv2.GaussianBlur(even_light(ground.coarse), (3, 3), 0)
    third = np.full((1, 3), 1 / 3, np.float32)
    light = cv2.transform(soft, third).reshape(soft.shape[:2])
    if ground.coarse_print is None:
        off = np.abs(light - 1)
    else:
        want = even_light(ground.coarse_print)
        # Black ink is as black as this printer and this light make it.
        black = want < 0.1
        if black.any():
            ink = float(np.median(light[black]))
            want = np.float32(ink) + np.float32(1 - ink) * want
        kernel = np.ones((5, 5), np.uint8)
        low, high = cv2.erode(want, kernel), cv2.dilate(want, kernel)
        off = np.maximum(light - high, low - light)
    colour = np.maximum(
        np.abs(soft[..., 0] - soft[..., 1]), np.abs(soft[..., 1] - soft[..., 2])
    )
    busy = (off > _BUSY_LIGHT) | (colour > _BUSY_COLOUR)
    # One busy pixel alone is noise; a third of a 3 x 3 patch is something.
    some = (cv2.blur(busy.astype(np.float32), (3, 3)) > 0.3).astype(np.uint8)
    return np.asarray(cv2.resize(some, (w, h), interpolation=cv2.INTER_NEAREST) > 0)


def _boxes(busy: BoolMask) -> list[tuple[slice, slice]]:
    """Return boxes that together hold all busy pixels, one for each place where some lie."""
    h, w = busy.shape
    step = 8
    coarse = cv2.resize(
        cv2.dilate(busy.astype(np.uint8), np.ones((step, step), np.uint8)),
        (-(-w // step), -(-h // step)),
        interpolation=cv2.INTER_NEAREST,
    )
    coarse = cv2.dilate(coarse, np.ones((3, 3), np.uint8))
    _, _, stats, _ = cv2.connectedComponentsWithStats(coarse, connectivity=8)
    return [
        (slice(r * step, min((r + y) * step, h)), slice(c * step, min((c + x) * step, w)))
        for c, r, x, y, _ in stats[1:].tolist()
    ]


def metal_probability(ground: Ground, eye: Eye, *, where: BoolMask | None = None) -> Float2:
    """Return the probability that each pixel of a ground shows metal, (H, W) float32.

    Only the places where something lies are looked at; plain sheet (and all outside
    ``where``) is 0. Not to be trusted outside the sheet, on clipped photos, or at
    another density than :data:`FIND_PX_PER_MM`.
    """
    busy = _busy(ground)
    if where is not None:
        busy &= where
    near = cv2.dilate(busy.astype(np.uint8), np.ones((7, 7), np.uint8)) > 0
    if where is not None:
        near &= where
    out = np.zeros(ground.shape, np.float32)
    h, w = ground.shape
    for rows, cols in _boxes(near):
        top, left = max(rows.start - _MARGIN, 0), max(cols.start - _MARGIN, 0)
        linear, expected = ground.fine(
            slice(top, min(rows.stop + _MARGIN, h)), slice(left, min(cols.stop + _MARGIN, w))
        )
        planes = _planes(even_light(linear), None if expected is None else even_light(expected))
        r, c = np.nonzero(near[rows, cols])
        at = (r + rows.start - top) * linear.shape[1] + (c + cols.start - left)
        taken = np.stack([p.ravel()[at] for p in planes]).T
        out[r + rows.start, c + cols.start] = eye(taken.astype(np.float32, copy=False))
    return out
