"""Strips and coils drawn from closed forms; nothing here comes from the package under test.

Drawing: every strip is a row of small quadrilaterals filled by OpenCV on a grid four
times finer, averaged down and cut at one half, so an edge is within 1/8 px of its place.
Lengths that belong to the drawings are computed in the tests, from calculus.
"""

from __future__ import annotations

from types import SimpleNamespace

import cv2
import numpy as np
import pytest

FINE = 4
_SHIFT = 4  # fractional bits of OpenCV's drawing coordinates


def _quads_px(a, b):
    quads = np.stack([a[:-1], a[1:], b[1:], b[:-1]], axis=1)
    return np.rint(((quads + 0.5) * FINE - 0.5) * 2**_SHIFT).astype(np.int32)


def _down(picture, shape):
    return cv2.resize(picture, shape[::-1], interpolation=cv2.INTER_AREA)


def strip(line, width, shape):
    """Mask of a strip with square ends along a line (N, 2), both in pixels."""
    line = np.asarray(line, float)
    along = np.gradient(line, axis=0)
    along /= np.hypot(*along.T)[:, None]
    half = np.stack([-along[:, 1], along[:, 0]], axis=1) * width / 2
    canvas = np.zeros((shape[0] * FINE, shape[1] * FINE), np.uint8)
    for quad in _quads_px(line - half, line + half):
        cv2.fillConvexPoly(canvas, quad, 255, cv2.LINE_8, _SHIFT)
    return _down(canvas, shape) > 127


def turned(line, angle):
    c, s = np.cos(angle), np.sin(angle)
    return np.asarray(line, float) @ np.array([[c, s], [-s, c]])


def placed(line, width, *, angle=0.0, shift=(0.0, 0.0)):
    """Mask just large enough for a strip along the turned line."""
    margin = width + 6
    line = turned(line, angle)
    line = line - line.min(axis=0) + margin + np.asarray(shift)
    wide, high = np.ceil(line.max(axis=0) + margin).astype(int)
    return strip(line, width, (int(high), int(wide)))


def straight(length):
    t = np.linspace(0, 1, 200)
    return np.stack([length * t, 0 * t], axis=1)


def arc(radius, degrees):
    a = np.radians(np.linspace(0, degrees, 400))
    return np.stack([radius * np.cos(a), radius * np.sin(a)], axis=1)


def wave(amplitude, period, periods):
    x = np.linspace(0, period * periods, 800)
    return np.stack([x, amplitude * np.sin(2 * np.pi * x / period)], axis=1)


def coil(radius, pitch, turns, width, *, theta_deg=0.0, angle=0.0, bend=0.0):
    """Mask and lightness of a wound ribbon seen from the side.

    The edges of the ribbon are the two helices at half a width from the centre line,
    ``theta_deg`` is between the width and the axis; ``bend`` is the angle (radian) over
    which the whole axis is bent into a circle. Near turns are painted last, and lighter.
    """
    a = np.linspace(0, 2 * np.pi * turns, int(90 * turns))
    theta = np.radians(theta_deg)

    def edge(side):
        x = pitch * a / (2 * np.pi) + side * width / 2 * np.cos(theta)
        r = radius + side * width / 2 * np.sin(theta)
        y, z = r * np.cos(a), r * np.sin(a)
        if bend:
            axis = pitch * turns / bend
            phi = (x - pitch * turns / 2) / axis
            x, y = (axis + y) * np.sin(phi), (axis + y) * np.cos(phi) - axis
        return turned(np.stack([x, y], axis=1), angle), z

    (p, z0), (q, z1) = edge(-1), edge(1)
    both = np.concatenate([p, q])
    low, margin = both.min(axis=0), 12
    wide, high = np.ceil(np.ptp(both, axis=0) + 2 * margin).astype(int)
    quads = _quads_px(p - low + margin, q - low + margin)
    height = (z0 + z1)[:-1] / 2
    shape = (int(high), int(wide))
    canvas = np.zeros((shape[0] * FINE, shape[1] * FINE), np.uint8)
    lit = np.full_like(canvas, 255)
    for k in np.argsort(height):
        cv2.fillConvexPoly(canvas, quads[k], 255, cv2.LINE_8, _SHIFT)
        tone = int(80 + 55 * (height[k] / radius + 1))
        cv2.fillConvexPoly(lit, quads[k], tone, cv2.LINE_8, _SHIFT)
    return _down(canvas, shape) > 127, _down(lit, shape).astype(np.float32) / 255


def blob(rng, size=160):
    """Largest lump of thresholded smooth noise, with mottled lightness."""
    noise = cv2.GaussianBlur(rng.normal(size=(size, size)), (0, 0), rng.uniform(4, 8))
    lumps = (noise > np.quantile(noise, 0.75)).astype(np.uint8)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(lumps)
    mask = np.pad(labels == 1 + stats[1:, cv2.CC_STAT_AREA].argmax(), 6)
    mottle = cv2.GaussianBlur(rng.normal(size=mask.shape), (0, 0), 1.5)
    return mask, np.where(mask, 0.5 + 0.3 * mottle, 1).astype(np.float32)


@pytest.fixture(scope="session")
def draw():
    """Everything that draws, under one name."""
    return SimpleNamespace(
        arc=arc,
        blob=blob,
        coil=coil,
        placed=placed,
        straight=straight,
        strip=strip,
        wave=wave,
    )
