"""Coils are never skeletonised: axis, envelope, pitch and turns from their periodicity.

A wound ribbon repeats along its axis. The crop is turned so that the axis lies
along the rows (a bent axis is straightened first), and every question is asked of
that straight picture: how wide, how often does it repeat, how deep are the notches
of its outline, how do the turns slant.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
from scipy.fft import irfft, next_fast_len, rfft
from scipy.ndimage import maximum_filter1d, minimum_filter1d
from scipy.signal import find_peaks

from vision.chips.axis import long_axis
from vision.chips.smooth import smoothed
from vision.ranks import median, percentile

if TYPE_CHECKING:
    from vision.arrays import BoolMask, Float1, Float2, Points2

__all__ = ["Coil", "Straight", "coil_of", "straighten"]

_MIN_COLUMNS = 9
#: Columns from point to point of the axis that is drawn.
_LINE_STEP = 4
#: A smoothing over so many columns loses nothing by steps of one.
_STEPS_IN_SIGMA = 4.0


def _float(picture: np.ndarray) -> Float2:
    return np.asarray(picture, np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Straight:
    """A crop turned and straightened: columns run along the axis, rows across it.

    ``mask`` and ``light`` are (across, along) float32; ``axis_px`` the length along
    the axis, ``bow`` the greatest bend of the axis over its length, ``line_px`` (N, 2) the
    bent axis itself in pixels of the crop.
    """

    mask: Float2
    light: Float2
    axis_px: float
    bow: float
    line_px: Points2


@dataclass(frozen=True, slots=True, kw_only=True)
class Coil:
    """What repeats along the axis; lengths in pixels of the crop, 0 where nothing does.

    ``score`` is the height of the autocorrelation peak at the pitch (0..1), ``agree``
    whether a second count (peaks of the outline) gives the same pitch.
    """

    axis_px: float
    diameter_px: float
    diameter_cv: float
    pitch_px: float
    score: float
    agree: float
    notch: float
    slant_coherence: float
    fill: float
    bow: float
    edge_to_middle: float


def straighten(mask: BoolMask, light: Float2, *, margin: int = 4) -> Straight | None:
    """Turn a chip so that its long axis lies along the columns, and unbend it.

    Parameters
    ----------
    mask : (H, W) bool
    light : (H, W) float32
        Cube-root lightness, sheet = 1.

    Returns
    -------
    Straight or None
        ``None`` for masks of fewer than 17 pixels.
    """
    on = mask.astype(np.uint8)
    count, centre, angle = long_axis(on)
    if count < 17:
        return None
    c, s = np.cos(angle), np.sin(angle)
    # What is inside lies neither above nor below all else.
    rim = cv2.findNonZero(on - cv2.erode(on, np.ones((3, 3), np.uint8), borderValue=0))
    rel = rim.reshape(-1, 2).astype(np.float64) - centre
    u, v = rel @ (c, s), rel @ (-s, c)
    u0, u1 = float(u.min()), float(u.max())
    length = u1 - u0 + 1
    # Middle of the outline at each place along the axis, smoothed, is the bent axis.
    bins = np.clip((u - u0).astype(int), 0, int(length))
    n = bins.max() + 1
    top = np.full(n, -np.inf)
    low = np.full(n, np.inf)
    np.maximum.at(top, bins, v)
    np.minimum.at(low, bins, v)
    seen = np.isfinite(top)
    grid = np.arange(n)
    top, low = (np.interp(grid, grid[seen], x[seen]) for x in (top, low))
    # One column of an open coil holds only part of its breadth; the outline over a whole
    # turn holds all of it, and a turn is hardly ever longer than the coil is broad.
    height = percentile(top, 95)[0] - percentile(low, 5)[0]
    upper, lower, reach = top, low, 3
    for _ in range(2):
        reach = max(int(min(1.2 * height, n / 3)), 3)
        upper = maximum_filter1d(top, reach, mode="nearest")
        lower = minimum_filter1d(low, reach, mode="nearest")
        height = median(upper - lower)
    middle = smoothed((upper + lower) / 2, reach / 2)
    if length < 2.5 * height:
        middle = np.full(n, median(middle))
    bow = float(np.ptp(middle) / length)
    half = int(np.ceil(max(np.abs(top - middle).max(), np.abs(low - middle).max()))) + margin
    uu = np.arange(-margin, n + margin)
    mid = np.interp(uu, grid, middle)
    vv = np.arange(-half, half + 1)
    x = (centre[0] + (uu + u0) * c)[None, :] - (mid[None, :] + vv[:, None]) * s
    y = (centre[1] + (uu + u0) * s)[None, :] + (mid[None, :] + vv[:, None]) * c
    mx, my = x.astype(np.float32), y.astype(np.float32)
    out_mask = cv2.remap(mask.astype(np.float32), mx, my, cv2.INTER_LINEAR)
    out_light = cv2.remap(
        light.astype(np.float32), mx, my, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    line = np.column_stack([x[half], y[half]])[margin : margin + n : _LINE_STEP]
    return Straight(
        mask=_float(out_mask), light=_float(out_light), axis_px=length, bow=bow, line_px=line
    )


def _slow_part(picture: Float2, sigma: float) -> Float2:
    """Return the picture smoothed along its rows; a wide smoothing is done on fewer columns."""
    height, width = picture.shape
    narrow = (
        max(round(width * _STEPS_IN_SIGMA / sigma), 1) if sigma > _STEPS_IN_SIGMA else width
    )
    small = cv2.resize(picture, (narrow, height), interpolation=cv2.INTER_AREA)
    sigma *= narrow / width
    reach = 2 * int(np.ceil(3 * sigma)) + 1
    slow = cv2.GaussianBlur(small, (reach, 1), sigma, borderType=cv2.BORDER_REPLICATE)
    return _float(cv2.resize(slow, (width, height), interpolation=cv2.INTER_LINEAR))


def _autocorrelation(signal: Float2) -> Float1:
    """Return the overlap-corrected autocorrelation over columns, summed over rows."""
    n = signal.shape[1]
    # Half of the shifts are asked for, so that a half row of nothing keeps ends apart.
    size = next_fast_len(n + n // 2, real=True)
    wave = rfft(signal, size, axis=1)
    power = wave.real**2 + wave.imag**2
    ac = irfft(power.sum(axis=0), size)[: n // 2]
    ac = ac / np.maximum(n - np.arange(len(ac)), 1) * n
    return np.asarray(ac / max(ac[0], 1e-9))


def _pitch(signal: Float2, least: float) -> tuple[float, float]:
    """Return pitch in columns and the height of its peak; (0, 0) when nothing repeats."""
    ac = _autocorrelation(signal)
    if len(ac) < 6:
        return 0.0, 0.0
    peaks, _ = find_peaks(ac, prominence=0.06)
    peaks = peaks[(peaks >= least) & (ac[peaks] > 0)]
    if len(peaks) == 0:
        return 0.0, 0.0
    best = ac[peaks].max()
    first = int(peaks[ac[peaks] >= 0.75 * best][0])
    a, b, c = ac[first - 1], ac[first], ac[first + 1] if first + 1 < len(ac) else ac[first]
    bend = a - 2 * b + c
    shift = 0.5 * (a - c) / bend if abs(bend) > 1e-9 else 0.0
    return float(first + np.clip(shift, -0.5, 0.5)), float(max(b, 0.0))


def _coherence(light: Float2, mask: Float2) -> float:
    """Return how much the streaks in the middle run one way: 0 all ways, 1 one way."""
    gx = cv2.Sobel(light, cv2.CV_32F, 1, 0, ksize=3)
    gy = cv2.Sobel(light, cv2.CV_32F, 0, 1, ksize=3)
    inside = mask > 0.5
    h = mask.shape[0]
    inside[: h // 4] = False
    inside[-(h // 4) :] = False
    if not inside.any():
        return 0.0
    xx, yy, xy = (float((p[inside]).sum()) for p in (gx * gx, gy * gy, gx * gy))
    total = xx + yy + 1e-9
    return float(np.hypot(xx - yy, 2 * xy) / total)


def coil_of(straight: Straight) -> Coil | None:
    """Measure what repeats along the axis of a straightened chip.

    Returns
    -------
    Coil or None
        ``None`` for chips shorter than 9 pixels along the axis.

    Notes
    -----
    Not to be trusted for: fewer than three turns, an axis pointing at the camera.
    """
    mask, light = straight.mask, straight.light
    if mask.shape[1] < _MIN_COLUMNS:
        return None
    on = mask > 0.5
    used = on.any(axis=0)
    first = on.argmax(axis=0)
    last = on.shape[0] - 1 - on[::-1].argmax(axis=0)
    columns = np.flatnonzero(used)
    top, low = (np.interp(np.arange(on.shape[1]), columns, x[columns]) for x in (first, last))
    span = (low - top + 1)[columns[0] : columns[-1] + 1]
    diameter = percentile(span, 85)[0]
    wave = max(0.35 * diameter, 2.0)
    smooth = smoothed(span, wave)
    fine = light * mask + (1 - mask)
    region = slice(columns[0], columns[-1] + 1)
    detail = fine[:, region] - _slow_part(np.ascontiguousarray(fine[:, region]), wave)
    least = 2.25
    pitch, score = _pitch(detail, least)
    outline = np.stack([top, -low])[:, region]
    outline = outline - np.stack([smoothed(side, wave) for side in outline])
    pitch2, score2 = _pitch(outline, least)
    agree = 0.0
    if pitch and pitch2:
        agree = float(min(pitch, pitch2) / max(pitch, pitch2))
    if score2 > score + 0.15 and pitch2 > 0:
        pitch, score = pitch2, score2
    if pitch > 0:
        turn = int(np.ceil(pitch))
        whole = maximum_filter1d(low, turn) - minimum_filter1d(top, turn) + 1
        diameter = median(whole[region])
    h = on.shape[0]
    body = mask[:, region]
    inner = body[int(0.35 * h) : int(0.65 * h) + 1]
    rim = np.r_[body[int(0.1 * h) : int(0.25 * h)], body[int(0.75 * h) : int(0.9 * h)]]
    return Coil(
        axis_px=straight.axis_px,
        diameter_px=diameter,
        diameter_cv=float(np.std(smooth) / max(smooth.mean(), 1)),
        pitch_px=pitch,
        score=score,
        agree=agree,
        notch=float(np.mean(np.std(outline, axis=1)) / max(diameter, 1)),
        slant_coherence=_coherence(light, mask),
        fill=float(on[:, region].sum() / max(span.sum(), 1)),
        bow=straight.bow,
        edge_to_middle=float(rim.mean() / max(inner.mean(), 0.05)) if rim.size else 1.0,
    )
