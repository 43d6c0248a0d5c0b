"""The line along a chip: drawn lines, arcs and waves whose length calculus gives.

Yardstick: the project's own measurement of a smoothed graph path with the half-width
added at both ends, on lines, arcs and waves 200-900 px long and 5-22 px wide: 1.2 %
off on average, 9.7 % at worst. Here the middle error must stay under 1.2 % and the
worst under 5 %, half of that worst: the drawings here have no noise.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from vision.chips.trace import smooth_path, trace_mask

TYPICAL, WORST = 0.012, 0.05


def wave_length(amplitude, period, periods):
    """Arc length of a sine wave by quadrature of sqrt(1 + y'^2)."""
    k = 2 * np.pi / period
    return quad(
        lambda x: np.sqrt(1 + (amplitude * k * np.cos(k * x)) ** 2),
        0,
        period * periods,
        limit=200,
    )[0]


def drawn(draw, rng, kind):
    """A mask and its true length."""
    length, width = rng.uniform(200, 900), rng.uniform(5, 22)
    if kind == "line":
        line = draw.straight(length)
    elif kind == "arc":
        degrees = rng.uniform(40, 280)
        line = draw.arc(length / np.radians(degrees), degrees)
    else:
        amplitude, period = rng.uniform(5, 40), rng.uniform(120, 300)
        periods = rng.uniform(1.5, 3)
        line, length = (
            draw.wave(amplitude, period, periods),
            wave_length(amplitude, period, periods),
        )
    mask = draw.placed(line, width, angle=rng.uniform(0, np.pi), shift=rng.uniform(0, 1, 2))
    return mask, length, width


def test_the_quadrature_itself():
    # A wave without height is a straight line; one of slope 1 everywhere would be
    # sqrt(2) long, so a steep wave lies between its chord and its triangle wave.
    assert wave_length(0, 100, 2) == pytest.approx(200, rel=1e-12)
    steep = wave_length(100, 100, 1)
    assert 400 < steep < 500


@pytest.mark.parametrize("kind", ["line", "arc", "wave"])
def test_length_of_strips(draw, rng, kind):
    off = []
    for _ in range(24):
        mask, length, _ = drawn(draw, rng, kind)
        off.append(trace_mask(mask).length_px / length - 1)
    assert np.median(np.abs(off)) < TYPICAL
    assert np.abs(off).max() < WORST


@pytest.mark.parametrize("degrees", [0, 22, 44, 45, 46, 90])
def test_length_in_awkward_directions(draw, degrees):
    # Thinning treats rows, columns and diagonals differently; no direction may hide.
    mask = draw.placed(draw.straight(400), 12, angle=np.radians(degrees))
    assert trace_mask(mask).length_px == pytest.approx(400, rel=0.02)


def test_half_width_along_the_line(draw, rng):
    for _ in range(12):
        mask, _, width = drawn(draw, rng, "arc")
        # The distance map counts from pixel centres: one pixel of width is its step.
        assert abs(2 * np.median(trace_mask(mask).half_px) - width) < 1.0


def cross_shapes(draw, width):
    t = np.linspace(0, 1, 300)
    a, size = 2 * np.pi * t, (260, 260)

    def bar(x0, y0, x1, y1):
        line = np.stack([x0 + (x1 - x0) * t, y0 + (y1 - y0) * t], axis=1)
        return draw.strip(line, width, size)

    ring = np.stack([130 + 90 * np.cos(a), 130 + 90 * np.sin(a)], axis=1)
    eight = np.stack([130 + 100 * np.sin(a), 130 + 45 * np.sin(2 * a)], axis=1)
    return {
        "T": bar(20, 60, 240, 60) | bar(130, 60, 130, 240),
        "X": bar(20, 20, 240, 240) | bar(20, 240, 240, 20),
        "ring": draw.strip(ring, width, size),
        "eight": draw.strip(eight, width, size),
    }


@pytest.mark.parametrize("width", [5, 10, 16])
@pytest.mark.parametrize(
    ("shape", "ends", "junctions"), [("T", 3, 1), ("X", 4, 1), ("ring", 0, 0), ("eight", 0, 1)]
)
def test_ends_and_junctions(draw, shape, ends, junctions, width):
    trace = trace_mask(cross_shapes(draw, width)[shape])
    assert (trace.ends, trace.junctions) == (ends, junctions)


@pytest.mark.parametrize("shape", ["T", "X", "ring", "eight"])
def test_net_length_of_crossed_lines(draw, shape):
    # Chain codes times 0.948 are unbiased over all directions, with 2 % of scatter
    # (project notes) and 5.2 % for a line along the rows; each free end stops short
    # by half a width. Truth: lines, circle, and the figure eight by quadrature.
    width = 5
    eight = quad(
        lambda a: np.hypot(100 * np.cos(a), 90 * np.cos(2 * a)), 0, 2 * np.pi, limit=200
    )[0]
    truth = {"T": 220 + 180, "X": 2 * 220 * np.sqrt(2), "ring": 2 * np.pi * 90, "eight": eight}
    ends = {"T": 3, "X": 4, "ring": 0, "eight": 0}
    trace = trace_mask(cross_shapes(draw, width)[shape])
    assert trace.net_px == pytest.approx(truth[shape] - ends[shape] * width / 2, rel=0.06)


@pytest.mark.parametrize("shape", ["T", "X", "ring", "eight"])
def test_turning_and_mirroring_change_nothing(draw, shape):
    mask = cross_shapes(draw, 10)[shape]
    first = trace_mask(mask)
    views = [np.rot90(mask, k) for k in (1, 2, 3)] + [mask[::-1], mask[:, ::-1], mask.T]
    for view in views:
        trace = trace_mask(np.ascontiguousarray(view))
        assert (trace.ends, trace.junctions) == (first.ends, first.junctions)
        # Thinning is not symmetric: a corner may be cut one pixel earlier, and where
        # a ring opens is arbitrary. A strip's half-width bounds both.
        assert trace.length_px == pytest.approx(first.length_px, abs=5)
        assert trace.net_px == pytest.approx(first.net_px, abs=5)


def test_a_plain_bar_has_two_ends_and_no_crossing(draw):
    counts = set()
    for degrees in (0, 10, 17, 30, 60):
        mask = draw.placed(draw.straight(300), 18, angle=np.radians(degrees))
        trace = trace_mask(mask)
        counts.add((trace.ends, trace.junctions))
    assert counts == {(2, 0)}


def test_two_strips_cross_once_at_any_angle(draw):
    t = np.linspace(-110, 110, 300)[:, None]
    counts = []
    for degrees in range(5, 180, 25):
        across = np.radians(degrees + 60)
        first = t * (np.cos(np.radians(degrees)), np.sin(np.radians(degrees)))
        second = t * (np.cos(across), np.sin(across))
        size = (260, 260)
        mask = draw.strip(130 + first, 10, size) | draw.strip(130 + second, 10, size)
        trace = trace_mask(mask)
        counts.append((trace.ends, trace.junctions))
    assert counts == [(4, 1)] * len(counts)


def test_longest_way_leaves_the_short_branch_out(draw):
    size, t = (120, 340), np.linspace(0, 1, 200)
    long = draw.strip(np.stack([20 + 300 * t, 60 + 0 * t], axis=1), 7, size)
    short = draw.strip(np.stack([170 + 0 * t, 60 + 45 * t], axis=1), 7, size)
    trace = trace_mask(long | short)
    assert trace.length_px == pytest.approx(300, rel=0.02)
    # Way and branch: 300 and 45 less the half-widths at three ends.
    assert trace.net_px > 0.948 * (300 + 45 - 3 * 7)


def test_two_pieces_the_longer_is_followed(draw):
    size, t = (100, 340), np.linspace(0, 1, 200)
    long = draw.strip(np.stack([20 + 300 * t, 20 + 0 * t], axis=1), 7, size)
    short = draw.strip(np.stack([20 + 90 * t, 70 + 0 * t], axis=1), 7, size)
    trace = trace_mask(long | short)
    assert trace.length_px == pytest.approx(300, rel=0.02)
    assert np.ptp(trace.path_px[:, 1]) < 7


def test_too_few_pixels():
    mask = np.zeros((9, 9), bool)
    assert trace_mask(mask) is None
    mask[4, 4:6] = True
    assert trace_mask(mask) is None


def test_smoothing_keeps_ends_and_takes_the_stairs_out():
    x = np.arange(300.0)
    stairs = np.stack([x, np.floor(x / 3)], axis=1)
    smooth = smooth_path(stairs, 4.0)
    assert smooth[[0, -1]] == pytest.approx(stairs[[0, -1]])
    # Straight line of slope 1/3; the stairs step by one pixel, so they are 5 % or more
    # longer, and a filter of four pixels must leave under half a per cent of that.
    length = np.hypot(*np.diff(smooth, axis=0).T).sum()
    assert length == pytest.approx(np.hypot(299, 99), rel=0.005)
    assert smooth_path(stairs[:4], 4.0) is not None
    assert np.array_equal(smooth_path(stairs, 0.0), stairs)
