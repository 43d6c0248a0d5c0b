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
    import numpy.typing as npt

    from vision.arrays import BoolMask, Float2, Linear3

__all__ = [
    "FIND_PX_PER_MM",
    "RESPONSES",
    "Eye",
    "even_light",
    "metal_probability",
    "pixel_responses",
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
    root = np.cbrt(np.clip(linear, 0.0, 2.5) + np.float32(_FOOT)) - np.float32(_FOOT ** (1 / 3))
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


def _planes(linear: Linear3, expected: Float2 | None) -> list[Float2]:
    """Return one (H, W) picture for each name in :data:`RESPONSES`."""
    root = even_light(linear)
    red, green, blue = root[..., 0], root[..., 1], root[..., 2]
    light = (red + green + blue) * np.float32(1 / 3)
    if expected is None:
        off = light - 1
        print_edge = np.zeros_like(light)
    else:
        want = even_light(expected)
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
    return np.stack(_planes(linear, expected), axis=-1).astype(np.float32, copy=False)


#: Cube-root light: this far from the sheet is worth a look (paper noise is about 0.02).
_BUSY_LIGHT = 0.05
_BUSY_COLOUR = 0.04
_TILE, _MARGIN = 160, 18


@dataclass(frozen=True, slots=True, kw_only=True)
class Eye:
    """Weights of the judging network: standardise, two hidden layers, one output."""

    mean: npt.NDArray[np.float32]
    scale: npt.NDArray[np.float32]
    weights: tuple[npt.NDArray[np.float32], ...]
    biases: tuple[npt.NDArray[np.float32], ...]

    def __call__(self, rows: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
        """Return the probability of metal for (N, R) responses."""
        x = (rows - self.mean) * self.scale
        for w, b in zip(self.weights[:-1], self.biases[:-1], strict=True):
            x = np.maximum(x @ w + b, 0)
        z = (x @ self.weights[-1] + self.biases[-1])[:, 0]
        return np.asarray(1 / (1 + np.exp(-np.clip(z, -30, 30))), np.float32)


def _busy(linear: Linear3, expected: Float2 | None) -> BoolMask:
    """Mark places that differ from plain sheet or from the sheet's own print."""
    root = even_light(linear)
    soft = cv2.GaussianBlur(root, (0, 0), 1.2)
    light = soft.mean(axis=2)
    if expected is None:
        off = np.abs(light - 1)
    else:
        want = cv2.GaussianBlur(even_light(expected), (0, 0), 1.2)
        kernel = np.ones((7, 7), np.uint8)
        low, high = cv2.erode(want, kernel), cv2.dilate(want, kernel)
        off = np.maximum(light - high, low - light)
    colour = np.maximum(
        np.abs(soft[..., 0] - soft[..., 1]), np.abs(soft[..., 1] - soft[..., 2])
    )
    busy = (off > _BUSY_LIGHT) | (colour > _BUSY_COLOUR)
    # One busy pixel alone is noise; two thirds of a 3 x 3 patch is something.
    return np.asarray(cv2.blur(busy.astype(np.float32), (3, 3)) > 0.3)


def _tiles(busy: BoolMask) -> list[tuple[slice, slice]]:
    """Return tiles that hold busy pixels."""
    h, w = busy.shape
    return [
        (slice(r, min(r + _TILE, h)), slice(c, min(c + _TILE, w)))
        for r in range(0, h, _TILE)
        for c in range(0, w, _TILE)
        if busy[r : r + _TILE, c : c + _TILE].any()
    ]


def metal_probability(
    linear: Linear3,
    eye: Eye,
    *,
    expected: Float2 | None = None,
    where: BoolMask | None = None,
) -> Float2:
    """Return the probability that each pixel shows metal.

    Only the tiles where something lies are looked at; plain sheet (and all outside
    ``where``) is 0. Not to be trusted outside the sheet, on clipped photos, or at
    another density than :data:`FIND_PX_PER_MM`.
    """
    busy = _busy(linear, expected)
    if where is not None:
        busy &= where
    near = cv2.dilate(busy.astype(np.uint8), np.ones((7, 7), np.uint8)) > 0
    out = np.zeros(busy.shape, np.float32)
    h, w = busy.shape
    for rows, cols in _tiles(near):
        top, left = max(rows.start - _MARGIN, 0), max(cols.start - _MARGIN, 0)
        wide = (
            slice(top, min(rows.stop + _MARGIN, h)),
            slice(left, min(cols.stop + _MARGIN, w)),
        )
        planes = _planes(linear[wide], None if expected is None else expected[wide])
        here = near[rows, cols]
        if where is not None:
            here = here & where[rows, cols]
        r, c = np.nonzero(here)
        taken = np.stack([p[r + rows.start - top, c + cols.start - left] for p in planes], 1)
        out[r + rows.start, c + cols.start] = eye(taken.astype(np.float32, copy=False))
    return out
