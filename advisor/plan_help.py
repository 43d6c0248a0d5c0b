"""What would help where a part cannot be held to its size, with a figure where there is one."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from advisor.lathes import feeds_for
from advisor.start import starting_wish
from advisor.state import cut_state
from advisor.stiffness import longest_overhang_ratio, machine_deflection_mm
from advisor.tables import rule_value

if TYPE_CHECKING:
    from advisor.plan_cuts import Job
    from advisor.records import LimitCheck

__all__ = ["helps", "longest_mm"]


def helps(job: Job, broken: tuple[LimitCheck, ...]) -> tuple[str, ...]:
    """Return the ids of what would help against the limits that were broken."""
    names = {check.limit for check in broken}
    out: list[str] = []
    if names & {"deflection", "diameter error", "stick-out over diameter"}:
        out += [] if job.setup.holding != "chuck" else ["help-centre"]
        out += [*_shorter(job), "help-nose"]
        if job.setup.holding != "chuck":
            out.append("help-steady")
    if names & {"tool bending", "tool overhang over shank"}:
        out.append("help-tool")
    if job.setup.edge.condition != "fresh":
        out.append("help-sharp")
    return (*out, "help-tolerance")


def _shorter(job: Job) -> list[str]:
    """Return that less stick-out would help, and how much; nothing where the cut needs it."""
    longest, work = longest_mm(job), job.case.work
    if job.setup.holding != "chuck" or longest >= job.setup.stickout_mm:
        return ["help-shorter"]
    return ["help-shorter-to"] if longest >= work.cut_length_mm else []


def longest_mm(job: Job) -> float:
    """Return about how far the bar may stand out of a chuck for the last cut to hold size.

    By the push of a cut at the floor with the finest feed, at its worst; 0 where the lathe
    alone gives way by more than that.
    """
    setup = job.setup
    at = job.diameter_mm(job.total)
    band = 1.0 + rule_value("force_band", "share")
    cut = replace(
        starting_wish(setup, job.stock(0, 0.0), at, job.case.work.cut_length_mm),
        depth_mm=job.least * job.step_mm,
        feed_mm_rev=feeds_for(setup.lathe, "along")[0],
    )
    push = band * cut_state(setup, cut).radial_n
    spare = job.case.work.tolerance_mm / 2.0
    spare -= machine_deflection_mm(push, setup.lathe.stiffness_n_um)
    if spare <= 0.0:
        return 0.0
    e_n_mm2 = 1000.0 * setup.metal.e_gpa.value
    return math.floor(at * longest_overhang_ratio(spare, at, push, e_n_mm2=e_n_mm2))
