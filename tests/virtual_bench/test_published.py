"""The bench's relations against printed rows; places and how obtained stand in each."""

from __future__ import annotations

import numpy as np
import pytest

from . import published as pub


def test_bending_strain_row_n1():
    # Nakayama 1962 (formula from memory): 0.5 * 0.25 * (1/1.5 - 1/6)
    assert pub.bend_strain(0.25, 1.5, 6.0) == pytest.approx(0.0625)


def test_cook_groover_example_21_5():
    # Groover, Fundamentals of Modern Manufacturing, Ex 21.5 (memory): rise 353 C; the book
    # rounds the exponent to 0.333, hence 0.5 %
    rise = pub.cook_rise_k(1.038, 3.0e-3, 100_000 / 60, 0.5, 50.0)
    assert rise == pytest.approx(353.2, rel=5e-3)


def test_cook_groover_problem():
    # inputs of Groover's Cook problem (read in a copy), 536.9 C worked by hand; U from force
    energy = 1180.0 / (0.28 * 2.6) / 1000.0
    assert energy == pytest.approx(1.6209, rel=1e-3)
    rise = pub.cook_rise_k(energy, 2.9e-3, 3500.0, 0.28, 80.0)
    assert 22.0 + rise == pytest.approx(536.9, rel=5e-3)


def test_taylor_half_speed_is_four_lives():
    # Kalpakjian and Schmid, 4th ed., Ex 20.2 (read): n 0.5, speed halved, life up by 300 %
    life = [float(pub.taylor_life_min(v, 100.0, 0.5)) for v in (50.0, 25.0)]
    assert life[1] / life[0] == pytest.approx(4.0)


def test_taylor_sharma_14_1():
    # P.C. Sharma, Production Engineering, Ex 14.1 (read): n 0.125, 18 m/min lasts 3 h,
    # 24 m/min 18 min
    constant = 18.0 * 180.0**0.125
    assert pub.taylor_life_min(24.0, constant, 0.125) == pytest.approx(18.02, rel=1e-2)


def test_power_law_force_sharma_14_14():
    # P.C. Sharma, Ex 14.14 (read): Fc = 1593 f^0.85 a^0.98; 0.553 kW at 0.2 m/s
    force = pub.power_law_force_n(1593.0, 0.5, 3.2)
    assert force == pytest.approx(2763.0, rel=3e-3)
    assert pub.power_w(force, 12.0) == pytest.approx(553.0, rel=3e-3)
    assert force / (0.5 * 3.2) == pytest.approx(1726.9, rel=3e-3)


def test_shear_plane_sharma_14_6_and_ghosh_4_1():
    # P.C. Sharma, Ex 14.6 (read): rake 15, h'/h 3.1, phi 18.78; strain 3.007 by hand
    assert pub.shear_angle_deg(3.1, 15.0) == pytest.approx(18.78, rel=3e-3)
    assert pub.shear_strain(3.1, 15.0) == pytest.approx(3.007, rel=3e-3)
    # Ghosh and Mallik, Manufacturing Science, Ex 4.1 (read): phi 21.6, strain 2.74
    assert pub.shear_angle_deg(0.40 / 0.15, 10.0) == pytest.approx(21.555, rel=5e-3)
    assert pub.shear_strain(0.40 / 0.15, 10.0) == pytest.approx(2.736, rel=5e-3)


@pytest.mark.parametrize(
    ("cut", "k_eff", "h_eff"),
    [
        # chord of the engaged edge, plane geometry worked by hand (Colwell 1954)
        ((0.1, 0.2, 90.0, 0.4), 26.77, 0.04504),
        ((0.05, 0.1, 90.0, 0.4), 19.05, 0.01632),
        ((0.1, 1.0, 45.0, 0.8), 35.90, 0.05864),
        ((0.2, 2.0, 90.0, 0.4), 75.96, 0.19403),
    ],
)
def test_chord_section(cut, k_eff, h_eff):
    angle, h, b, _ = pub.chord_section(*cut)
    assert angle == pytest.approx(k_eff, rel=1e-3)
    assert h == pytest.approx(h_eff, rel=1e-3)
    assert h * b == pytest.approx(cut[0] * cut[1])


def test_greatest_thickness_on_the_arc():
    # f sqrt(2q - q^2), plane geometry: f 0.1, depth half the nose
    assert pub.chord_section(0.1, 0.2, 90.0, 0.4)[3] == pytest.approx(0.08660, rel=1e-3)


@pytest.mark.parametrize(
    ("up", "side", "radius", "pitch", "tilt"),
    [
        # integrated particle paths of the same motion, 10 degrees of flow, two digits
        (2.0, 1e9, 1.97, 2.2, 0.0),
        (2.0, 8.0, 1.91, 2.0, 14.0),
        (2.0, 4.0, 1.77, 1.7, 27.0),
        (2.0, 2.0, 1.40, 1.1, 45.0),
        (4.0, 2.0, 1.78, 0.9, 63.0),
        (8.0, 2.0, 1.94, 0.5, 76.0),
    ],
)
def test_screw_of_the_chip(up, side, radius, pitch, tilt):
    found = pub.screw(up, side, 10.0)
    assert found[0] == pytest.approx(radius, abs=0.011)
    assert found[1] == pytest.approx(pitch, abs=0.06)
    assert found[2] == pytest.approx(tilt, abs=0.6)


def test_beams_of_roark():
    # F 50 N, L 100, D 10, E 207 GPa: hand values of the three holdings
    bar = {"modulus_mpa": 207e3}
    free = pub.beam_mm(50.0, 100.0, 100.0, 10.0, holding="chuck", **bar)
    assert free == pytest.approx(0.16402, rel=1e-3)
    held = pub.beam_mm(50.0, 58.58, 100.0, 10.0, holding="chuck and centre", **bar)
    assert held == pytest.approx(0.004828, rel=1e-3)
    centres = pub.beam_mm(50.0, 50.0, 100.0, 10.0, holding="between centres", **bar)
    assert centres == pytest.approx(0.010252, rel=1e-3)


def test_films_of_titanium_and_iron():
    # Mohamed 2022 refitted (K0 6.134e-6, E 191.745): 35.0 nm after 1800 s at 500 C
    assert pub.film_nm(6.134e-6, 191.745, 500.0, 1800.0) == pytest.approx(35.0, rel=1e-2)
    # iron, extrapolated law of Mi 2022: 20 nm after 1 s at 455 C, 58 nm at 515 C
    assert pub.film_nm(5.34e-4, 168.9, 455.0, 1.0) == pytest.approx(20.0, rel=3e-2)
    assert pub.film_nm(5.34e-4, 168.9, 515.0, 1.0) == pytest.approx(58.0, rel=12e-2)


def test_groove_of_a_parallel_step():
    # circle through the rim with the rake face as tangent: chord geometry by hand
    radius = pub.groove_radius_mm(1.2, 0.25, 0.2)
    assert np.hypot(1.0, radius - 0.25) == pytest.approx(radius)
