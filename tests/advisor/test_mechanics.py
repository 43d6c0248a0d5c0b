"""Which way things go when one thing changes; no number of ours is expected here.

The signs are those of the texts named at each test; formulas with numbers are checked in
``tests/published``.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

import advisor
from advisor import force, section, stiffness
from advisor.limits import Stock, check_limits, is_legal
from advisor.state import cut_state, setup_of

depths = st.floats(0.02, 3.0)
feeds = st.floats(0.02, 0.4)
noses = st.sampled_from([0.0, 0.1, 0.2, 0.4, 0.8, 1.2])
angles = st.floats(30.0, 100.0)


def state_of(new_job, new_pass, metal="1045", *, edge=None, work=None, **cut):
    case = advisor.parse_case(new_job(metal, [new_pass(**cut)], edge=edge, work=work))
    return cut_state(setup_of(case, case.passes[0]), case.passes[0].cut)


@given(depth=depths, feed=feeds, nose=noses, kapr=angles)
def test_the_section_is_feed_times_depth_whatever_the_nose(depth, feed, nose, kapr):
    # DIN 6580: A = b h = ap f.
    chip = section.chip_section(depth, feed, kapr_deg=kapr, re_mm=nose)
    assert chip.thickness_mm * chip.width_mm == pytest.approx(depth * feed, rel=1e-9)
    assert 0 < chip.thickness_mm <= feed * (1 + 1e-12)


@given(feed=feeds, nose=st.sampled_from([0.2, 0.4, 0.8]), kapr=st.floats(45.0, 95.0))
def test_a_shallower_cut_on_the_nose_is_thinner_and_pushes_more_sideways(feed, nose, kapr):
    # Colwell 1954: flow normal to the chord; Astakhov: smaller angle, larger radial share.
    deep, shallow = (
        section.chip_section(share * nose, feed, kapr_deg=kapr, re_mm=nose)
        for share in (2.0, 0.25)
    )
    assert shallow.thickness_mm < deep.thickness_mm
    radial = [force.split_thrust_n(1.0, chip.angle_deg)[1] for chip in (shallow, deep)]
    assert radial[0] > radial[1]


@given(depth=depths, feed=feeds, mc=st.floats(0.1, 0.4))
def test_force_is_linear_in_depth_and_less_than_linear_in_feed(depth, feed, mc):
    # Kienzle & Victor 1957: Fc = b h^(1-mc) kc1.1.
    def newtons(ap, f):
        chip = section.chip_section(ap, f)
        return force.cutting_force_n(chip.thickness_mm, chip.width_mm, kc11_n_mm2=2000, mc=mc)

    assert newtons(2 * depth, feed) == pytest.approx(2 * newtons(depth, feed))
    ratio = newtons(depth, 2 * feed) / newtons(depth, feed)
    assert 1.0 < ratio < 2.0
    assert ratio == pytest.approx(2 ** (1 - mc))
    assert force.specific_force_n_mm2(2000, mc, 0.2) < force.specific_force_n_mm2(2000, mc, 0.1)


def test_twice_the_feed_is_four_times_the_roughness():
    # Ghosh & Mallik p. 260: f^2 / (8 r).
    assert section.roughness_arc_um(0.2, 0.4) == pytest.approx(
        4 * section.roughness_arc_um(0.1, 0.4)
    )


def test_too_fine_a_feed_is_rough_again():
    # Brammertz 1961 (memory).
    heights = [section.roughness_low_feed_um(f, 0.4, 0.003) for f in (0.02, 0.06, 0.3)]
    assert heights[1] < heights[0]
    assert heights[1] < heights[2]


@given(length=st.floats(20, 200), diameter=st.floats(4, 60), newtons=st.floats(5, 500))
def test_deflection_goes_with_length_cubed_and_diameter_to_the_fourth(
    length, diameter, newtons
):
    # Bansal, Strength of Materials: F L^3 / (3 E I), I = pi D^4 / 64.
    def bend(span, thick):
        i_mm4 = stiffness.round_second_moment_mm4(thick)
        return stiffness.cantilever_mm(newtons, span, e_n_mm2=207_000, i_mm4=i_mm4)

    assert bend(2 * length, diameter) == pytest.approx(8 * bend(length, diameter))
    assert bend(length, 2 * diameter) == pytest.approx(bend(length, diameter) / 16)


@given(length=st.floats(20, 300), share=st.floats(0.01, 1.0))
def test_a_centre_stiffens_more_than_thirty_times(length, share):
    # Fixed and pinned beam: largest deflection 1/33.97 of the free end's (2 - sqrt 2).
    beam = {"e_n_mm2": 207_000, "i_mm4": stiffness.round_second_moment_mm4(12)}
    free = stiffness.cantilever_mm(50, length, **beam)
    propped = stiffness.propped_mm(50, share * length, length, **beam)
    assert propped <= free / 33.9


def test_titanium_bends_nearly_twice_as_far_as_steel(new_job, new_pass):
    # E 114 (data sheet) against 207 GPa (Callister): 1.8 times at the same force.
    steel, titanium = (
        state_of(new_job, new_pass, metal, speed_m_min=17) for metal in ("1045", "Ti-6Al-4V")
    )
    each = [s.work_deflection_mm / s.radial_n for s in (steel, titanium)]
    assert each[1] / each[0] == pytest.approx(207 / 114, rel=1e-6)


def test_a_dull_edge_needs_more_force_and_pushes_harder(new_job, new_pass):
    # Groover: power x 1.25 when dull; Sikdar & Chen 2002: radial force grows with wear.
    fresh, dull = (
        state_of(new_job, new_pass, edge={"condition": condition})
        for condition in ("fresh", "dull")
    )
    assert 1.0 < dull.force_n / fresh.force_n <= 1.5
    assert dull.radial_n / fresh.radial_n > dull.force_n / fresh.force_n


def test_more_rake_needs_less_force(new_job, new_pass):
    # Paucksch (memory): 1.5 % less for each degree.
    flat, steep = (
        state_of(new_job, new_pass, edge={"rake_deg": rake}).force_n for rake in (0, 15)
    )
    assert steep < flat


def test_a_chip_thinner_than_the_edge_can_cut_is_refused(new_job, new_pass):
    # Minimum chip thickness, 0.2 to 0.4 of the edge radius (memory of several papers).
    blunt = {"edge_radius_um": 200, "re_mm": 0.4}
    case = advisor.parse_case(new_job("1045", [new_pass(28, 0.05, 0.3)], edge=blunt))
    setup, cut = setup_of(case, case.passes[0]), case.passes[0].cut
    stock = Stock(left_mm=None, tolerance_mm=0.05, bar_mm=16.0)
    assert not is_legal(setup, cut, stock)
    broken = {c.limit for c in check_limits(setup, cut, stock) if c.severity == "exceeded"}
    assert "chip thickness" in broken


def test_off_centre_turns_the_rake():
    # Common practice, no source: 0.3 mm off on 6 mm is nearly 6 degrees.
    from advisor.geometry import centre_height_turns_rake_deg

    turned = centre_height_turns_rake_deg(0.3, 6.0)
    assert 5.5 < turned < 6.0
    assert turned > centre_height_turns_rake_deg(0.3, 12.0)


def test_a_thousand_turns_on_three_eighths_is_a_hundred_feet():
    # Common practice, no source: 1000 rev/min on 9.525 mm is about 30 m/min.
    assert force.cutting_speed_m_min(1000, 9.525) == pytest.approx(30, rel=0.01)


def test_growth_has_the_sign_and_order_of_the_table():
    # Callister app. B: 6061 grows most, then 304, steel, titanium.
    from advisor.tables import material

    grown = [
        stiffness.thermal_growth_mm(25, 60, material(name).expansion_1e6_k.value)
        for name in ("6061", "304", "1018", "Ti-6Al-4V")
    ]
    assert grown == sorted(grown, reverse=True)
    assert math.isclose(stiffness.thermal_growth_mm(25, 0, 17.2), 0.0)
