"""From the inputs of a row in ``cutting.toml`` about bars to the numbers that a text prints.

Only unit conversions and calls of the advisor; no value of a text stands here.
"""

from __future__ import annotations

from advisor import stiffness
from advisor.tables import material


def cantilever_bansal(force_n, x_mm, e, i):
    return {"mm": stiffness.cantilever_mm(force_n, x_mm, e_n_mm2=e, i_mm4=i)}


def cantilever_end(force_n, x_mm, length_mm, e, i):
    return {"mm": stiffness.cantilever_end_mm(force_n, x_mm, length_mm, e_n_mm2=e, i_mm4=i)}


def pinned(force_n, x_mm, length_mm, e, i):
    beam = {"e_n_mm2": e, "i_mm4": i}
    return {
        "under_load_mm": stiffness.both_pinned_mm(force_n, x_mm, length_mm, **beam),
        "largest_mm": stiffness.both_pinned_largest_mm(force_n, x_mm, length_mm, **beam),
    }


def _bar(diameter_mm, e_gpa):
    return {
        "e_n_mm2": 1000 * e_gpa,
        "i_mm4": stiffness.round_second_moment_mm4(diameter_mm),
    }


def cantilever_bar(force_n, length_mm, diameter_mm, e_gpa):
    mm = stiffness.cantilever_mm(force_n, length_mm, **_bar(diameter_mm, e_gpa))
    return {"mm": mm, "diameter_error_mm": 2 * mm}


def propped_bar(force_n, x_mm, length_mm, diameter_mm, e_gpa):
    return {"mm": stiffness.propped_mm(force_n, x_mm, length_mm, **_bar(diameter_mm, e_gpa))}


def centres_bar(force_n, x_mm, length_mm, diameter_mm, e_gpa):
    mm = stiffness.both_pinned_mm(force_n, x_mm, length_mm, **_bar(diameter_mm, e_gpa))
    return {"mm": mm}


def propped_worst(length_mm):
    place = stiffness.propped_worst_place_mm(length_mm, length_mm)
    beam = {"e_n_mm2": 1.0, "i_mm4": 1.0}
    largest = stiffness.propped_mm(1.0, place, length_mm, **beam)
    return {
        "place": place,
        "inverse": 1 / largest,
        "ratio": stiffness.cantilever_mm(1.0, length_mm, **beam) / largest,
    }


def overhang_ratio(deflection_mm, diameter_mm, force_n, e_gpa):
    ratio = stiffness.longest_overhang_ratio(
        deflection_mm, diameter_mm, force_n, e_n_mm2=1000 * e_gpa
    )
    return {"ratio": ratio}


def tool_bit(force_n, overhang_mm, side_mm, e_gpa):
    mm = stiffness.tool_bending_mm(
        force_n, overhang_mm, width_mm=side_mm, height_mm=side_mm, e_n_mm2=1000 * e_gpa
    )
    return {"mm": mm}


def error_left(cutting_n_mm, system_n_mm):
    return {"share": stiffness.error_left_share(cutting_n_mm, system_n_mm)}


def growth(diameter_mm, rise_k):
    return {
        name: 1000
        * stiffness.thermal_growth_mm(diameter_mm, rise_k, material(name).expansion_1e6_k.value)
        for name in ("304", "6061", "Ti-6Al-4V", "1018")
    }
