"""Cutting mechanics as plain functions: numbers with units in, numbers with units out.

``section`` knows the uncut chip, ``roughness`` the ridges it leaves, ``force`` what it
takes and ``power`` what that asks of spindle and motor; ``chip`` and ``orthogonal`` read
a chip afterwards, ``edge`` compares what edges suffer; ``deflection`` and ``compliance``
know how work, tool and lathe give way. Import from here or from the module.
Nothing here knows a metal, a machine or an advice. Every function refuses numbers that
are not finite or out of range with ValueError.

Sources by key; "from memory" means that the work itself was not at hand and the value
is the commonly quoted one.

[astakhov] V. P. Astakhov in J. P. Davim (ed.), Modern Machining Technology, p. 34.
[bansal] R. K. Bansal, A Textbook of Strength of Materials, ch. 12-13.
[basuray1977] P. K. Basuray et al., stagnation angle; from memory.
[brammertz1961] P. Brammertz, Die Entstehung der Oberflaechenrauheit; from memory.
[colwell1954] L. V. Colwell, Trans. ASME 76, 199, through a later note.
[cook1973] N. H. Cook, Tool wear and tool life; from memory.
[degner] W. Degner et al., Spanende Formung; from memory.
[geometry] plane geometry; worked at the function.
[ghosh] A. Ghosh, A. K. Mallik, Manufacturing Science, ch. 4.
[groover] M. P. Groover, Fundamentals of Modern Manufacturing; from memory where said.
[jawahir1993] I. S. Jawahir, C. A. van Luttervelt, CIRP Annals 42, 659; from memory.
[kalpakjian] S. Kalpakjian, S. R. Schmid, Manufacturing Engineering and Technology, 4th ed.
[kienzle1957] O. Kienzle, H. Victor, Spezifische Schnittkraefte; as in [tabellenbuch].
[koenigsberger] F. Koenigsberger, J. Tlusty, Machine Tool Structures; from memory.
[liu2006] X. Liu, R. E. DeVor, S. G. Kapoor, minimum chip thickness; from memory.
[mechanics] elementary mechanics.
[merchant1945] M. E. Merchant, J. Appl. Phys. 16, 267; as in [ghosh].
[nakayama1962] K. Nakayama, chip breaking by bending; from memory.
[paucksch] E. Paucksch et al., Zerspantechnik; from memory.
[roark] Roark's Formulas for Stress and Strain, fixed-pinned beam; from memory.
[sharma] P. C. Sharma, A Textbook of Production Engineering, ch. 14.
[shaw] M. C. Shaw, Metal Cutting Principles; from memory.
[stahl2007] J.-E. Stahl, C. Andersson, Swedish Production Symposium 2007, abstract.
[tabellenbuch] Tabellenbuch Metall (Europa-Lehrmittel), as quoted in exam notes.
[vogler2004] M. P. Vogler et al., minimum chip thickness by phase; from memory.
[woxen1932] R. Woxen, equivalent chip thickness; from memory.
"""

from __future__ import annotations

from advisor.mechanics.chip import (
    chip_bending_strain,
    chip_ratio,
    chip_ratio_from_length,
    compression_ratio,
    weighed_chip_thickness_mm,
)
from advisor.mechanics.compliance import (
    diameter_error_mm,
    error_copy_share,
    machine_mm,
    overhang_limit,
    thermal_growth_mm,
    tool_bending_mm,
)
from advisor.mechanics.deflection import (
    Sag,
    between_centres_largest_mm,
    between_centres_mm,
    between_centres_worst,
    cantilever_mm,
    chuck_centre_mm,
    chuck_centre_worst,
    second_moment_rectangle_mm4,
    second_moment_round_mm4,
)
from advisor.mechanics.edge import (
    cook_rise_k,
    taylor_life_min,
)
from advisor.mechanics.force import (
    BAND_SHARE,
    PROCESS_CORRECTION,
    THRUST_SHARE,
    TOOL_MATERIAL_CORRECTION,
    WEAR_CORRECTION,
    Corrections,
    Force,
    cutting_force,
    rake_correction,
    specific_force_n_mm2,
    speed_correction,
    thin_chip_factor,
)
from advisor.mechanics.orthogonal import (
    CircleForces,
    ShearPlane,
    circle_forces,
    friction_angle_deg,
    friction_share,
    lee_shaffer_shear_angle_deg,
    merchant_shear_angle_deg,
    shear_angle_deg,
    shear_plane,
    shear_strain,
    strain_rate_s,
)
from advisor.mechanics.power import (
    force_from_power_n,
    machining_time_min,
    motor_power_w,
    power_w,
    removal_mm3_s,
    removal_turned_mm3_s,
    speed_m_min,
    spindle_power_w,
    spindle_rev_min,
    torque_available_nm,
    torque_nm,
    unit_power_hp_min_in3,
    unit_power_j_mm3,
)
from advisor.mechanics.roughness import (
    roughness_brammertz_um,
    roughness_exact_um,
    roughness_mean_um,
    roughness_pointed_um,
    roughness_um,
)
from advisor.mechanics.section import (
    ChipSection,
    MinimumDepth,
    chip_section,
    hmin_ratio,
    minimum_depth_mm,
    minimum_thickness_mm,
    nose_limit_mm,
)

__all__ = [
    "BAND_SHARE",
    "PROCESS_CORRECTION",
    "THRUST_SHARE",
    "TOOL_MATERIAL_CORRECTION",
    "WEAR_CORRECTION",
    "ChipSection",
    "CircleForces",
    "Corrections",
    "Force",
    "MinimumDepth",
    "Sag",
    "ShearPlane",
    "between_centres_largest_mm",
    "between_centres_mm",
    "between_centres_worst",
    "cantilever_mm",
    "chip_bending_strain",
    "chip_ratio",
    "chip_ratio_from_length",
    "chip_section",
    "chuck_centre_mm",
    "chuck_centre_worst",
    "circle_forces",
    "compression_ratio",
    "cook_rise_k",
    "cutting_force",
    "diameter_error_mm",
    "error_copy_share",
    "force_from_power_n",
    "friction_angle_deg",
    "friction_share",
    "hmin_ratio",
    "lee_shaffer_shear_angle_deg",
    "machine_mm",
    "machining_time_min",
    "merchant_shear_angle_deg",
    "minimum_depth_mm",
    "minimum_thickness_mm",
    "motor_power_w",
    "nose_limit_mm",
    "overhang_limit",
    "power_w",
    "rake_correction",
    "removal_mm3_s",
    "removal_turned_mm3_s",
    "roughness_brammertz_um",
    "roughness_exact_um",
    "roughness_mean_um",
    "roughness_pointed_um",
    "roughness_um",
    "second_moment_rectangle_mm4",
    "second_moment_round_mm4",
    "shear_angle_deg",
    "shear_plane",
    "shear_strain",
    "specific_force_n_mm2",
    "speed_correction",
    "speed_m_min",
    "spindle_power_w",
    "spindle_rev_min",
    "strain_rate_s",
    "taylor_life_min",
    "thermal_growth_mm",
    "thin_chip_factor",
    "tool_bending_mm",
    "torque_available_nm",
    "torque_nm",
    "unit_power_hp_min_in3",
    "unit_power_j_mm3",
    "weighed_chip_thickness_mm",
]
