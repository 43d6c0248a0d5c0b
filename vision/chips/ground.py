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
from functools import cache
from typing import TYPE_CHECKING

import cv2
import numpy as np
from threadpoolctl import ThreadpoolController

from vision.chips.boxes import boxes_of
from vision.ranks import median

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import numpy.typing as npt

    from vision.arrays import BoolMask, Float2, Linear3
    from vision.chips.boxes import Box

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
#: Steps of light to one white; the brightest of 65536 is 2.5 times white.
_STEPS = 65535 / 2.5
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


@cache
def _even_table() -> npt.NDArray[np.float32]:
    """Return the cube roots of all steps of light."""
    top = (1 + _FOOT) ** (1 / 3) - _FOOT ** (1 / 3)
    light = np.arange(65536) / _STEPS
    return np.asarray((np.cbrt(light + _FOOT) - _FOOT ** (1 / 3)) / top, np.float32)


def even_light(linear: Linear3) -> Linear3:
    """Return cube-root light with a foot: equal steps look equal, white stays 1.

    The foot keeps the noise of black print from looking like texture. Looked up in steps
    of 1/26,000 of white, which leaves 0.0001; above 2.5 times white nothing is told apart.
    """
    steps = cv2.multiply(linear, (_STEPS,) * 4, dtype=cv2.CV_16U)  # type: ignore[call-overload]
    return np.asarray(cv2.LUT(steps, _even_table()), np.float32).reshape(linear.shape)


def _above_zero(picture: Float2) -> Float2:
    return np.asarray(cv2.threshold(picture, 0, 0, cv2.THRESH_TOZERO)[1], np.float32)


def _ridges(l: Float2, sigma: float) -> tuple[Float2, Float2]:  # noqa: E741 - lightness
    """Return dark-line and bright-line strength: signed Hessian eigenvalues, scaled."""
    g = cv2.GaussianBlur(l, (0, 0), sigma)
    s2 = sigma * sigma
    xx = cv2.Sobel(g, cv2.CV_32F, 2, 0, ksize=3, scale=0.5 * s2)
    yy = cv2.Sobel(g, cv2.CV_32F, 0, 2, ksize=3, scale=0.5 * s2)
    xy = cv2.Sobel(g, cv2.CV_32F, 1, 1, ksize=3, scale=s2)
    half = xx + yy
    root = cv2.magnitude(xx - yy, xy)
    return _above_zero(half + root), _above_zero(root - half)


def _mean(picture: Float2, size: int) -> Float2:
    return np.asarray(cv2.blur(picture, (size, size)), np.float32)


def _edge(l: Float2, sigma: float) -> Float2:  # noqa: E741
    g = cv2.GaussianBlur(l, (0, 0), sigma)
    x = cv2.Sobel(g, cv2.CV_32F, 1, 0, ksize=3, scale=sigma)
    y = cv2.Sobel(g, cv2.CV_32F, 0, 1, ksize=3, scale=sigma)
    return np.asarray(cv2.magnitude(x, y), np.float32)


def _spread(l: Float2, mean: Float2, size: int) -> Float2:  # noqa: E741
    """Return the standard deviation in squares of ``size`` px, whose means are ``mean``."""
    square = cv2.sqrBoxFilter(l, cv2.CV_32F, (size, size))
    return np.asarray(cv2.sqrt(_above_zero(square - mean * mean)), np.float32)


#: Even light to lightness, red-green, yellow-blue.
_OPPONENT = np.array([[1 / 3, 1 / 3, 1 / 3], [1, -1, 0], [0.5, 0.5, -1]], np.float32)


def _planes(root: Linear3, want: Float2 | None) -> Iterator[tuple[str, Float2]]:
    """Yield name and (H, W) picture of each response but the widest; all in even light.

    One at a time, so that whoever picks pixels out of them never holds all.
    """
    light, a, b = (np.asarray(p, np.float32) for p in cv2.split(cv2.transform(root, _OPPONENT)))
    yield "red_green", a
    yield "yellow_blue", b
    yield "colour_9", _mean(np.asarray(cv2.magnitude(a, b), np.float32), 9)
    small, large = np.ones((5, 5), np.uint8), np.ones((15, 15), np.uint8)
    if want is None:
        yield "off_print", light - 1
        yield "print_edge", np.zeros_like(light)
    else:
        low, high = cv2.erode(want, small), cv2.dilate(want, small)
        yield "off_print", _above_zero(light - high) - _above_zero(low - light)
        yield "print_edge", high - low
        # Inside the print the ground is not white: judge against the expected print.
        light += 1 - want
    light -= 1
    yield "lightness", light
    edge = _edge(light, 0.8)
    yield "edge_fine", edge
    yield "edge_near", np.asarray(cv2.dilate(edge, np.ones((7, 7), np.uint8)), np.float32)
    yield "edge_coarse", _edge(light, 2.0)
    for name, sigma in (("fine", 1.0), ("coarse", 2.2)):
        dark, bright = _ridges(light, sigma)
        yield f"ridge_dark_{name}", dark
        yield f"ridge_bright_{name}", bright
    yield "texture_3", _spread(light, _mean(light, 3), 3)
    mean = _mean(light, 9)
    yield "mean_9", mean
    yield "texture_9", _spread(light, mean, 9)
    for name, kernel in (("5", small), ("15", large)):
        yield f"darkest_{name}", np.asarray(cv2.erode(light, kernel), np.float32)
        yield f"brightest_{name}", np.asarray(cv2.dilate(light, kernel), np.float32)


def _wide_mean(root: Linear3, want: Float2 | None) -> Float2:
    """Return mean lightness over some 31 x 31 px from a picture of half density."""
    light = np.asarray(cv2.transform(root, _OPPONENT[:1]), np.float32).reshape(root.shape[:2])
    return _mean(light - (np.float32(1) if want is None else want), 15)


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
    ground = whole_ground(linear, expected)
    everywhere = np.ones(ground.shape, bool)
    rows = _responses(ground, everywhere, _coarse(ground)[2])
    return np.ascontiguousarray(rows.T).reshape(*ground.shape, len(RESPONSES))


#: Cube-root light: this far from the sheet is worth a look (paper noise is about 0.02).
_BUSY_LIGHT = 0.05
_BUSY_COLOUR = 0.04
#: In a grainy photo colour must differ by so many times what half of the sheet differs by.
_OVER_GRAIN = 3.5
#: Pixels round a box that the widest response taken from the fine picture looks at.
_MARGIN = 10
#: Rows judged at a time: the layers then stay in the processor's cache.
_CHUNK = 4096


@dataclass(frozen=True, slots=True, kw_only=True)
class Eye:
    """Weights of the judging network: standardise, two hidden layers, one output."""

    mean: npt.NDArray[np.float32]
    scale: npt.NDArray[np.float32]
    weights: tuple[npt.NDArray[np.float32], ...]
    biases: tuple[npt.NDArray[np.float32], ...]

    def __call__(self, rows: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
        """Return the probability of metal for (N, R) responses."""
        # Standardising is part of the first layer, worked out once.
        scaled = self.scale[:, None].astype(np.float64) * self.weights[0]
        weights = (scaled.astype(np.float32), *self.weights[1:])
        shift = (self.biases[0] - self.mean @ scaled).astype(np.float32)
        biases = (shift, *self.biases[1:])
        across = [
            (np.ascontiguousarray(w.T), b[:, None])
            for w, b in zip(weights, biases, strict=True)
        ]
        z = np.empty(len(rows), np.float32)
        for i in range(0, len(rows), _CHUNK):
            x = rows[i : i + _CHUNK].T
            for w, b in across[:-1]:
                x = w @ x
                x += b
                cv2.threshold(x, 0, 0, cv2.THRESH_TOZERO, dst=x)
            w, b = across[-1]
            z[i : i + _CHUNK] = (w @ x + b)[0]
        return np.asarray(1 / (1 + np.exp(-np.clip(z, -30, 30))), np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """A sheet to look for metal on, seen coarsely as a whole and finely where asked.

    ``coarse`` shows all of it at half density, in linear light; ``fine`` returns the
    balanced picture of a box of rows and columns at :data:`FIND_PX_PER_MM`.
    ``coarse_print`` and what ``fine`` adds is the expected print in even light,
    ``None`` off the card.
    """

    shape: tuple[int, int]
    coarse: Linear3
    coarse_print: Float2 | None
    fine: Callable[[slice, slice], tuple[Linear3, Float2 | None]]


def whole_ground(linear: Linear3, expected: Float2 | None) -> Ground:
    """Return the ground of a picture that is there as a whole, (H, W, 3)."""
    h, w = linear.shape[:2]
    half = (max(w // 2, 1), max(h // 2, 1))

    def smaller(picture: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
        return np.asarray(cv2.resize(picture, half, interpolation=cv2.INTER_AREA), np.float32)

    want = None if expected is None else even_light(expected)

    def fine(rows: slice, cols: slice) -> tuple[Linear3, Float2 | None]:
        return linear[rows, cols], None if want is None else want[rows, cols]

    return Ground(
        shape=(h, w),
        coarse=smaller(linear),
        coarse_print=None if expected is None else even_light(smaller(expected)),
        fine=fine,
    )


def _coarse(ground: Ground) -> tuple[Linear3, Float2 | None, Float2]:
    """Return the coarse picture in even light, its print, and its widest response."""
    root = even_light(ground.coarse)
    return root, ground.coarse_print, _wide_mean(root, ground.coarse_print)


def _busy(root: Linear3, want: Float2 | None, shape: tuple[int, int]) -> BoolMask:
    """Mark places that differ from plain sheet or from the sheet's own print.

    Judged on the coarse picture, smoothed: it only says where to look.
    """
    h, w = shape
    soft = cv2.GaussianBlur(root, (3, 3), 0)
    red, green, blue = cv2.split(soft)
    light = cv2.transform(soft, _OPPONENT[:1]).reshape(soft.shape[:2])
    if want is None:
        off = cv2.absdiff(light, np.ones_like(light))
    else:
        # Black ink is as black as this printer and this light make it.
        black = want < 0.1
        if black[::3, ::3].any():
            ink = float(np.median(light[::3, ::3][black[::3, ::3]]))
            want = np.float32(ink) + np.float32(1 - ink) * want
        kernel = np.ones((5, 5), np.uint8)
        low, high = cv2.erode(want, kernel), cv2.dilate(want, kernel)
        off = cv2.max(light - high, low - light)
    colour = cv2.max(cv2.absdiff(red, green), cv2.absdiff(green, blue))
    grain = median(colour[::3, ::3])
    busy = (off > _BUSY_LIGHT) | (colour > max(_BUSY_COLOUR, _OVER_GRAIN * grain))
    # One busy pixel alone is noise; a third of a 3 x 3 patch is something.
    some = (_mean(busy.astype(np.float32), 3) > 0.3).astype(np.uint8)
    return np.asarray(cv2.resize(some, (w, h), interpolation=cv2.INTER_NEAREST) > 0)


def _responses(
    ground: Ground, near: BoolMask, wide: Float2, box: Box | None = None
) -> npt.NDArray[np.float32]:
    """Return (R, N) responses of the marked pixels of a box, row by row."""
    h, w = ground.shape
    rows, cols = box or (slice(0, h), slice(0, w))
    top, left = max(rows.start - _MARGIN, 0), max(cols.start - _MARGIN, 0)
    linear, want = ground.fine(
        slice(top, min(rows.stop + _MARGIN, h)), slice(left, min(cols.stop + _MARGIN, w))
    )
    r, c = np.nonzero(near[rows, cols])
    at = (r + rows.start - top) * linear.shape[1] + (c + cols.start - left)
    out = np.empty((len(RESPONSES), len(at)), np.float32)
    for name, plane in _planes(even_light(linear), want):
        np.take(plane.ravel(), at, out=out[RESPONSES.index(name)], mode="clip")
    rough = (
        np.minimum((r + rows.start) // 2, wide.shape[0] - 1),
        np.minimum((c + cols.start) // 2, wide.shape[1] - 1),
    )
    out[RESPONSES.index("mean_31")] = wide[rough]
    return out


@cache
def _libraries() -> ThreadpoolController:
    """Return the hold on the threads of the loaded libraries; looking them up takes 30 ms."""
    return ThreadpoolController()


def metal_probability(ground: Ground, eye: Eye, *, where: BoolMask | None = None) -> Float2:
    """Return the probability that each pixel of a ground shows metal, (H, W) float32.

    Only the places where something lies are looked at; plain sheet (and all outside
    ``where``) is 0. Not to be trusted outside the sheet, on clipped photos, or at
    another density than :data:`FIND_PX_PER_MM`.
    """
    root, want, wide = _coarse(ground)
    busy = _busy(root, want, ground.shape)
    if where is not None:
        busy &= where
    near = cv2.dilate(busy.astype(np.uint8), np.ones((7, 7), np.uint8)) > 0
    if where is not None:
        near &= where
    out = np.zeros(ground.shape, np.float32)
    # The layers are thin: threads would wait for each other longer than they work.
    with _libraries().limit(limits=1, user_api="blas"):
        for box in boxes_of(near, margin=_MARGIN):
            part = near[box]
            out[box][part] = eye(_responses(ground, near, wide, box).T)
    return out
