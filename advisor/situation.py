"""Where a job stands after its last pass: size, settings, chips, and what was tried."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from advisor.assess import WRONG, Mark, assess, badness, interrupted
from advisor.force import cutting_speed_m_min
from advisor.history import spring_factor
from advisor.limits import Stock, floor_mm
from advisor.parse import left_diameter_mm
from advisor.records import Case, Cut, PassRecord, Quantity
from advisor.search import snap
from advisor.state import CutState, Setup, cut_state, roughness_um, setup_of, speed_span
from advisor.tables import rule_value
from advisor.terms import FORM_WORDS
from advisor.thickness import thickness_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from advisor.records import Evidence

__all__ = ["Situation", "expected_spring_mm", "facts", "situation_after", "stock_for"]

_MOST_RZ_UM: Final = 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Situation:
    """All that the rules need to know after a pass. ``cut`` is the present setting again."""

    case: Case
    setup: Setup
    last: PassRecord
    cut: Cut
    made: CutState
    stock: Stock
    mark: Mark
    marks: tuple[Mark, ...]
    interrupted: bool

    @property
    def form(self) -> str | None:
        """Form of the last pass that asks for something, None where it says nothing."""
        return self.mark.asking

    @property
    def candidate_marks(self) -> list[int]:
        """Badness of every form that the chips of the last pass may have."""
        cut, metal = self.last.cut, self.setup.metal
        return [
            badness(metal, code, direction=cut.direction, feed_mm_rev=cut.feed_mm_rev)
            for code in self.last.evidence.candidates
        ]

    @property
    def surely_wrong(self) -> bool:
        """Whether the form is wrong whichever of the candidates it is."""
        marks = self.candidate_marks
        return self.mark.form is not None and bool(marks) and min(marks) >= WRONG


def stock_for(case: Case, direction: str, diameter_mm: float, rz_um: float = 0.0) -> Stock:
    """Return what is left to cut from a diameter, on the side."""
    target, left = case.work.target_diameter_mm, None
    if target is not None and direction == "along":
        left = (diameter_mm - target) / 2.0
    elif target is not None and direction == "bore" and target > diameter_mm:
        left = (target - diameter_mm) / 2.0
    return Stock(
        left_mm=left,
        tolerance_mm=case.work.tolerance_mm,
        bar_mm=case.work.diameter_mm,
        previous_rz_um=min(rz_um, _MOST_RZ_UM),
    )


def situation_after(case: Case) -> Situation:
    """Return the situation after the last pass of a case that has one."""
    number = len(case.passes) - 1
    last = case.passes[number]
    spring = max(1.0, spring_factor(case) or 1.0)
    setup = replace(setup_of(case, last), spring=spring)
    marks = tuple(assess(case, k) for k in range(len(case.passes)))
    made = cut_state(setup, last.cut)
    diameter = left_diameter_mm(last)
    stock = stock_for(case, last.cut.direction, diameter, roughness_um(setup, made.feed_mm_rev))
    return Situation(
        case=case,
        setup=setup,
        last=last,
        cut=snap(setup, replace(last.cut, diameter_mm=diameter)),
        made=made,
        stock=stock,
        mark=marks[number],
        marks=marks,
        interrupted=interrupted(case.work, last, number),
    )


def expected_spring_mm(now: Situation, depth_mm: float) -> float:
    """Return how far the next cut springs away by what the calliper taught, mm; else 0."""
    factor = spring_factor(now.case)
    if not factor or not now.last.measured_mm:
        return 0.0
    state = cut_state(now.setup, replace(now.cut, depth_mm=depth_mm))
    return factor / now.setup.spring * state.deflection_mm


def _called(chips: Evidence | None, asking: str | None) -> str:
    """Return what the chips are called in a sentence: no more is said than is known."""
    if chips is None or not chips.form:
        return "chips"
    if chips.open_nest:
        return "nests"
    return FORM_WORDS[asking or chips.form]


def facts(
    setup: Setup,
    cut: Cut,
    stock: Stock,
    record: PassRecord | None = None,
    asking: str | None = None,
) -> Mapping[str, Quantity | str]:
    """Return the quantities that sentences may name about a cut."""
    state = cut_state(setup, cut)
    low, high, _ = speed_span(setup, cut.direction)
    chips = record.evidence if record else None
    named: dict[str, Quantity | str] = {
        "metal": setup.metal.name,
        "edge": setup.edge.id,
        "edge_stuff": setup.edge.material,
        "holding": setup.holding,
        "coolant": cut.coolant,
        "form": _called(chips, asking),
        "tint": (chips.tint if chips else None) or "bright",
        "feed": "a hand feed"
        if cut.feed_mm_rev is None
        else Quantity(cut.feed_mm_rev, "mm/rev"),
        "depth": Quantity(cut.depth_mm, "mm"),
        "rev": Quantity(cut.spindle_rev_min, "rev/min"),
        "speed": Quantity(cutting_speed_m_min(cut.spindle_rev_min, cut.diameter_mm), "m/min"),
        "low": Quantity(low, "m/min"),
        "high": Quantity(high, "m/min"),
        "thickness": Quantity(state.section.thickness_mm, "mm"),
        "thinnest": Quantity(setup.thinnest_mm, "mm"),
        "kapr": f"{setup.edge.kapr_deg:g}°",
        "nose": Quantity(setup.edge.re_mm, "mm"),
        "diameter": Quantity(cut.diameter_mm, "mm"),
        "diameter_made": Quantity((record.cut if record else cut).diameter_mm, "mm"),
        "stickout": Quantity(setup.stickout_mm, "mm"),
        "slender": Quantity(round(setup.stickout_mm / cut.diameter_mm, 1), ""),
        "overhang": Quantity(setup.edge.overhang_mm, "mm"),
        "shank": Quantity(setup.edge.shank_mm, "mm"),
        "floor": Quantity(floor_mm(setup, stock, finishing=False), "mm"),
        "accepted": Quantity(rule_value("stainless", "long_accepted_feed_mm_rev"), "mm/rev"),
        "rake": f"{setup.edge.rake_deg:g}°",
        "metal_rake": f"{setup.metal.rake_deg.value:g}°",
        "off_centre": Quantity(abs(setup.edge.centre_height_mm), "mm"),
    }
    if record and record.noticed:
        named["noticed"] = ", ".join(record.noticed)
    thick = thickness_of(setup, record) if record else None
    if thick is not None:
        named["chip_thick"] = Quantity(thick.mm, "mm")
    if record and record.measured_mm:
        sizes = [diameter for _, diameter in record.measured_mm]
        named["spread"] = Quantity(max(sizes) - min(sizes), "mm")
        named["tolerance"] = Quantity(stock.tolerance_mm, "mm")
    if stock.left_mm is not None:
        named["left"] = Quantity(stock.left_mm, "mm")
    return named
