"""Measures of simple figures against plane geometry; NaN rules; turning and scale."""

from __future__ import annotations

from math import log, pi, sqrt

import cv2
import numpy as np
import pytest

from vision.chips.eye import GUESSED
from vision.chips.features import CROP_PX_PER_MM, FEATURES, feature_row, shape_of
from vision.chips.glance import Glance

#: A distance read off pixels of a drawn edge; both sides of a figure carry one each.
EDGE_PX = 1.0


def grey(mask, metal=0.4):
    return np.where(mask, metal, 1.0).astype(np.float32)


def row_of(mask, light=None, **more):
    shape = shape_of(mask, grey(mask) if light is None else light, **more)
    return feature_row(shape)


def disc(radius, hole=0.0, size=None):
    size = size or int(2 * radius + 12)
    y, x = np.mgrid[0:size, 0:size] - (size - 1) / 2
    far = np.hypot(x, y)
    return (far <= radius) & (far >= hole)


def bar(length, breadth):
    mask = np.zeros((breadth + 12, length + 12), bool)
    mask[6 : 6 + breadth, 6 : 6 + length] = True
    return mask


FIGURES = {
    "bar": lambda _: bar(140, 20),
    "disc": lambda _: disc(30),
    "ring": lambda _: disc(60, 48),
    "arc": lambda d: d.placed(d.arc(70, 200), 9),
    "wave": lambda d: d.placed(d.wave(20, 120, 2), 8),
    "coil": lambda d: d.coil(28, 25, 7, 14)[0],
}


@pytest.mark.parametrize("figure", FIGURES)
def test_every_measure_in_the_order_of_the_model(draw, figure):
    row = row_of(FIGURES[figure](draw))
    assert list(row) == list(FEATURES)
    assert all(isinstance(v, float) for v in row.values())
    assert not np.isinf(list(row.values())).any()


def test_fewer_than_twelve_pixels_are_no_shape():
    mask = np.zeros((12, 12), bool)
    mask[4:7, 4:7] = True
    assert shape_of(mask, grey(mask)) is None
    mask[7, 4:7] = True
    assert shape_of(mask, grey(mask)) is not None


def test_what_cannot_be_measured_is_nan():
    # A lump of 4 x 4 px has no line, no bend, no axis to repeat along.
    row = row_of(np.pad(np.ones((4, 4), bool), 5))
    lost = {k for k, v in row.items() if np.isnan(v)}
    assert {"log_path", "straightness", "turning", "arc"} <= lost
    assert {"repeat", "pitch_to_diameter", "bow", "notch", "curls", "lie"} <= lost
    assert not lost & {"log_area", "log_extent", "solidity", "roundness", "confidence"}


def test_what_is_glimpsed_of_a_lie_is_a_measure_unless_it_is_a_crumb():
    half_way = dict.fromkeys(GUESSED, 0.0) | {"lie": 1.0}
    glance = Glance(
        log_size=half_way, log_spread=dict.fromkeys(GUESSED, -1.0), curls=0.9, winds=0.9
    )
    row = row_of(bar(140, 20), glance=glance)
    # One unit is 45 degrees: half-way between a tube and a washer.
    assert row["glance_lie"] == pytest.approx(45)
    assert np.isnan(row_of(bar(140, 20))["glance_lie"])
    # 0.7 mm2 is 77 pixels of a crop.
    crumb = row_of(np.pad(np.ones((4, 4), bool), 5), glance=glance)
    assert np.isnan(crumb["glance_lie"])
    assert crumb["curls"] == pytest.approx(0.9)


def test_no_pitch_without_repetition():
    row = row_of(bar(200, 20))
    assert row["repeat"] == 0
    assert np.isnan(row["pitch_to_diameter"])


def test_bar():
    length, breadth = 140, 28
    row = row_of(bar(length, breadth))
    mm = CROP_PX_PER_MM
    assert row["log_area"] == pytest.approx(log(length * breadth / mm**2), abs=1e-9)
    diagonal = sqrt(length**2 + breadth**2)
    assert row["log_extent"] == pytest.approx(log(diagonal / mm), abs=EDGE_PX / diagonal)
    assert row["log_width"] == pytest.approx(log(breadth / mm), abs=2 * EDGE_PX / breadth)
    assert row["box_aspect"] == pytest.approx(log(length / breadth), abs=EDGE_PX / breadth)
    assert row["solidity"] == pytest.approx(1, abs=1e-9)
    assert row["box_fill"] == pytest.approx(1, abs=EDGE_PX / breadth)
    # 4 pi A / P^2; hull corners sit on pixel centres, so each side is one pixel short.
    assert row["roundness"] == pytest.approx(
        4 * pi * length * breadth / (2 * (length + breadth)) ** 2, rel=3 * EDGE_PX / breadth
    )
    assert row["straightness"] == pytest.approx(1, abs=breadth / length)
    assert row["turning"] == pytest.approx(0, abs=30 / 360)


def test_disc_and_ring():
    full, ring = row_of(disc(60)), row_of(disc(60, 45))
    # A polygon through pixel corners of a circle is a little rough: 2 % of 1.
    assert full["roundness"] == pytest.approx(1, abs=0.02)
    assert full["solidity"] == pytest.approx(1, abs=0.02)
    assert full["eye"] == 0
    assert ring["eye"] == pytest.approx(45 / 62, abs=0.03)  # reach: half the extent + 2 px
    # The hull of a ring is the disc.
    assert ring["solidity"] == pytest.approx(1 - (45 / 60) ** 2, abs=0.03)


def test_rings_count_the_turns_of_a_clock_spring():
    mask = disc(60, 55, 140) | disc(45, 40, 140) | disc(30, 25, 140)
    assert shape_of(mask, grey(mask)).rings == 3


@pytest.mark.parametrize("degrees", [140, 200, 260])
def test_arc(draw, degrees):
    row = row_of(draw.placed(draw.arc(90, degrees), 9))
    # A strip's skeleton ends up to half a width inside or in a corner: 9 px of the arc.
    slack = np.degrees(9 / 90) / 360
    assert row["arc"] == pytest.approx(degrees / 360, abs=slack)
    # Each end's corner adds up to 45 degrees of turning or takes it off.
    assert row["turning"] == pytest.approx(degrees / 360, abs=2 * 45 / 360)
    assert row["circle_misfit"] < 0.02
    chord, length = 2 * np.sin(np.radians(degrees / 2)), np.radians(degrees)
    assert row["straightness"] == pytest.approx(chord / length, abs=0.06)


def test_light_and_population():
    mask = bar(60, 20)
    light = np.where(np.arange(mask.shape[1]) < mask.shape[1] // 2, 0.3, 0.7)
    light = np.where(mask, np.broadcast_to(light, mask.shape), 1).astype(np.float32)
    row = row_of(mask, light, confidence=0.8)
    # Half at 0.3 and half at 0.7: standard deviation 0.2, half of it under 0.55.
    assert row["light_spread"] == pytest.approx(0.2, abs=1e-3)
    assert row["dark_share"] == pytest.approx(0.5, abs=1e-9)
    assert row["confidence"] == 0.8


#: What may change with the pixel grid beyond 0.06 (of values over 1: beyond 6 %, a pixel
#: in a strip of 16), by what it hangs on. Thinning runs
#: into one corner or another of a strip's end, whole ends and junctions at a time.
_BY_THINNING = {
    "net_to_path": 0.15,
    "turning": 0.2,
    "taper": 0.3,
}
#: Read off single columns of the straightened picture: at the ends of a figure that is
#: no coil one column more or less counts for much; the skew adds up cubes of pixel steps.
_BY_COLUMNS = {"diameter_cv": 0.15}
#: Ratios to a curvature that may be next to nothing; a straight bar has none.
_NO_LIMIT = ("curvature_cv",)


def far_apart(one, other, *, lines=True):
    """Names of the measures that differ by more than is due to pixels.

    ``lines=False`` leaves out what hangs on thinning: turns of a coil grow together.
    """
    left_out = {*_NO_LIMIT, *(() if lines else (*_BY_THINNING, "log_path", "slender"))}
    limits = _BY_THINNING | _BY_COLUMNS
    out = []
    for name in one.keys() - left_out:
        a, b = one[name], other[name]
        if np.isnan(a) and np.isnan(b):
            continue
        if not abs(a - b) <= limits.get(name, 0.06) * max(1.0, abs(a)):
            out.append((name, round(a, 3), round(b, 3)))
    return out


@pytest.mark.parametrize("turns", [1, 2, 3])
@pytest.mark.parametrize("figure", FIGURES)
def test_turning_by_right_angles(draw, figure, turns):
    mask = FIGURES[figure](draw)
    other = np.ascontiguousarray(np.rot90(mask, turns))
    assert far_apart(row_of(mask), row_of(other), lines=figure != "coil") == []


@pytest.mark.parametrize("figure", FIGURES)
def test_mirroring(draw, figure):
    mask = FIGURES[figure](draw)
    other = np.ascontiguousarray(mask[:, ::-1])
    assert far_apart(row_of(mask), row_of(other), lines=figure != "coil") == []


def test_a_straight_bar_does_not_bend_in_any_direction(draw):
    angles = np.radians((0, 10, 17, 30, 60))
    rows = [row_of(draw.placed(draw.straight(300), 18, angle=a)) for a in angles]
    # A twelfth of a turn is what the eye would begin to call bent.
    assert max(r["turning"] for r in rows) < 1 / 12


@pytest.mark.parametrize("angle", [0.0, 0.5])
@pytest.mark.parametrize("zoom", [2, 3])
def test_a_nearer_camera_gives_the_same_measures_at_the_crop_density(draw, zoom, angle):
    # The same arc photographed at two or three times the density and brought to the
    # density of the crop, as the flattening does, against the arc drawn at that density.
    plain = draw.placed(draw.arc(80, 200), 12, angle=angle)
    near = draw.placed(draw.arc(80 * zoom, 200), 12 * zoom, angle=angle)
    size = (round(near.shape[1] / zoom), round(near.shape[0] / zoom))
    far = cv2.resize(near.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0.5
    assert far_apart(row_of(plain), row_of(np.pad(far, 4))) == []


def test_measures_know_their_size():
    # Twice as large at the same density is another chip: area by 4, lengths by 2.
    small, large = row_of(bar(140, 20)), row_of(bar(280, 40))
    assert large["log_area"] - small["log_area"] == pytest.approx(log(4), abs=1e-9)
    assert large["log_extent"] - small["log_extent"] == pytest.approx(log(2), abs=0.01)
    assert large["log_width"] - small["log_width"] == pytest.approx(log(2), abs=0.06)
    assert large["box_aspect"] == pytest.approx(small["box_aspect"], abs=0.01)
