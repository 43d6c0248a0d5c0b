"""Coils: wound ribbons drawn from the equation of the helix, seen from the side.

Yardstick: on drawn open tubular coils the pitch was within 10 % on all, 0.5 % in the
middle (project notes); "a few per cent" for axis and diameter is 3 %: at 14 px per mm
a coil of 4 mm is 56 px broad, and the pixel that an outline counts at both rims is 2 %.
Open means here that pitch minus width, the gap, can be seen but is under 0.4 radii,
which are nearly all coils that steel makes. More open ones follow further down.
"""

from __future__ import annotations

import numpy as np
import pytest

from vision.chips.coil import coil_of, straighten

FEW_PER_CENT = 0.03
#: radius, pitch, turns, width in px.
OPEN = [
    (28, 20, 6, 14),
    (28, 22.4, 4, 14),
    (28, 25, 8, 14),
    (28, 28, 5.3, 20),
    (20, 16, 8, 10),
    (35, 30, 5, 18),
    (40, 40, 4, 26),
]
#: The same with gaps of half a radius and more.
WIDE_OPEN = [(28, 28, 6, 8), (28, 42, 5, 14), (20, 30, 8, 10), (28, 56, 6, 20)]


def read(mask, light):
    return coil_of(straighten(mask, light))


@pytest.mark.parametrize("angle", [0.0, 0.7, 2.3])
@pytest.mark.parametrize("size", OPEN)
def test_sizes_of_open_coils(draw, size, angle):
    radius, pitch, turns, width = size
    coil = read(*draw.coil(*size, angle=angle))
    assert coil.pitch_px == pytest.approx(pitch, rel=FEW_PER_CENT)
    assert coil.diameter_px == pytest.approx(2 * radius, rel=FEW_PER_CENT)
    # Along the axis the ribbon reaches half a width beyond both ends of its centre line.
    assert coil.axis_px == pytest.approx(pitch * turns + width, rel=FEW_PER_CENT)


@pytest.mark.parametrize("size", OPEN + WIDE_OPEN)
def test_pitch_and_axis_do_not_depend_on_how_open(draw, size):
    _, pitch, turns, width = size
    coil = read(*draw.coil(*size, angle=0.4))
    assert coil.pitch_px == pytest.approx(pitch, rel=FEW_PER_CENT)
    assert coil.axis_px == pytest.approx(pitch * turns + width, rel=FEW_PER_CENT)
    assert coil.score > 0.35


@pytest.mark.parametrize("size", WIDE_OPEN)
def test_outline_and_shading_count_alike_where_both_are_plain(draw, size):
    # Both show one turn per pitch; each is read to within three per cent.
    assert read(*draw.coil(*size, angle=0.4)).agree > 0.94


def test_diameter_of_wide_open_coils(draw):
    off = []
    for size in WIDE_OPEN:
        coil = read(*draw.coil(*size, angle=0.4))
        off.append(abs(coil.diameter_px / (2 * size[0]) - 1))
    assert max(off) < FEW_PER_CENT


def test_a_straight_coil_has_no_bow(draw):
    bows = [read(*draw.coil(*size, angle=0.4)).bow for size in WIDE_OPEN]
    # The sagitta of an axis bent by only 0.2 rad is 2.5 % of its length.
    assert max(bows) < 0.025


@pytest.mark.parametrize("theta_deg", [0, 45])
def test_a_tilted_width_leaves_the_pitch_alone(draw, theta_deg):
    coil = read(*draw.coil(28, 30, 6, 14, theta_deg=theta_deg, angle=0.3))
    assert coil.pitch_px == pytest.approx(30, rel=FEW_PER_CENT)


def test_a_tight_coil_is_counted_by_its_shading(draw):
    # Turns overlap: the outline is smooth, only light repeats.
    coil = read(*draw.coil(30, 16, 10, 14))
    assert coil.pitch_px == pytest.approx(16, rel=FEW_PER_CENT)
    assert coil.fill > 0.95


@pytest.mark.parametrize("bend", [0.3, 0.7])
def test_a_bent_axis_is_straightened(draw, bend):
    size = (14, 14, 16, 7)
    bent = draw.coil(*size, bend=bend, angle=0.4)
    straight = straighten(*bent)
    coil = coil_of(straight)
    # The sagitta of an arc over its length is (1 - cos(b / 2)) / b. The window, as wide
    # as the coil, flattens the ends of so short an axis: bow ranks, it does not measure.
    sagitta = (1 - np.cos(bend / 2)) / bend
    assert 0.3 * sagitta < coil.bow < 1.05 * sagitta
    assert coil.pitch_px == pytest.approx(14, rel=0.05)
    assert coil.diameter_px == pytest.approx(28, rel=0.1)
    # Unbent, the turns fill the height of the picture; bent they would fill less of it.
    rows = np.flatnonzero((straight.mask > 0.5).any(axis=1))
    assert np.ptp(rows) < 28 * 1.35
    assert np.ptp(np.flatnonzero(bent[0].any(axis=1))) > 28 * 1.35


def test_score_parts_coils_from_blobs_and_ribbons(draw, rng):
    coils = [read(*draw.coil(*size, angle=rng.uniform(0, 3))).score for size in OPEN]
    blobs = [read(*draw.blob(rng)).score for _ in range(30)]
    ribbons = []
    for _ in range(30):
        line = draw.wave(rng.uniform(2, 12), rng.uniform(300, 600), rng.uniform(0.4, 1))
        mask = draw.placed(line, rng.uniform(8, 22), angle=rng.uniform(0, 3))
        light = np.where(mask, 0.5 + 0.05 * rng.normal(size=mask.shape), 1).astype(np.float32)
        ribbons.append(read(mask, light).score)
    # A pitch is believed above 0.25 (vision.chips.measure): typical blobs and ribbons lie
    # below, every coil above; a lumpy blob may repeat once by chance, nine in ten may not.
    assert np.median(blobs) < 0.2
    assert np.median(ribbons) < 0.2
    assert min(coils) > 0.35
    assert np.mean(np.array(blobs) < min(coils)) >= 0.8
    assert np.median(coils) > np.quantile(blobs + ribbons, 0.95)


@pytest.mark.parametrize("slope", [0.0, 0.5, 2.0])
def test_streaks_that_all_run_one_way(slope):
    # Light varies along one direction only, x - slope * y: its gradient has no other.
    rows, cols = np.mgrid[0:80, 0:300]
    mask = (np.abs(rows - 40) <= 25) & (np.abs(cols - 150) <= 130)
    phase = (cols - slope * rows) / np.hypot(1, slope)
    light = np.where(mask, 0.6 + 0.2 * np.sin(2 * np.pi * phase / 12), 1).astype(np.float32)
    coil = read(mask, light)
    assert coil.slant_coherence > 0.85  # 1 but for sampling and the rim


def test_turns_that_differ_a_little_are_still_single_turns():
    # Every other turn is a quarter duller: two turns together repeat best, one is the pitch.
    rows, cols = np.mgrid[0:80, 0:320]
    mask = (np.abs(rows - 40) <= 25) & (np.abs(cols - 160) <= 140)
    tone = 0.2 * (1 + 0.25 * np.where(cols // 14 % 2, 1, -1))
    light = 0.6 + tone * np.sin(2 * np.pi * cols / 14)
    coil = read(mask, np.where(mask, light, 1).astype(np.float32))
    assert coil.pitch_px == pytest.approx(14, rel=FEW_PER_CENT)


def test_too_small_to_ask():
    mask = np.zeros((20, 20), bool)
    mask[5:9, 5:9] = True
    light = np.ones(mask.shape, np.float32)
    assert straighten(mask, light) is None  # 16 px of the 17 needed
    mask[5:11, 5:11] = True
    straight = straighten(mask, light, margin=1)
    assert straight is not None
    assert coil_of(straight) is None  # 6 columns and two margins of 1
