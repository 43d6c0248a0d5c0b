"""A chip whose truth does not hold together is told so, fault by fault.

Each fault is made by hand on a chip that is sound; what must be found follows from plane
geometry, not from the check's own numbers.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vision.training.shapes import chip_of_form, self_check


@pytest.fixture
def coil():
    return chip_of_form("2.2", np.random.default_rng(4))


def with_points(mesh, points):
    return replace(mesh, points=points)


def test_a_sound_chip_has_no_faults(coil):
    assert self_check(coil) == []


def test_a_chip_sunk_into_the_sheet(coil):
    down = np.array([0.0, 0.0, -0.3])
    sunk = replace(
        coil,
        tool=with_points(coil.tool, coil.tool.points + down),
        free=with_points(coil.free, coil.free.points + down),
        line=coil.line + down,
    )
    assert self_check(sunk) == ["reaches 0.300 mm under the plane"]


def test_a_line_that_is_elsewhere(coil):
    aside = replace(coil, line=coil.line + np.array([100.0, 0.0, 0.0]))
    assert self_check(aside) == ["centre line leaves the mesh"]


def test_a_point_at_nowhere(coil):
    points = coil.tool.points.copy()
    points[3, 1] = np.nan
    broken = replace(coil, tool=with_points(coil.tool, points))
    assert self_check(broken) == ["mesh or line is not finite"]


def test_a_triangle_that_points_past_the_last_corner(coil):
    faces = coil.free.faces.copy()
    faces[0, 0] = len(coil.free.points)
    assert self_check(replace(coil, free=replace(coil.free, faces=faces))) == [
        "free side: a triangle points nowhere"
    ]


def test_a_triangle_right_through_the_chip(coil):
    far = np.linalg.norm(coil.tool.points - coil.tool.points[0], axis=1).argmax()
    faces = coil.tool.faces.copy()
    faces[0] = (0, far, 1)
    faults = self_check(replace(coil, tool=replace(coil.tool, faces=faces)))
    assert len(faults) == 1
    assert faults[0].startswith("tool side: a triangle is")


def test_normals_that_are_not_of_length_one(coil):
    dull = replace(coil.tool, normals=1.1 * coil.tool.normals)
    assert self_check(replace(coil, tool=dull)) == ["tool side: normals are not of length one"]


@pytest.mark.parametrize(
    ("wrong", "fault"),
    [
        ({"width_mm": 0.0}, "width_mm is not positive"),
        ({"curl_radius_mm": -1.0}, "curl_radius_mm is not positive"),
        ({"width_mm": 0.1, "thickness_mm": 0.2}, "thicker than wide"),
        ({"extent_mm": 1e3}, "extent exceeds length and section"),
    ],
)
def test_sizes_that_cannot_be(coil, wrong, fault):
    assert fault in self_check(replace(coil, sizes=replace(coil.sizes, **wrong)))


def test_a_length_that_is_not_the_line_s(coil):
    noted = replace(coil.sizes, length_mm=1.02 * coil.sizes.length_mm)
    faults = self_check(replace(coil, sizes=noted))
    assert any(f.startswith("line is ") for f in faults)


def test_turns_that_do_not_fit_radius_and_length(coil):
    """Half the turns of the same radius make half the length: L = N sqrt((2 pi r)^2 + p^2)."""
    noted = replace(coil.sizes, turns=coil.sizes.turns / 2)
    faults = self_check(replace(coil, sizes=noted))
    assert len(faults) == 1
    told = float(faults[0].split()[3])
    assert told == pytest.approx(coil.sizes.length_mm / 2, rel=0.07)
