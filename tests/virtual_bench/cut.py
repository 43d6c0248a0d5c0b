"""From settings to the physics of a cut: section, chip, curl, force, bending, heat.

Works on arrays of settings at once, so that a whole lathe can be searched in one call.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from . import published as pub

if TYPE_CHECKING:
    from .world import Blade, Fault, World

__all__ = ["Bar", "Physics", "physics"]

#: Reference state about which relations are weakened or reversed.
REF_H_MM, REF_V_M_MIN, REF_RAKE_DEG, REF_CHIP_MM, REF_SIDE = 0.1, 30.0, 6.0, 0.22, 1.1
#: Exponents, from memory of chip studies: compression falls weakly with thickness and speed
#: (Kronenberg, Merchant), natural curl widens with both (Trent and Wright).
COMPRESSION_H, COMPRESSION_V, CURL_H, CURL_V, CURL_RAKE = 0.15, 0.10, 0.3, 0.15, 0.02
#: A broken edge is blunter than a sharp one by this factor; ours.
CHIPPED_BLUNT = 2.5
CONTACT_OVER_CHIP = 1.5  # contact length over chip thickness; memory (Sadik and Lindstrom)
FORCE_RAKE = 0.015  # force falls 1.5 % per degree of rake; memory
THRUST_FRESH, THRUST_WORN = 0.5, 0.8  # thrust over cutting force; memory (Degner)
UNIT_H_MM = 0.25  # thickness at which Groover tabulates unit energy


@dataclass(frozen=True, slots=True)
class Bar:
    """The work in the lathe now; mm."""

    diameter_mm: float
    stickout_mm: float
    cut_length_mm: float
    holding: str


@dataclass(frozen=True, slots=True)
class Physics:
    """What a cut does, one number per setting; arrays of one shape."""

    speed_m_min: np.ndarray
    h_eff_mm: np.ndarray
    h_max_mm: np.ndarray
    least_mm: np.ndarray
    chip_mm: np.ndarray
    width_mm: np.ndarray
    up_mm: np.ndarray
    coil_mm: np.ndarray
    pitch_mm: np.ndarray
    tilt_deg: np.ndarray
    strain_ratio: np.ndarray
    shear_ratio: np.ndarray
    built_up: np.ndarray
    force_n: np.ndarray
    torque_n_m: np.ndarray
    power_w: np.ndarray
    bend_mm: np.ndarray
    chatter_ratio: np.ndarray
    chip_c: np.ndarray
    film_nm: np.ndarray | None


def physics(world: World, blade: Blade, fault: Fault, bar: Bar, *, speed, feed, depth, oil):
    """Return the physics of cuts at these settings (rev/min, mm/rev, mm on the side).

    ``oil`` is true where the cut is wet. Settings may be arrays that broadcast together.
    """
    s = world.strength
    settings = (np.asarray(x, float) for x in (speed, feed, depth))
    speed, feed, depth = np.broadcast_arrays(*settings)
    v = pub.cutting_speed_m_min(speed, bar.diameter_mm - depth)
    k_eff, h, b, h_max = pub.chord_section(feed, depth, blade.kapr_deg, blade.re_mm)
    wear = min(fault.wear, 1.5)
    least = world.least_chip * world.radius_um / 1000.0 * (1.0 + wear) * np.ones_like(h)
    if fault.chipped:
        least = least * CHIPPED_BLUNT

    built = _built_up(world, blade, v, oil=oil)
    steeper = -0.012 * (blade.rake_deg - REF_RAKE_DEG)
    blunt = fault.thicker * (1.0 + 0.15 * wear)
    compression = 1.0 + (world.compression - 1.0) * blunt * np.exp(
        -COMPRESSION_H * s["thickness-compression"] * np.log(h / REF_H_MM)
        - COMPRESSION_V * s["speed-compression"] * np.log(v / REF_V_M_MIN)
        + steeper
    )
    chip = compression * h
    up = _up_curl(world, blade, v, chip, oil=oil) * fault.curl
    up = up * (1.0 + 0.25 * wear) * (1.0 + 0.3 * built)
    side_size = b * (1.0 + depth / max(blade.re_mm, 0.05))
    side = world.side_curl * REF_SIDE * np.power(side_size / REF_SIDE, s["depth-side-curl"])
    coil, pitch, tilt = pub.screw(up, side, world.flow_deg)

    thickness = REF_CHIP_MM * np.power(chip / REF_CHIP_MM, s["thickness-strain"])
    strain = pub.bend_strain(thickness, up, world.opening * up) * np.cos(np.radians(tilt))
    shear = pub.shear_strain(np.maximum(compression, 1.05), blade.rake_deg)

    force = _force(
        world, blade, feed, depth, wear=wear, least_over_h=least / h, chipped=fault.chipped
    )
    thrust = force * (THRUST_FRESH + (THRUST_WORN - THRUST_FRESH) * min(wear, 1.0))
    radial = thrust * np.cos(np.radians(k_eff))
    soft = _softness(world, bar)
    energy = force / (feed * depth) / 1000.0
    peclet = np.power(v / REF_V_M_MIN, s["speed-heat"]) * REF_V_M_MIN
    rise = pub.cook_rise_k(
        energy, world.metal.density_heat_j_mm3_k, 1000.0 * peclet / 60.0, h,
        world.metal.diffusivity_mm2_s,
    )  # fmt: skip
    chip_c = 20.0 + world.body_share * rise * (0.85 ** s["oil"] if oil else 1.0)
    film = None
    if world.metal.film is not None:
        seconds = world.hot_s * (0.06 ** s["oil"] if oil else 1.0)
        film = pub.film_nm(*world.metal.film, np.minimum(chip_c, 1400.0), seconds)
    stiff = 1.0 / np.maximum(soft, 1e-9)
    directional = 0.5 * force / (feed * depth)
    limit = pub.chatter_depth_mm(stiff, world.damping, directional)
    return Physics(
        speed_m_min=v,
        h_eff_mm=h,
        h_max_mm=h_max,
        least_mm=least,
        chip_mm=chip,
        width_mm=1.1 * b,
        up_mm=up,
        coil_mm=coil,
        pitch_mm=pitch,
        tilt_deg=tilt,
        strain_ratio=strain / world.break_strain,
        shear_ratio=shear / world.shear_fracture,
        built_up=built,
        force_n=force,
        torque_n_m=pub.torque_n_m(force, bar.diameter_mm),
        power_w=pub.power_w(force, v),
        bend_mm=radial * soft,
        chatter_ratio=b / limit,
        chip_c=chip_c,
        film_nm=film,
    )


def _built_up(world, blade, v, *, oil):
    """Return how much of an edge builds up, 0-1: a hump over the metal's speeds."""
    if world.metal.built_up_m_min is None:
        return np.zeros_like(v)
    low, high = np.log(world.metal.built_up_m_min)
    away = (np.log(v) - (low + high) / 2.0) / ((high - low) / 2.0)
    less = np.clip(1.0 - (blade.rake_deg - REF_RAKE_DEG) / 25.0, 0.3, 1.2)
    hump = np.clip(1.0 - away**2, 0.0, 1.0) * less
    return np.clip(hump * (0.5 ** world.strength["oil"] if oil else 1.0), 0.0, 1.0)


def _up_curl(world, blade, v, chip, *, oil):
    """Return the up-curl radius: free curl of a flat face, tightened by a groove."""
    s = world.strength
    free = world.up_curl_mm * np.exp(
        CURL_H * s["thickness-curl"] * np.log(chip / REF_CHIP_MM)
        + CURL_V * s["speed-curl"] * np.log(v / REF_V_M_MIN)
        + CURL_RAKE * s["rake-curl"] * (blade.rake_deg - REF_RAKE_DEG)
    )
    if oil:
        free = free * 0.9 ** s["oil"]
    if not blade.groove:
        return free
    forced = pub.groove_radius_mm(
        world.groove_width_mm, world.groove_height_mm, CONTACT_OVER_CHIP * chip
    )
    return free * np.power(np.minimum(forced / free, 1.0), s["groove-curl"])


def _force(world, blade, feed, depth, *, wear, least_over_h, chipped):
    """Return the true cutting force, N: power law, blunt edge, ploughing of thin chips."""
    coefficient = 1000.0 * world.metal.unit_energy_j_mm3 * UNIT_H_MM**0.15
    factor = world.force_factor * blade.kind.force_factor
    factor *= 1.0 - FORCE_RAKE * (blade.rake_deg - REF_RAKE_DEG)
    factor *= 1.0 + 0.3 * min(wear, 1.0) + (0.3 if chipped else 0.0)
    ploughing = 1.0 + 0.3 * np.minimum(least_over_h, 2.0)
    return factor * ploughing * pub.power_law_force_n(coefficient, feed, depth)


def _softness(world, bar):
    """Return the compliance at the tool where the bar gives most, mm/N."""
    length = bar.stickout_mm
    worst = {"chuck": 1.0, "chuck and centre": 0.586}.get(bar.holding, 0.5) * length
    at = min(worst, bar.cut_length_mm) if bar.holding == "chuck" else worst
    bar_soft = pub.beam_mm(
        1.0,
        at,
        length,
        bar.diameter_mm,
        modulus_mpa=world.metal.modulus_mpa,
        holding=bar.holding,
    )
    return bar_soft + 1.0 / world.stiffness_n_mm
