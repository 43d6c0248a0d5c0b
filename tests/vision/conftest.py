"""Drawn photos with their readings, read once for all modules."""

from __future__ import annotations

import numpy as np
import pytest

from tests.vision.drawn import as_jpeg, field_corners, lines, one_of_each
from vision import read_photo


@pytest.fixture(scope="session")
def scenes():
    """Three drawn photos and one of plain strips, each with its reading."""
    made = [one_of_each(seed) for seed in (1, 2, 4)] + [lines()]
    return [(scene, read_photo(scene.jpeg, name="drawn.jpg")) for scene in made]


@pytest.fixture(scope="session")
def strips(scenes):
    return scenes[-1]


@pytest.fixture(scope="session")
def bare(strips):
    """The upright box inside the white field alone: the same strips, no print in view."""
    scene, _ = strips
    # Sorted along x and y, the second and the third of four corners are the inner ones.
    _, (x0, y0), (x1, y1), _ = np.sort(field_corners(scene), axis=0).round().astype(int)
    return as_jpeg(scene.rgb[y0:y1, x0:x1])
