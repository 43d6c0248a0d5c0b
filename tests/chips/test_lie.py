"""How a strip lies on its coil: what the network is shown, and what it says of drawn coils.

The drawn coils come from the equation of the helix with a tilted strip, in a generator that
the network has not learned from; the angle drawn is the yardstick.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vision import bundled
from vision.chips.coil import Straight
from vision.chips.lie import PICTURE, LieNet, cut, upright
from vision.chips.look import look_at
from vision.errors import ModelUnreadable
from vision.photo.decode import decode_photo
from vision.photo.find_card import find_card
from vision.photo.light import measure_light
from vision.photo.plane import plane_of
from vision.synthetic import make_scene
from vision.synthetic.strips import coil

#: As bare metal looks where it mirrors a room instead of the lamp (common practice).
DARK = (0.30, 0.29, 0.28)


def straight_of(rows, columns, coil_rows, top):
    """A straightened chip of light 0.3: ``coil_rows`` of its rows are metal, from ``top``."""
    mask = np.zeros((rows, columns), np.float32)
    mask[top : top + coil_rows] = 1
    light = np.where(mask > 0, np.float32(0.3), np.float32(1))
    line = np.zeros((2, 2))
    return Straight(mask=mask, light=light, axis_px=float(columns), bow=0.0, line_px=line)


@pytest.mark.parametrize(
    ("rows", "coil_rows", "top"), [(60, 26, 4), (60, 26, 30), (200, 104, 40)]
)
def test_all_coils_are_shown_equally_high_and_in_the_middle(rows, coil_rows, top):
    shown = upright(straight_of(rows, 90, coil_rows, top))
    assert shown.shape == (2, PICTURE[0], round(90 * 52 / coil_rows))
    inside = shown[1].mean(axis=1) > 0.5
    # 52 rows of metal between 6 of sheet; a rim may fall on half a row.
    assert inside.sum() == pytest.approx(52, abs=1)
    assert np.flatnonzero(inside).mean() == pytest.approx(31.5, abs=1)
    np.testing.assert_allclose(shown[0][:4], 1)
    np.testing.assert_allclose(shown[0][30:34], 0.3, rtol=1e-5)


def test_a_thin_coil_is_not_magnified_beyond_what_it_holds():
    shown = upright(straight_of(20, 40, 8, 6))
    assert (shown[1].mean(axis=1) > 0.5).sum() == pytest.approx(20, abs=1)


def test_a_long_coil_is_cut_and_a_short_one_laid_on_sheet():
    long = upright(straight_of(60, 300, 52, 4))
    long[0] = np.arange(300)
    np.testing.assert_array_equal(cut(long)[0, 0], np.arange(86, 214))
    np.testing.assert_array_equal(cut(long, 5)[0, 0], np.arange(5, 133))
    short = cut(upright(straight_of(60, 28, 52, 4)))
    assert short.shape == (2, *PICTURE)
    assert set(np.flatnonzero(short[1].any(axis=0))) == set(range(50, 78))
    np.testing.assert_allclose(short[0][:, :50], 1)


def lies(theta_deg, seed):
    """What the packaged network says of four drawn coils of dark metal, one scene."""
    shapes = [coil(r, 1.5 * r, 6, 0.7 * r, theta_deg=theta_deg) for r in (2.0, 2.4, 2.8, 3.2)]
    chips = [replace(shape, colour=DARK) for shape in shapes]
    scene = make_scene(np.random.default_rng(seed), chips=chips, px_per_mm=14)
    photo = decode_photo(scene.jpeg)
    plane = plane_of(photo, find_card(photo), None)
    seen = look_at(plane, measure_light(plane), bundled.packaged_eye()).seen
    return [s.shape.lie for s in seen if s.shape.lie is not None]


@pytest.mark.parametrize("theta_deg", [4.0, 45.0, 84.0])
def test_the_angle_of_drawn_coils_is_told(theta_deg):
    told = lies(theta_deg, 31 + int(theta_deg))
    assert len(told) >= 3
    assert all(0 <= k.deg <= 90 and 0 < k.spread_deg < 90 for k in told)
    # Tubes end at some 20 and washers begin at some 70 degrees: half of the 50 between
    # would take one for the other. The drawing is plainer than any metal.
    assert np.median([k.deg for k in told]) == pytest.approx(theta_deg, abs=20)


def test_a_damaged_network_is_said_so():
    with pytest.raises(ModelUnreadable, match="damaged"):
        LieNet(b"nothing")([straight_of(60, 90, 26, 4)])


def test_nothing_to_look_at_needs_no_network():
    assert LieNet(b"nothing")([]) == []
