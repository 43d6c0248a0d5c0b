"""The outline of what is more surely a chip than not, against areas known from geometry."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.chips.crop import outline_mm
from vision.chips.features import CROP_PX_PER_MM

BOX = (10.0, 20.0, 20.0, 30.0)


def softly(inside_px):
    """How surely pixels lie inside, by their signed distance from the rim, pixels."""
    return np.clip(0.5 + inside_px, 0, 1).astype(np.float32)


def area_mm2(rings):
    """Area by the even-odd rule: what lies in holes goes off."""
    return abs(sum(cv2.contourArea(r.astype(np.float32), oriented=True) for r in rings))


def middle_distance():
    down, right = np.mgrid[:105, :105] - 52.0
    return np.hypot(down, right)


@pytest.mark.parametrize("radius_mm", [1.0, 2.5, 4.0])
def test_a_disc_keeps_its_area(radius_mm):
    rings = outline_mm(softly(radius_mm * CROP_PX_PER_MM - middle_distance()), BOX)
    # A quarter of a pixel all round is what following half pixels may leave out.
    lost = 0.25 / (radius_mm * CROP_PX_PER_MM)
    assert area_mm2(rings) == pytest.approx(np.pi * radius_mm**2, rel=2 * lost + 0.01)


@pytest.mark.parametrize("broad_mm", [0.3, 0.5, 1.0])
def test_a_thin_ring_keeps_most_of_its_breadth_and_its_hole(broad_mm):
    half_px = broad_mm * CROP_PX_PER_MM / 2
    rings = outline_mm(softly(half_px - np.abs(middle_distance() - 35)), BOX)
    assert len(rings) == 2
    true = 2 * np.pi * 35 / CROP_PX_PER_MM * broad_mm
    # A quarter of a pixel of each rim may be left out. Points that are left out move both
    # rims towards the middle, one against the other: 0.03 is room for what remains (no source).
    # Through the middles of pixels a strip of 0.3 mm would lose a third.
    assert area_mm2(rings) == pytest.approx(true, rel=0.25 / half_px + 0.03)
    middle = np.concatenate(rings).mean(axis=0)
    np.testing.assert_allclose(middle, np.array(BOX[:2]) + 52.5 / CROP_PX_PER_MM, atol=0.05)


def test_nothing_has_no_outline():
    assert outline_mm(np.zeros((40, 40), np.float32), BOX) == ()
