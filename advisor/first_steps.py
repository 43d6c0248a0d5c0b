"""What to see to before the first cut of a job, in the order of hands.

The edge, how it stands, how the bar is held; then touching off, the trial, the cut. All
common practice.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from advisor.geometry import centre_height_turns_rake_deg
from advisor.tables import rule_value

if TYPE_CHECKING:
    from advisor.state import Setup

__all__ = ["first_steps", "is_under_skin"]

_BLADE = ("plunge", "part off")


def is_under_skin(setup: Setup, diameter_mm: float) -> bool:
    """Return whether the bar still has its cast or rolled skin at a diameter."""
    skin = setup.work.stock in {"cast skin", "rolled skin"}
    return skin and diameter_mm >= setup.work.diameter_mm


def first_steps(setup: Setup) -> list[str]:
    """Return the ids of what to do for the first cut, in order."""
    work = setup.work
    steps = [*_edge(setup), *_holding(setup)]
    if work.direction == "face":
        return [*steps, "do-lock-carriage", "do-first-cut"]
    if work.direction in _BLADE:
        return [*steps, "do-blade", "do-first-cut"]
    under = ["do-under-skin"] if is_under_skin(setup, work.diameter_mm) else []
    waste = ["do-waste-end"] if work.waste_end_mm > 0 else []
    moving = ["do-never-dwell"] if setup.metal.hardens else []
    return [*steps, "do-touch-off", *under, *waste, "do-first-cut", *moving]


def _edge(setup: Setup) -> list[str]:
    """Return what the edge wants: sharp, a face for this metal, on centre."""
    edge, metal = setup.edge, setup.metal
    steps = ["do-sharpen"] if edge.condition == "dull" else []
    if metal.nature == "titanium":
        steps.append("do-titanium")
    over = edge.rake_deg - metal.rake_deg.value
    soft = metal.nature == "crumbles" and metal.iso_513 == "N"
    if soft and over > rule_value("tool", "turning_limit_deg"):
        steps.append("do-flat-face")
    elif -over > rule_value("tool", "lacks_rake_deg"):
        steps.append("do-more-rake")
    turned = centre_height_turns_rake_deg(edge.centre_height_mm, setup.work.diameter_mm)
    if turned > rule_value("tool", "turning_limit_deg"):
        steps.append("do-on-centre")
    return steps


def _holding(setup: Setup) -> list[str]:
    """Return that a bar out of a chuck wants a centre from a few diameters on."""
    slender = setup.stickout_mm / setup.work.diameter_mm
    free = setup.holding == "chuck" and setup.work.direction == "along"
    return ["do-centre"] if free and slender > rule_value("overhang_caution", "chuck") else []
