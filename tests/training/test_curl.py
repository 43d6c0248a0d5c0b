"""Helix of a curling chip against an integrated particle path and closed forms.

Sources: rigid screw motion (any mechanics text); the table of chip shapes by up-curl
radius, side-curl radius and flow angle in the literature on chip kinematics (Nakayama
and Arai 1992), as tabulated in the project's reference notes.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from vision.training.coils import even_coil
from vision.training.curl import (
    Screw,
    curl_from_screw,
    screw_from_curl,
    screw_length_mm,
    steepest_pitch_mm,
)
from vision.training.made import Section
from vision.training.sweep import arc_lengths

# R_u, R_s, flow angle, then rho, p, theta as printed (two or three digits).
# The pitch in the third row is cut off, not rounded (2.05): hence 0.06 below.
TABLE = [
    (2, math.inf, 0, 2.0, 0.0, 0),
    (2, math.inf, 10, 1.97, 2.2, 0),
    (2, 8, 10, 1.91, 2.0, 14),
    (2, 4, 10, 1.77, 1.7, 27),
    (2, 2, 10, 1.40, 1.1, 45),
    (4, 2, 10, 1.78, 0.9, 63),
    (8, 2, 10, 1.94, 0.5, 76),
    (math.inf, 3, 10, 3.0, 0.0, 90),
]


@pytest.mark.parametrize("row", TABLE)
def test_table_of_forms(row):
    up, side, flow, rho, pitch, theta = row
    screw = screw_from_curl(up, side, flow)
    # about half a unit of the last printed digit
    assert screw.radius_mm == pytest.approx(rho, abs=0.0051)
    assert screw.pitch_mm == pytest.approx(pitch, abs=0.06)
    assert screw.theta_deg == pytest.approx(theta, abs=0.51)


@pytest.mark.parametrize("twist", [0.0, 0.12])
def test_against_an_integrated_path(twist):
    """A particle of a rigid chip moves with v + omega x r; measure the helix it draws."""
    up, side, flow = 3.0, 5.0, 14.0
    eta = math.radians(flow)
    v = np.array([math.sin(eta), math.cos(eta), 0.0])
    omega = np.array([1 / up, twist, 1 / side])
    period = 2 * math.pi / np.linalg.norm(omega)
    times = np.linspace(0, period, 400)
    path = solve_ivp(
        lambda _, r: v + np.cross(omega, r),
        (0, period),
        [0.0, 0.0, 0.0],
        t_eval=times,
        rtol=1e-10,
        atol=1e-12,
    ).y.T
    axis = omega / np.linalg.norm(omega)
    flat = path - (path @ axis)[:, None] * axis
    # one full turn: the mean of evenly spaced points of a circle is its centre
    radius = np.linalg.norm(flat[:-1] - flat[:-1].mean(axis=0), axis=1)
    screw = screw_from_curl(up, side, flow, twist)
    assert screw.radius_mm == pytest.approx(radius.mean(), rel=1e-4)
    assert screw.pitch_mm == pytest.approx((path[-1] - path[0]) @ axis, rel=1e-4)


@pytest.mark.parametrize(
    ("rho", "pitch", "theta"),
    [
        (2.0, 0.0, 0.0),
        (2.0, 2.2, 0.0),
        (1.9, 2.0, 14.0),
        (1.4, 1.1, 45.0),
        (1.5, 5.0, 20.0),  # steeper than the flow of the table gives
        (3.0, 1.5, 80.0),  # flow of 45 degrees gives 2.3; the rest is twist above that
        (3.0, 4.0, 80.0),
    ],
)
def test_a_screw_s_motion_winds_that_screw(rho, pitch, theta):
    """There and back; the way back is checked above against an integrated path."""
    curl = curl_from_screw(Screw(radius_mm=rho, pitch_mm=pitch, theta_deg=theta))
    assert 0 <= curl.flow_deg <= 45.0 + 1e-9
    assert curl.twist_per_mm == 0 or curl.flow_deg == pytest.approx(45.0)
    screw = screw_from_curl(
        curl.up_radius_mm, curl.side_radius_mm, curl.flow_deg, curl.twist_per_mm
    )
    assert screw.radius_mm == pytest.approx(rho, rel=1e-9)
    assert screw.pitch_mm == pytest.approx(pitch, rel=1e-9, abs=1e-9)
    # the arc cosine of nearly 1 keeps half the digits
    assert screw.theta_deg == pytest.approx(theta, abs=1e-5)


@pytest.mark.parametrize("row", TABLE)
def test_the_table_s_motions_come_back(row):
    up, side, flow, *_ = row
    if math.isinf(up):
        return  # side curl alone makes a flat ring whatever the flow
    curl = curl_from_screw(screw_from_curl(up, side, flow))
    assert curl.up_radius_mm == pytest.approx(up, rel=1e-6)
    assert 1 / curl.side_radius_mm == pytest.approx(1 / side, abs=1e-6)
    assert curl.flow_deg == pytest.approx(flow, abs=1e-6)


@pytest.mark.parametrize("theta", [0.0, 10.0, 30.0, 80.0])
def test_no_motion_winds_a_steeper_screw_than_all_twist(theta):
    radius = 2.0
    steepest = steepest_pitch_mm(radius, theta)
    curl_from_screw(Screw(radius_mm=radius, pitch_mm=0.999 * steepest, theta_deg=theta))
    with pytest.raises(ValueError, match="no chip flow"):
        curl_from_screw(Screw(radius_mm=radius, pitch_mm=1e3, theta_deg=theta))


def test_no_curl_is_no_screw():
    with pytest.raises(ValueError, match="without any curl"):
        screw_from_curl(math.inf, math.inf, 5)


@pytest.mark.parametrize(
    ("rho", "pitch", "turns", "theta"), [(1.0, 1.2, 5.0, 0.0), (4.0, 0.5, 12.5, 85.0)]
)
def test_developed_length_of_an_even_coil(rho, pitch, turns, theta):
    """L = N sqrt((2 pi rho)^2 + p^2), the unrolled triangle of a screw line."""
    made = even_coil(rho, pitch, turns, theta, Section(width_mm=0.5, thickness_mm=0.1))
    expected = turns * math.sqrt((2 * math.pi * rho) ** 2 + pitch**2)
    assert screw_length_mm(rho, pitch, turns) == pytest.approx(expected, rel=1e-12)
    # 80 chords a turn are short of the arc by (pi / 80)^2 / 6 = 2.6e-4
    assert arc_lengths(made.strip.line)[-1] == pytest.approx(expected, rel=3.5e-4)
