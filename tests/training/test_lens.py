"""Lens distortion: its size, its inverse, and the rays of the renderer."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from vision.training.families import families
from vision.training.lens import bend, draw_lens, straighten
from vision.training.render import open_renderer
from vision.training.trace import rays_through
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


@pytest.mark.parametrize("distortion", [(0.0, 0.0), BARREL, PINCUSHION])
def test_the_renderer_looks_along_the_rays_of_the_camera_model(distortion):
    pytest.importorskip("mitsuba", reason='the path tracer is in the extra "train"')
    try:
        mi = open_renderer()
    except (ImportError, RuntimeError) as error:
        pytest.skip(f"the path tracer does not start here: {error}")
    view = dataclasses.replace(VIEW, distortion=distortion)
    x, y = (a.ravel().astype(float) for a in np.mgrid[0:640:37, 0:480:29])
    rays = rays_through(mi, view, x.astype(np.float32), y.astype(np.float32))
    there = np.array(rays.d).reshape(3, -1).T
    # a hundredth of a pixel is 2e-5 of the focal length here
    assert np.abs(there - view.rays(x, y)).max() < 1e-5
