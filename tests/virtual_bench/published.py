"""Published relations of metal cutting, as pure functions of numbers or arrays.

Every function names its relation; ``test_published.py`` checks them against printed rows.
Lengths mm, angles degrees, forces N, speeds m/min, stresses N/mm2 unless a name says other.
All of them work on numpy arrays and on plain numbers.
"""

from __future__ import annotations

import numpy as np

__all__ = [
    "beam_mm",
    "bend_strain",
    "chatter_depth_mm",
    "chord_section",
    "cook_rise_k",
    "cutting_speed_m_min",
    "film_nm",
    "groove_radius_mm",
    "power_law_force_n",
    "power_w",
    "screw",
    "shear_angle_deg",
    "shear_strain",
    "taylor_life_min",
    "torque_n_m",
]

GAS_J_MOL_K = 8.314
ZERO_C_K = 273.15


def cutting_speed_m_min(spindle_rev_min, diameter_mm):
    """Return the cutting speed: pi D n / 1000 (DIN 6580)."""
    return np.pi * diameter_mm * spindle_rev_min / 1000.0


def chord_section(feed_mm_rev, depth_mm, kapr_deg, re_mm):
    """Return mean angle, thickness and width of the uncut chip, and its greatest thickness.

    Colwell 1954: the chip leaves square to the chord of the engaged edge. A depth that ends
    inside the nose engages the arc alone.

    Returns
    -------
    tuple of float or ndarray
        k_eff degrees, h_eff mm, b_eff mm, h_max mm.
    """
    feed, depth = np.asarray(feed_mm_rev, float), np.asarray(depth_mm, float)
    kapr = np.radians(kapr_deg)
    inside = re_mm * (1.0 - np.cos(kapr))
    arc = np.sqrt(np.maximum(2.0 * re_mm * depth - depth**2, 0.0))
    straight = (depth - inside) / np.tan(kapr) + re_mm * np.sin(kapr)
    axial = np.where(depth >= inside, straight, arc)
    k_eff = np.arctan2(depth, axial + feed / 2.0)
    h_eff = feed * np.sin(k_eff)
    share = np.clip(depth / max(re_mm, 1e-9), 0.0, 1.0)
    h_arc = feed * np.sqrt(2.0 * share - share**2)
    h_max = np.where(depth >= inside, np.maximum(feed * np.sin(kapr), h_eff), h_arc)
    return np.degrees(k_eff), h_eff, depth * feed / h_eff, h_max


def shear_angle_deg(compression, rake_deg):
    """Return the shear angle from thickness compression h'/h and rake (Merchant 1945)."""
    ratio, rake = 1.0 / np.asarray(compression, float), np.radians(rake_deg)
    return np.degrees(np.arctan2(ratio * np.cos(rake), 1.0 - ratio * np.sin(rake)))


def shear_strain(compression, rake_deg):
    """Return the shear strain of the chip: cot phi + tan(phi - rake)."""
    phi = np.radians(shear_angle_deg(compression, rake_deg))
    return 1.0 / np.tan(phi) + np.tan(phi - np.radians(rake_deg))


def bend_strain(thickness_mm, radius_mm, opened_radius_mm, share=0.5):
    """Return the bending strain of a chip opened from one radius to another (Nakayama 1962)."""
    return share * thickness_mm * (1.0 / radius_mm - 1.0 / opened_radius_mm)


def groove_radius_mm(width_mm, height_mm, contact_mm):
    """Return the curl radius that a groove of this width forces on the chip.

    Circle through the end of the contact and the far rim: (W - l)^2 / 2H + H / 2
    (Nakayama 1962; Shaw, Metal Cutting Principles; from memory).
    """
    free = np.maximum(width_mm - contact_mm, 0.2 * width_mm)
    return free**2 / (2.0 * height_mm) + height_mm / 2.0


def screw(up_radius_mm, side_radius_mm, flow_deg):
    """Return radius, pitch and axis angle of the coil a chip winds itself into.

    Rigid-body kinematics of the leaving chip (Nakayama and Arai 1992; Kharkevich and
    Venuvinod 1999): unit velocity (sin e, cos e, 0) and spin (1/Ru, 0, 1/Rs).

    Returns
    -------
    tuple of float or ndarray
        Radius mm, pitch mm (size only), angle between chip width and axis, degrees.
    """
    flow = np.radians(flow_deg)
    up, side = 1.0 / np.asarray(up_radius_mm, float), 1.0 / np.asarray(side_radius_mm, float)
    spin2 = up**2 + side**2
    along = np.sin(flow) * up
    cross = np.sqrt(np.maximum(spin2 - along**2, 0.0))
    angle = np.degrees(np.arctan2(side, up))
    return cross / spin2, 2.0 * np.pi * np.abs(along) / spin2, angle


def power_law_force_n(coefficient_n, feed_mm_rev, depth_mm, feed_power=0.85, depth_power=0.98):
    """Return the cutting force C f^x a^y (P.C. Sharma, Production Engineering, Ex 14.14)."""
    return coefficient_n * np.power(feed_mm_rev, feed_power) * np.power(depth_mm, depth_power)


def power_w(force_n, speed_m_min):
    """Return cutting power, W."""
    return force_n * speed_m_min / 60.0


def torque_n_m(force_n, diameter_mm):
    """Return the torque of the cutting force about the spindle, N m."""
    return force_n * diameter_mm / 2000.0


def cook_rise_k(energy_j_mm3, heat_j_mm3_k, speed_mm_s, thickness_mm, diffusivity_mm2_s):
    """Return the mean rise at the interface (Cook 1973); good for ranking, not for a value."""
    peclet = speed_mm_s * thickness_mm / diffusivity_mm2_s
    return 0.4 * energy_j_mm3 / heat_j_mm3_k * np.power(peclet, 1.0 / 3.0)


def taylor_life_min(speed_m_min, constant_m_min, exponent):
    """Return the edge life of v T^n = C (Taylor 1907), minutes."""
    return np.power(constant_m_min / speed_m_min, 1.0 / exponent)


def film_nm(rate_m2_s, energy_kj_mol, temperature_c, seconds):
    """Return the oxide film of the parabolic law d^2 = K0 exp(-E/RT) t, nm."""
    kelvin = np.asarray(temperature_c, float) + ZERO_C_K
    rate = rate_m2_s * np.exp(-1000.0 * energy_kj_mol / (GAS_J_MOL_K * kelvin))
    return 1e9 * np.sqrt(rate * seconds)


def beam_mm(force_n, at_mm, length_mm, diameter_mm, *, modulus_mpa, holding):
    """Return the bending of a round bar under the tool (Roark's cases).

    ``holding``: ``chuck`` (cantilever), ``chuck and centre`` (fixed and pinned), anything
    else pinned at both ends. ``at_mm`` counts from the chuck.
    """
    inertia = np.pi * diameter_mm**4 / 64.0
    rest = length_mm - at_mm
    if holding == "chuck":
        return force_n * at_mm**3 / (3.0 * modulus_mpa * inertia)
    if holding == "chuck and centre":
        lever = at_mm**3 * rest**2 * (3.0 * length_mm + rest)
        return force_n * lever / (12.0 * modulus_mpa * inertia * length_mm**3)
    return force_n * at_mm**2 * rest**2 / (3.0 * modulus_mpa * inertia * length_mm)


def chatter_depth_mm(stiffness_n_mm, damping, cutting_stiffness_n_mm2):
    """Return the width below which no speed chatters: 2 z (1 + z) k / K (Tlusty; memory)."""
    return 2.0 * damping * (1.0 + damping) * stiffness_n_mm / cutting_stiffness_n_mm2
