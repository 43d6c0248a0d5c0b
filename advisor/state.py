"""One cut in numbers: chip, forces, power, torque, how far everything gives way.

Joins the plain formulas with the tables. Middle values; the band of the forces is added
where they meet a limit (``advisor.limits``).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from advisor import force, stiffness
from advisor.section import (
    ChipSection,
    chip_section,
    minimum_thickness_mm,
    roughness_low_feed_um,
    roughness_pointed_um,
)
from advisor.tables import Material, edge_number, rule_value

if TYPE_CHECKING:
    from advisor.records import Case, Cut, Edge, Lathe, PassRecord, Work

__all__ = [
    "CutState",
    "Setup",
    "cut_state",
    "diameter_after_mm",
    "roughness_um",
    "setup_of",
    "slowest_m_min",
    "speed_span",
    "thickness_mm",
    "usual_feeds",
    "with_edge",
]

_RADIAL = ("plunge", "part off")
#: Face and bore: the angle of a turning tool says nothing there.
_SQUARE_DEG = 90.0
#: A depth that eats the whole bar leaves a thread, so that limits can still be worked out.
_THREAD_MM = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """Everything about a cut that is not a dial: metal, edge, lathe, holding."""

    metal: Material
    edge: Edge
    lathe: Lathe
    work: Work
    holding: str
    stickout_mm: float
    spring: float = 1.0
    """How much more work and lathe give way than reckoned, where a calliper found it."""

    @property
    def thinnest_mm(self) -> float:
        """Thinnest chip this edge can cut, mm."""
        return minimum_thickness_mm(
            self.edge.edge_radius_um, rule_value("chip", "thinnest_share")
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class CutState:
    """A cut in numbers, middle of the force band."""

    section: ChipSection
    feed_mm_rev: float
    speed_m_min: float
    force_n: float
    radial_n: float
    power_w: float
    torque_n_m: float
    work_deflection_mm: float
    deflection_mm: float
    """Work and machine together, on the side."""
    tool_bending_mm: float


def setup_of(case: Case, record: PassRecord | None = None) -> Setup:
    """Return the setup of a pass, or of the job where no pass is named."""
    return Setup(
        metal=case.metal,
        edge=record.edge if record else case.edge,
        lathe=case.lathe,
        work=case.work,
        holding=record.holding if record else case.work.holding,
        stickout_mm=record.stickout_mm if record else case.work.stickout_mm,
    )


def diameter_after_mm(cut: Cut) -> float:
    """Return the diameter that a cut leaves, mm."""
    if cut.direction == "along":
        return max(cut.diameter_mm - 2.0 * cut.depth_mm, _THREAD_MM)
    return cut.diameter_mm


def speed_span(setup: Setup, direction: str) -> tuple[float, float, str]:
    """Return recommended cutting speeds, low and high, m/min, and their source."""
    span = setup.metal.hss_m_min if setup.edge.material == "HSS" else setup.metal.carbide_m_min
    share = rule_value("speed_share", direction)
    return span.low * share, span.high * share, span.source


def usual_feeds(setup: Setup, direction: str) -> tuple[float, float]:
    """Return the usual first feed and the highest of the table in a direction, mm/rev.

    Along the bar those of the metal, lighter across a face, and those of a blade.
    """
    if direction in _RADIAL:
        return rule_value("radial_feed", "start_mm_rev"), rule_value(
            "radial_feed", "high_mm_rev"
        )
    share = rule_value("radial_feed", "facing_share") if direction == "face" else 1.0
    metal = setup.metal
    return share * metal.start_feed_mm_rev.value, share * metal.feed_mm_rev.high


def roughness_um(setup: Setup, feed_mm_rev: float) -> float:
    """Return the theoretical height left on the work, µm.

    Ridges of the nose with what the edge ploughs rather than cuts, so that too fine a feed
    is rougher again [brammertz1961]; ridges of the two edges where there is no nose.
    """
    edge = setup.edge
    if edge.re_mm:
        return roughness_low_feed_um(feed_mm_rev, edge.re_mm, setup.thinnest_mm)
    lead = max(0.0, _SQUARE_DEG - edge.kapr_deg)
    return roughness_pointed_um(
        feed_mm_rev, lead_deg=lead, end_edge_angle_deg=edge.end_edge_angle_deg
    )


def _section(setup: Setup, cut: Cut, feed_mm_rev: float) -> ChipSection:
    if cut.direction in _RADIAL:
        width = setup.edge.blade_width_mm or cut.depth_mm
        return chip_section(width, feed_mm_rev)
    kapr = setup.edge.kapr_deg if cut.direction == "along" else _SQUARE_DEG
    return chip_section(cut.depth_mm, feed_mm_rev, kapr_deg=kapr, re_mm=setup.edge.re_mm)


def thickness_mm(setup: Setup, cut: Cut, feed_mm_rev: float) -> float:
    """Return the mean thickness of the uncut chip at a feed, mm."""
    return _section(setup, cut, feed_mm_rev).thickness_mm


def cut_state(setup: Setup, cut: Cut) -> CutState:
    """Return chip, forces, power, torque and deflections of a cut.

    Parameters
    ----------
    setup : Setup
    cut : Cut
        A hand feed of unknown size counts as the usual one of ``rules.toml``.

    Returns
    -------
    CutState
        Middle values; real forces differ by about 30 % either way.

    References
    ----------
    [kienzle1957], [paucksch], [degner] for forces; [bansal], [roark] for deflection.
    """
    metal, edge = setup.metal, setup.edge
    feed = cut.feed_mm_rev or rule_value("chip", "hand_feed_mm_rev")
    chip = _section(setup, cut, feed)
    speed = force.cutting_speed_m_min(cut.spindle_rev_min, cut.diameter_mm)
    factor = (
        force.rake_factor(edge.rake_deg, metal.reference_rake_deg.value)
        * force.speed_factor(speed)
        * edge_number("force_factor", edge.material).value
        * edge_number("wear_factor", edge.condition).value
        * edge_number("process_factor", cut.direction).value
    )
    main = force.cutting_force_n(
        chip.thickness_mm,
        chip.width_mm,
        kc11_n_mm2=metal.kc11_n_mm2.value,
        mc=metal.mc.value,
        factor=factor,
    )
    thrust = edge_number("thrust_share", edge.condition).value * main
    feed_n, passive_n = force.split_thrust_n(thrust, chip.angle_deg)
    radial = passive_n if cut.direction in {"along", "bore"} else feed_n
    work = _work_deflection_mm(setup, cut, radial)
    return CutState(
        section=chip,
        feed_mm_rev=feed,
        speed_m_min=speed,
        force_n=main,
        radial_n=radial,
        power_w=force.cutting_power_w(main, speed),
        torque_n_m=force.spindle_torque_n_m(main, cut.diameter_mm),
        work_deflection_mm=work,
        deflection_mm=setup.spring
        * (work + stiffness.machine_deflection_mm(radial, setup.lathe.stiffness_n_um)),
        tool_bending_mm=_tool_bending_mm(setup, cut, main),
    )


def _work_deflection_mm(setup: Setup, cut: Cut, radial_n: float) -> float:
    """Return how far the bar bends at the worst place of the cut; none when boring."""
    if cut.direction == "bore":
        return 0.0
    e_n_mm2 = 1000.0 * setup.metal.e_gpa.value
    i_mm4 = stiffness.round_second_moment_mm4(diameter_after_mm(cut))
    length = setup.stickout_mm
    if setup.holding == "chuck":
        return stiffness.cantilever_mm(radial_n, length, e_n_mm2=e_n_mm2, i_mm4=i_mm4)
    reach = min(cut.length_mm, length)
    if setup.holding == "between centres":
        place = max(length / 2.0, length - reach)
        return stiffness.both_pinned_mm(radial_n, place, length, e_n_mm2=e_n_mm2, i_mm4=i_mm4)
    place = stiffness.propped_worst_place_mm(length, reach)  # a steady props like a centre
    return stiffness.propped_mm(radial_n, place, length, e_n_mm2=e_n_mm2, i_mm4=i_mm4)


def _tool_bending_mm(setup: Setup, cut: Cut, force_n: float) -> float:
    edge = setup.edge
    blade = edge.blade_width_mm or cut.depth_mm
    width = min(blade, edge.shank_mm) if cut.direction in _RADIAL else edge.shank_mm
    return stiffness.tool_bending_mm(
        force_n,
        edge.overhang_mm,
        width_mm=width,
        height_mm=edge.shank_mm,
        e_n_mm2=1000.0 * rule_value("tool", "e_gpa"),
    )


def slowest_m_min(setup: Setup, direction: str) -> float:
    """Return the speed under which no dial is turned down for the chips' sake, m/min.

    A share of the table's lowest. Carbide may also go down to where HSS of this metal
    begins: a weak drive knows no other way to a thick chip. Common practice.
    """
    low, _, _ = speed_span(setup, direction)
    slowest = rule_value("move", "slowest_share") * low
    if setup.edge.material == "HSS":
        return slowest
    ground = setup.metal.hss_m_min.low * rule_value("speed_share", direction)
    return min(slowest, ground)


def with_edge(setup: Setup, **changes: object) -> Setup:
    """Return the setup with parts of its edge changed."""
    return replace(setup, edge=replace(setup.edge, **changes))  # type: ignore[arg-type]
