"""Camera model against OpenCV's projection, and the truth's homography against both."""

from __future__ import annotations

import dataclasses

import cv2
import numpy as np
import pytest

from vision.training.view import View

VIEW = View(
    eye=(130.0, -160.0, 250.0),
    target=(100.0, -70.0, 0.0),
    up=(0.1, 0.99, 0.0),
    fov_deg=58.0,
    size_px=(1600, 1200),
)
BARREL, PINCUSHION = (-0.08, 0.02), (0.06, -0.01)
POINTS = np.array([[20.0, -30.0, 0.0], [150.0, -120.0, 0.0], [90.0, -60.0, 12.0]])


def through(distortion):
    return dataclasses.replace(VIEW, distortion=distortion)


@pytest.mark.parametrize("distortion", [(0.0, 0.0), BARREL, PINCUSHION])
def test_projects_like_opencv(distortion):
    axes = VIEW.axes()
    camera = np.array([[VIEW.focal_px, 0, 799.5], [0, VIEW.focal_px, 599.5], [0, 0, 1]])
    bent = np.array([*distortion, 0.0, 0.0])  # OpenCV's order: k1, k2, p1, p2
    turn, _ = cv2.Rodrigues(axes)
    there, _ = cv2.projectPoints(POINTS, turn, -axes @ np.array(VIEW.eye), camera, bent)
    assert np.allclose(through(distortion).pixels(POINTS), there.reshape(-1, 2), atol=1e-6)


def test_homography_maps_card_millimetres():
    h = VIEW.px_from_mm()
    card = np.column_stack([POINTS[:2, 0], -POINTS[:2, 1], np.ones(2)])
    there = card @ h.T
    assert np.allclose(there[:, :2] / there[:, 2:], VIEW.pixels(POINTS[:2]), atol=1e-6)


@pytest.mark.parametrize("distortion", [BARREL, PINCUSHION])
def test_homography_and_lens_give_the_full_map(distortion):
    view = through(distortion)
    card = np.column_stack([POINTS[:2, 0], -POINTS[:2, 1], np.ones(2)])
    ideal = card @ view.px_from_mm().T
    there = view.bend_px(ideal[:, :2] / ideal[:, 2:])
    assert np.allclose(there, view.pixels(POINTS[:2]), atol=1e-6)
    assert np.abs(there - VIEW.pixels(POINTS[:2])).max() > 1
    assert np.allclose(view.straighten_px(there), VIEW.pixels(POINTS[:2]), atol=1e-6)


def test_density_is_the_root_of_the_area_scale():
    x, y, d = 80.0, 60.0, 0.01
    corners = [(x, y), (x + d, y), (x + d, y + d), (x, y + d)]
    pixels = VIEW.pixels(np.array([(a, -b, 0.0) for a, b in corners]))
    area = 0.5 * abs(
        np.dot(pixels[:, 0], np.roll(pixels[:, 1], -1))
        - np.dot(pixels[:, 1], np.roll(pixels[:, 0], -1))
    )
    assert VIEW.px_per_mm(x, y) == pytest.approx(np.sqrt(area) / d, rel=1e-3)


@pytest.mark.parametrize("distortion", [(0.0, 0.0), BARREL, PINCUSHION])
def test_rays_go_through_their_pixels(distortion):
    pixels = through(distortion).pixels(POINTS)
    rays = through(distortion).rays(pixels[:, 0], pixels[:, 1])
    toward = POINTS - np.array(VIEW.eye)
    toward /= np.linalg.norm(toward, axis=1, keepdims=True)
    assert np.allclose(rays, toward, atol=1e-9)


def test_tilt():
    run, rise = np.hypot(30.0, 90.0), 250.0
    assert VIEW.tilt_deg() == pytest.approx(np.degrees(np.arctan2(run, rise)), abs=1e-6)
