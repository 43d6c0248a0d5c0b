"""How far work, machine and tool give way, what that leaves on the diameter, and heat growth.

Beam formulas of strength-of-materials texts; E in N/mm², I in mm⁴, x from the chuck.
"""

from __future__ import annotations

import math

__all__ = [
    "both_pinned_largest_mm",
    "both_pinned_mm",
    "cantilever_end_mm",
    "cantilever_mm",
    "error_left_share",
    "longest_overhang_ratio",
    "machine_deflection_mm",
    "propped_mm",
    "propped_worst_place_mm",
    "round_second_moment_mm4",
    "square_second_moment_mm4",
    "thermal_growth_mm",
    "tool_bending_mm",
]

#: Where a bar in chuck and centre gives way most, as a share of its length: 2 - sqrt 2.
PROPPED_WORST_SHARE = 2.0 - math.sqrt(2.0)


def round_second_moment_mm4(diameter_mm: float) -> float:
    """Return pi D⁴ / 64, mm⁴."""
    return math.pi * diameter_mm**4 / 64.0


def square_second_moment_mm4(width_mm: float, height_mm: float) -> float:
    """Return b h³ / 12, mm⁴."""
    return width_mm * height_mm**3 / 12.0


def cantilever_mm(force_n: float, x_mm: float, *, e_n_mm2: float, i_mm4: float) -> float:
    """Return the deflection under a force at x on a bar held in a chuck only, mm [bansal]."""
    return force_n * x_mm**3 / (3.0 * e_n_mm2 * i_mm4)


def cantilever_end_mm(
    force_n: float, x_mm: float, length_mm: float, *, e_n_mm2: float, i_mm4: float
) -> float:
    """Return how far the free end moves when the force stands at x, mm [bansal]."""
    return force_n * x_mm**2 * (3.0 * length_mm - x_mm) / (6.0 * e_n_mm2 * i_mm4)


def propped_mm(
    force_n: float, x_mm: float, length_mm: float, *, e_n_mm2: float, i_mm4: float
) -> float:
    """Return the deflection under a force at x on a bar in chuck and centre, mm [roark]."""
    rest = length_mm - x_mm
    return (
        force_n
        * x_mm**3
        * rest**2
        * (3.0 * length_mm + rest)
        / (12.0 * e_n_mm2 * i_mm4 * length_mm**3)
    )


def propped_worst_place_mm(length_mm: float, cut_length_mm: float) -> float:
    """Return where on a propped bar the tool bends it most within the cut from the centre."""
    return max(PROPPED_WORST_SHARE * length_mm, length_mm - cut_length_mm)


def both_pinned_mm(
    force_n: float, x_mm: float, length_mm: float, *, e_n_mm2: float, i_mm4: float
) -> float:
    """Return the deflection under a force at x on a bar between centres, mm [bansal]."""
    rest = length_mm - x_mm
    return force_n * x_mm**2 * rest**2 / (3.0 * e_n_mm2 * i_mm4 * length_mm)


def both_pinned_largest_mm(
    force_n: float, x_mm: float, length_mm: float, *, e_n_mm2: float, i_mm4: float
) -> float:
    """Return the largest deflection of a bar between centres, wherever it is, mm [bansal]."""
    short = min(x_mm, length_mm - x_mm)
    return float(
        force_n
        * short
        * (length_mm**2 - short**2) ** 1.5
        / (9.0 * math.sqrt(3.0) * e_n_mm2 * i_mm4 * length_mm)
    )


def longest_overhang_ratio(
    deflection_mm: float, diameter_mm: float, force_n: float, *, e_n_mm2: float
) -> float:
    """Return the length over diameter at which a chucked bar bends just so far.

    >>> round(longest_overhang_ratio(0.01, 20, 50, e_n_mm2=207_000), 3)
    4.959
    """
    beam = 64.0 / (3.0 * math.pi)
    return float((deflection_mm * e_n_mm2 * diameter_mm / (beam * force_n)) ** (1.0 / 3.0))


def tool_bending_mm(
    force_n: float, overhang_mm: float, *, width_mm: float, height_mm: float, e_n_mm2: float
) -> float:
    """Return how far the tip of a bar-shaped tool bends under the cutting force, mm."""
    i_mm4 = square_second_moment_mm4(width_mm, height_mm)
    return cantilever_mm(force_n, overhang_mm, e_n_mm2=e_n_mm2, i_mm4=i_mm4)


def machine_deflection_mm(force_n: float, stiffness_n_um: float) -> float:
    """Return how far lathe and tool post give way under a radial force, mm."""
    return force_n / stiffness_n_um / 1000.0


def error_left_share(cutting_n_mm: float, system_n_mm: float) -> float:
    """Return the share of an uneven diameter that is still there after one pass.

    ``cutting_n_mm`` is the radial force gained for each mm of depth.
    """
    return cutting_n_mm / (system_n_mm + cutting_n_mm)


def thermal_growth_mm(length_mm: float, rise_k: float, alpha_1e6_k: float) -> float:
    """Return how much a length or diameter grows when it is warm, mm [callister].

    >>> round(1000 * thermal_growth_mm(25, 60, 17.2), 1)
    25.8
    """
    return length_mm * rise_k * alpha_1e6_k * 1e-6
