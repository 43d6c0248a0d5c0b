"""Lens distortion: its size, its inverse, and a bent picture against bent rays."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from vision.training.families import families
from vision.training.lens import bend, draw_lens, photo_from_ideal, straighten, wide_enough
from vision.training.view import View

VIEW = View(
    eye=(20.0, -60.0, 180.0),
    target=(0.0, 0.0, 0.0),
    up=(0.1, 0.99, 0.0),
    fov_deg=66.0,
    size_px=(640, 480),
)
#: Corners moved by 3 %, both ways; the half diagonal is 0.81 focal lengths.
BARREL, PINCUSHION = (-0.05, 0.006), (0.05, -0.006)
SPOTS = [(x, y) for x in (-85, -30, 30, 85) for y in (-60, 0, 60)]


def test_straighten_undoes_bend():
    xy = np.stack(np.meshgrid(np.linspace(-0.8, 0.8, 9), np.linspace(-0.6, 0.6, 7)), -1)
    for distortion in (BARREL, PINCUSHION):
        assert np.abs(straighten(bend(xy, distortion), distortion) - xy).max() < 1e-9


@pytest.mark.parametrize("side", ["train", "held_out"])
def test_corners_move_as_much_as_the_family_says(side):
    for name, camera in families("cameras", side).items():
        rng = np.random.default_rng(len(name))
        low, high = camera["corner_shift"]
        assert -0.03 <= low < high <= 0.03
        for _ in range(20):
            k1, k2 = draw_lens(rng, camera, 60.0, 0.75)
            corner = math.tan(math.radians(30)) * np.array([1, 0.75])
            shift = np.linalg.norm(bend(corner, (k1, k2))) / np.linalg.norm(corner) - 1
            assert low - 1e-9 <= shift <= high + 1e-9


def ground_light(view, fine):
    """White discs of 8 mm on black ground, worked out ray by ray, ``fine`` x ``fine``."""
    width, height = view.size_px
    total = np.zeros((height, width))
    y, x = np.mgrid[:height, :width].astype(float)
    steps = (np.arange(fine) + 0.5) / fine - 0.5
    for dx in steps:
        for dy in steps:
            d = view.rays(x + dx, y + dy)
            at = np.array(view.eye)[:2] - d[..., :2] / d[..., 2:] * view.eye[2]
            total += sum(np.hypot(at[..., 0] - a, at[..., 1] - b) < 8 for a, b in SPOTS)
    return total / fine**2


@pytest.mark.parametrize("distortion", [BARREL, PINCUSHION])
def test_picture_and_mask_show_the_same_place(distortion):
    view = dataclasses.replace(VIEW, distortion=distortion)
    ideal = ground_light(wide_enough(view), 4).astype(np.float32)
    photo = photo_from_ideal(np.repeat(ideal[:, :, None], 3, axis=2), view)[:, :, 0]
    mask = ground_light(view, 1)
    assert photo.shape == mask.shape
    y, x = np.mgrid[:480, :640]
    for a, b in SPOTS:
        u, v = view.pixels(np.array([[a, b, 0.0]]))[0]
        if not (40 < u < 600 and 40 < v < 440):
            continue
        near = (np.abs(x - u) < 35) & (np.abs(y - v) < 35)
        centres = [
            np.array([(p * near * x).sum(), (p * near * y).sum()]) / (p * near).sum()
            for p in (photo, mask)
        ]
        # a mask of whole pixels has a centre good to about a tenth of a pixel
        assert np.abs(centres[0] - centres[1]).max() < 0.12
        assert (photo * near).sum() == pytest.approx((mask * near).sum(), rel=0.02)
    edge = (photo > 0.5) != (mask > 0.5)
    # 0.3 px all round would be some 30 % of the pixels along the discs' rims
    rim = np.abs(np.diff(mask, axis=0))[:, 1:].sum() + np.abs(np.diff(mask, axis=1))[1:].sum()
    assert edge.sum() < 0.1 * rim


def test_without_distortion_nothing_is_resampled():
    picture = np.random.default_rng(1).random((480, 640, 3)).astype(np.float32)
    assert wide_enough(VIEW) == VIEW
    assert photo_from_ideal(picture, VIEW) is picture


def test_glints_leave_no_dark_rings():
    view = dataclasses.replace(VIEW, distortion=BARREL)
    width, height = wide_enough(view).size_px
    picture = np.full((height, width, 3), 0.5, np.float32)
    picture[::40, ::40] = 60.0
    bent = photo_from_ideal(picture, view)
    # a sharp kernel alone would dip far below zero here and be cut there
    assert bent.min() > 0.2
    assert bent.max() > 10
