"""Which way things go when a cut changes, and what nonsense is refused.

Signs and powers are common to the texts that ``advisor.mechanics`` lists; limiting cases
are plane geometry. No expected value below comes from the code.
"""

from __future__ import annotations

import inspect
import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

import advisor.mechanics as cut

STEEL, TITANIUM = 207_000.0, 114_000.0  # N/mm2: Callister appendix B.2, data sheet
# The least and the most that a small lathe sees; wider would only test rounding.
FEED = st.floats(0.01, 0.5)
DEPTH = st.floats(0.02, 4.0)
NOSE = st.floats(0.05, 1.6)
KAPR = st.floats(30.0, 120.0)
MORE = st.floats(1.05, 3.0)
METAL = st.tuples(st.floats(500.0, 3500.0), st.floats(0.1, 0.3))  # kc1.1 and mc
# Sums and products of a dozen roundings of 1e-16 each, with room.
ROUNDING = 1e-9


def _force(feed, depth, kapr=90.0, re=0.4, metal=(2000.0, 0.25)):
    return cut.cutting_force(cut.chip_section(feed, depth, kapr, re), *metal)


@given(feed=FEED, depth=DEPTH, kapr=KAPR, re=NOSE, metal=METAL, more=MORE)
def test_force_rises_with_feed_but_less_than_the_feed(*, feed, depth, kapr, re, metal, more):
    assume(feed * more <= re)  # beyond, the end cutting edge shapes the chip
    before = _force(feed, depth, kapr, re, metal).cutting_n
    after = _force(feed * more, depth, kapr, re, metal).cutting_n
    assert before < after < more * before


@given(feed=FEED, depth=DEPTH, kapr=KAPR, re=NOSE, metal=METAL, more=MORE)
def test_force_rises_with_depth(*, feed, depth, kapr, re, metal, more):
    before = _force(feed, depth, kapr, re, metal).cutting_n
    assert _force(feed, depth * more, kapr, re, metal).cutting_n > before


@given(feed=FEED, depth=DEPTH, kapr=KAPR, metal=METAL, more=MORE)
def test_force_of_a_pointed_tool_is_in_proportion_to_depth(*, feed, depth, kapr, metal, more):
    before = _force(feed, depth, kapr, 0.0, metal).cutting_n
    after = _force(feed, depth * more, kapr, 0.0, metal).cutting_n
    assert after == pytest.approx(more * before, rel=ROUNDING)


@given(st.floats(0.01, 2.0), METAL, MORE)
def test_specific_force_falls_as_the_chip_gets_thicker(thickness, metal, more):
    thin = cut.specific_force_n_mm2(thickness, *metal)
    assert cut.specific_force_n_mm2(thickness * more, *metal) < thin


@given(FEED, DEPTH, st.floats(30.0, 90.0), NOSE, MORE)
def test_a_shallow_cut_pushes_more_across(feed, depth, kapr, re, more):
    # Colwell: the shallower against the nose radius, the flatter the chord. Up to 90
    # degrees; past them the straight part leans the other way from the start.
    deep, shallow = _force(feed, depth, kapr, re), _force(feed, depth / more, kapr, re)
    assume(depth / more < re)
    assert shallow.passive_n / shallow.cutting_n > deep.passive_n / deep.cutting_n


@given(FEED, DEPTH, KAPR, NOSE)
def test_thickness_times_width_is_feed_times_depth(feed, depth, kapr, re):
    section = cut.chip_section(feed, depth, kapr, re)
    assert section.area_mm2 == pytest.approx(feed * depth, rel=ROUNDING)
    assert section.thickness_mm * section.width_mm == pytest.approx(feed * depth, rel=ROUNDING)
    assert 0.0 < section.thickness_max_mm <= feed
    assert section.engaged_mm >= depth * (1 - ROUNDING)  # no edge is shorter than its depth


@given(FEED, KAPR, NOSE)
def test_the_section_has_no_step_where_the_straight_edge_begins(feed, kapr, re):
    limit = cut.nose_limit_mm(re, kapr)
    below = cut.chip_section(feed, limit * (1 - 1e-7), kapr, re)
    above = cut.chip_section(feed, limit * (1 + 1e-7), kapr, re)
    # 1e-7 to each side in depth; angles answer with its root at worst, near 90 degrees.
    for name in ("thickness_mm", "width_mm", "engaged_mm", "k_eff_deg", "thickness_max_mm"):
        assert getattr(below, name) == pytest.approx(getattr(above, name), rel=1e-3), name


@pytest.mark.parametrize("kapr", [30.0, 45.0, 75.0, 90.0, 95.0])
def test_a_deep_cut_forgets_the_nose_radius(kapr):
    # At 200 nose radii arc and cusp are a hundredth of the edge at most.
    section = cut.chip_section(0.1, 80.0, kapr, 0.4)
    assert section.k_eff_deg == pytest.approx(kapr, abs=0.6)
    pointed = cut.chip_section(0.1, 80.0, kapr, 0.0)
    assert section.thickness_mm == pytest.approx(pointed.thickness_mm, rel=0.01)


def test_past_ninety_degrees_the_arc_cuts_square_somewhere():
    assert cut.chip_section(0.1, 1.0, 95.0, 0.4).thickness_max_mm == pytest.approx(0.1)
    assert cut.chip_section(0.1, 1.0, 95.0, 0.0).thickness_max_mm < 0.1


@given(st.floats(0.02, 0.2), st.floats(0.2, 1.6), st.floats(0.001, 0.019))
def test_at_the_weakest_depth_the_thickest_spot_just_cuts(feed, re, h_min):
    depth = cut.minimum_depth_mm(feed, re, h_min).weakest_mm
    at = cut.chip_section(feed, depth, 90.0, re).thickness_max_mm
    under = cut.chip_section(feed, depth / 2, 90.0, re).thickness_max_mm
    assert at == pytest.approx(h_min, rel=1e-6)  # 1 - cos loses digits at small angles
    assert under < h_min


def test_no_depth_helps_a_feed_thinner_than_the_edge_can_cut():
    least = cut.minimum_depth_mm(0.005, 0.4, 0.006)
    assert math.isinf(least.weakest_mm)
    assert math.isinf(least.for_effective_mm)


@given(st.floats(0.005, 0.2), st.floats(0.4, 1.6))
def test_ridges_grow_with_the_square_of_the_feed(feed, re):
    double = cut.roughness_um(2 * feed, re)
    assert double == pytest.approx(4 * cut.roughness_um(feed, re), rel=ROUNDING)
    assert cut.roughness_exact_um(feed, re) > cut.roughness_um(feed, re) * (1 - 1e-6)


def test_below_some_feed_the_surface_gets_rougher_again():
    # Brammertz: the ploughed part goes with 1/f^2.
    heights = [cut.roughness_brammertz_um(f, 0.8, 0.006) for f in (0.01, 0.05, 0.3)]
    assert heights[0] > heights[1] < heights[2]


@given(st.floats(1.0, 500.0), st.floats(5.0, 200.0), st.floats(3.0, 60.0))
def test_deflection_by_length_diameter_and_metal(force, length, diameter):
    i_mm4 = cut.second_moment_round_mm4(diameter)
    twice = cut.second_moment_round_mm4(2 * diameter)
    one = cut.cantilever_mm(force, length, STEEL, i_mm4)
    assert cut.cantilever_mm(force, 2 * length, STEEL, i_mm4) == pytest.approx(8 * one)
    assert cut.cantilever_mm(force, length, STEEL, twice) == pytest.approx(one / 16)
    titanium = cut.cantilever_mm(force, length, TITANIUM, i_mm4)
    assert titanium / one == pytest.approx(1.8, abs=0.05)  # 207 / 114, texts say 1.8
    # The centre: 33.97 by theory, which the trade rounds to 34.
    supported = cut.chuck_centre_worst(force, length, STEEL, i_mm4).deflection_mm
    assert round(one / supported) == 34


@given(st.floats(0.02, 0.98))
def test_nowhere_does_the_tool_bend_work_more_than_at_the_worst_place(share):
    here = {"force_n": 50.0, "length_mm": 100.0, "e_n_mm2": STEEL, "i_mm4": 500.0}
    at = 100.0 * share
    chuck, pins = cut.chuck_centre_worst(**here), cut.between_centres_worst(**here)
    bent = {
        "chuck": cut.chuck_centre_mm(load_mm=at, **here),
        "pins": cut.between_centres_mm(load_mm=at, **here),
        "free": cut.cantilever_mm(50.0, at, STEEL, 500.0),
    }
    assert bent["chuck"] <= chuck.deflection_mm * (1 + ROUNDING)
    assert bent["pins"] <= pins.deflection_mm * (1 + ROUNDING)
    assert bent["chuck"] < bent["pins"]  # a clamped end is stiffer than a pinned one
    assert bent["chuck"] < bent["free"]
    largest = cut.between_centres_largest_mm(load_mm=at, **here)
    assert largest >= bent["pins"] * (1 - ROUNDING)


def test_beams_meet_where_they_must():
    # At its supports a bar does not give way; the load's own place is where it is asked.
    assert cut.chuck_centre_mm(50.0, 100.0, 100.0, STEEL, 500.0) == 0.0
    assert cut.between_centres_mm(50.0, 100.0, 100.0, STEEL, 500.0) == 0.0
    under = cut.cantilever_mm(50.0, 60.0, STEEL, 500.0)
    assert cut.cantilever_mm(50.0, 60.0, STEEL, 500.0, point_mm=60.0) == under
    # Maxwell: what A moves at B is what B moves at A.
    a_at_b = cut.cantilever_mm(50.0, 60.0, STEEL, 500.0, point_mm=90.0)
    assert a_at_b == cut.cantilever_mm(50.0, 90.0, STEEL, 500.0, point_mm=60.0)


def test_lathe_gives_way_by_the_lever():
    # Springs in N/um by hand: 100 N half way is 50 N on head and tail each.
    both = cut.machine_mm(100, 50, 100, head_n_um=20, carriage_n_um=50, tail_n_um=10)
    assert both == pytest.approx((0.5 * 50 / 20 + 0.5 * 50 / 10 + 100 / 50) / 1000)
    # With the tool at the centre only the tailstock answers besides the carriage.
    at_tail = cut.machine_mm(100, 100, 100, head_n_um=20, carriage_n_um=50, tail_n_um=10)
    assert at_tail == pytest.approx((100 / 10 + 100 / 50) / 1000)
    alone = cut.machine_mm(100, 50, 100, head_n_um=20, carriage_n_um=50)
    assert alone == pytest.approx((100 / 20 + 100 / 50) / 1000)


@given(st.floats(1.0, 5000.0), st.floats(100.0, 50_000.0), st.integers(1, 6))
def test_every_pass_leaves_the_same_share(cutting, system, passes):
    one = cut.error_copy_share(cutting, system)
    assert 0.0 < one < 1.0
    assert cut.error_copy_share(cutting, system, passes) == pytest.approx(one**passes)
    assert cut.error_copy_share(cutting, system, 0) == 1.0


@given(st.floats(0.01, 1.0), st.floats(1.2, 6.0), st.floats(-20.0, 30.0))
def test_a_thicker_chip_means_more_shear(thickness, compression, rake):
    thin = cut.shear_angle_deg(1 / compression, rake)
    thick = cut.shear_angle_deg(1 / (compression * 1.2), rake)
    assert thick < thin
    assert cut.compression_ratio(thickness, thickness * compression) == pytest.approx(
        1 / cut.chip_ratio_from_length(1.0, compression)
    )


@given(st.floats(1.2, 4.0), st.floats(-10.0, 20.0), st.floats(50.0, 3e3), st.floats(0.1, 0.9))
def test_forces_there_and_back(compression, rake, cutting, share):
    angle = cut.shear_angle_deg(1 / compression, rake)
    friction = cut.friction_angle_deg(cutting, share * cutting, rake)
    assume(0.0 <= friction <= 80.0)
    plane = cut.shear_plane(cutting, share * cutting, angle, rake, 0.4)
    assume(plane.shear_stress_n_mm2 > 1.0)
    back = cut.circle_forces(plane.shear_stress_n_mm2, 0.4, angle, friction, rake)
    # Near 90 degrees of lean the way back divides by a small cosine.
    assert back.cutting_n == pytest.approx(cutting, rel=1e-6)
    assert back.thrust_n == pytest.approx(share * cutting, rel=1e-6)
    # Pythagoras: turning the axes changes no resultant.
    resultant = math.hypot(cutting, share * cutting)
    assert math.hypot(plane.shear_n, plane.normal_n) == pytest.approx(resultant)
    assert math.hypot(plane.friction_n, plane.friction_normal_n) == pytest.approx(resultant)


def test_corrections_multiply_and_a_dull_edge_pushes_more():
    every = cut.Corrections(rake=0.9, tool_material=1.2, speed=1.1, wear=1.3, process=1.3)
    assert every.product == pytest.approx(0.9 * 1.2 * 1.1 * 1.3 * 1.3)
    section = cut.chip_section(0.1, 0.5, 90.0, 0.4)
    plain = cut.cutting_force(section, 2000.0, 0.25)
    dull = cut.cutting_force(section, 2000.0, 0.25, every, thrust_share=0.8)
    assert dull.cutting_n == pytest.approx(every.product * plain.cutting_n)
    assert dull.passive_n / dull.cutting_n > plain.passive_n / plain.cutting_n
    assert plain.low_n < plain.cutting_n < plain.high_n
    assert math.hypot(plain.feed_n, plain.passive_n) == pytest.approx(0.5 * plain.cutting_n)


def test_speed_correction_holds_at_its_ends():
    assert cut.speed_correction(5.0) == cut.speed_correction(20.0) > 1.0
    assert cut.speed_correction(100.0) == cut.speed_correction(300.0) == 1.0


@given(st.floats(10.0, 3000.0), st.floats(1.0, 300.0), st.floats(10.0, 3000.0))
def test_speed_power_and_torque_agree(rev_min, diameter, power):
    speed = cut.speed_m_min(rev_min, diameter)
    assert cut.spindle_rev_min(speed, diameter) == pytest.approx(rev_min)
    force = cut.force_from_power_n(power, speed)
    assert cut.power_w(force, speed) == pytest.approx(power)
    # The torque of a drive without loss is that of the force its power carries.
    drive = cut.torque_available_nm(power, 1.0, rev_min)
    assert cut.torque_nm(force, diameter) == pytest.approx(drive)


def test_a_weighed_chip_gives_back_the_thickness_it_was_made_with():
    mass = 7.85 * 40.0 * 1.5 * 0.2  # g/cm3 is mg/mm3
    assert cut.weighed_chip_thickness_mm(mass, 7.85, 40.0, 1.5) == pytest.approx(0.2)


def test_a_chip_bent_open_strains_one_bent_tighter_has_the_other_sign():
    assert cut.chip_bending_strain(0.2, 2.0, 8.0) > 0 > cut.chip_bending_strain(0.2, 8.0, 2.0)


#: Values with a meaning on either side of zero.
SIGNED = {
    ("friction_angle_deg", "thrust_n"),
    ("shear_plane", "thrust_n"),
    ("diameter_error_mm", "deflection_mm"),
    ("thermal_growth_mm", "rise_k"),
}


# One harmless call of everything: where 0.5 is no sensible value of a parameter.
HARMLESS = {
    "length_mm": 1.0,
    "feed_mm_rev": 0.1,
    "h_min_mm": 0.01,
    "re_mm": 0.4,
    "shear_deg": 20.0,
    "alpha_per_k": 1e-5,
    "diameter_mm": 2.0,
    "section": cut.chip_section(0.1, 0.5, 90.0, 0.4),
    "corrections": cut.Corrections(),
}
FUNCTIONS = [f for f in (getattr(cut, name) for name in cut.__all__) if inspect.isfunction(f)]
NUMBERS = [
    pytest.param(function, name, id=f"{function.__name__}-{name}")
    for function in FUNCTIONS
    for name in inspect.signature(function).parameters
    if name not in {"section", "corrections"}
]


@pytest.mark.parametrize(("function", "name"), NUMBERS)
def test_no_function_takes_nonsense(function, name):
    good = {n: HARMLESS.get(n, 0.5) for n in inspect.signature(function).parameters}
    function(**good)  # so that the refusals below are about the one bad number
    signed = (function.__name__, name) in SIGNED
    for bad in [math.nan, math.inf, -math.inf] + [-1e9] * (not signed):
        with pytest.raises(ValueError, match=name):
            function(**good | {name: bad})


OUT_OF_RANGE = {
    "edge along the feed": lambda: cut.chip_section(0.1, 0.5, 0.0, 0.4),
    "edge leaning back": lambda: cut.chip_section(0.1, 0.5, 151.0, 0.4),
    "turns that do not meet": lambda: cut.roughness_um(0.9, 0.4),
    "deeper than the middle": lambda: cut.removal_turned_mm3_s(10.0, 6.0, 0.1, 500.0),
    "drive that gains": lambda: cut.motor_power_w(100.0, 1.01),
    "drive that stands": lambda: cut.motor_power_w(100.0, 0.0),
    "no force left": lambda: cut.Corrections(wear=0.0),
    "tool past the centre": lambda: cut.chuck_centre_mm(50.0, 101.0, 100.0, STEEL, 500.0),
    "tool past the tailstock": lambda: cut.machine_mm(
        50, 101, 100, head_n_um=1, carriage_n_um=1
    ),
    "shear into the tool": lambda: cut.shear_strain(100.0, 10.0),
    "no force is enough": lambda: cut.circle_forces(400.0, 0.4, 60.0, 50.0, 10.0),
    "rake beyond the rule": lambda: cut.rake_correction(40.0, -40.0),
    "edge of no radius share": lambda: cut.minimum_thickness_mm(20.0, 0.0),
}


@pytest.mark.parametrize("what", OUT_OF_RANGE)
def test_no_function_leaves_its_range(what):
    with pytest.raises(ValueError, match=r"must|too far"):
        OUT_OF_RANGE[what]()
