"""Between the bench and whoever gives advice on JSON cases: the only place that knows both.

Takes a function from a case (``bluecurl.case/1``) to an advice (``bluecurl.advice/1``); it
imports neither side's insides. What the advice says is set on the lathe as written.
"""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from .jobs import Settings
from .players import Decision, Made, View

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np

    from .world import Blade, Lathe

__all__ = ["Advised", "case_of"]

#: Edges asked for in words: rake, nose radius; any other angle is that of the main edge.
_GROUND = (
    (re.compile(r"(-?\d+(?:\.\d+)?)\s*° of rake"), "rake_deg"),
    (re.compile(r"(\d+(?:\.\d+)?)\s*mm nose"), "re_mm"),
    (re.compile(r"(\d+(?:\.\d+)?)\s*°(?! of rake)"), "kapr_deg"),
)


class Advised:
    """The player who follows the advice to the letter."""

    name = "advised"

    def __init__(self, advise: Callable[[dict[str, Any]], dict[str, Any]]) -> None:
        self._advise = advise

    def decide(self, view: View, rng: np.random.Generator) -> Decision:  # noqa: ARG002
        advice = self._advise(case_of(view))
        cut, change = advice["next_cut"], advice["change"]
        lever = change["lever"] if change else None
        why = advice["because"]
        if cut is None:
            if advice["verdict"] in {"look at the edge", "retake the photo", "keep"}:
                return Decision(advice["verdict"], view.last, lever, why=why)
            return Decision(advice["verdict"], None, lever, why=why)
        settings = Settings(
            float(cut["spindle_rev_min"]),
            view.last.feed_mm_rev if cut["feed_mm_rev"] is None else float(cut["feed_mm_rev"]),
            float(cut["depth_mm"]),
            cut.get("coolant") or view.last.coolant,
        )
        word = cut.get("edge")
        return Decision(
            advice["verdict"],
            settings,
            lever,
            holding=cut.get("holding"),
            stickout_mm=cut.get("stickout_mm"),
            blade=_blade(view.blade, word, cut.get("overhang_mm")),
            fresh=word == "fresh",
            why=why,
        )


def _blade(blade: Blade, word: str | None, overhang_mm: float | None) -> Blade | None:
    """Return the edge that the words ask for; None where it is the present one."""
    new = blade if overhang_mm is None else replace(blade, overhang_mm=float(overhang_mm))
    if word and "groove" in word:
        new = replace(new, groove=True)
    for pattern, key in _GROUND:
        found = pattern.search(word or "")
        if found:
            new = replace(new, **{key: float(found.group(1))})
    return None if new == blade else new


def case_of(view: View) -> dict[str, Any]:
    """Return the case of a view, as a careful machinist would write it."""
    job = view.job
    bar = job.bar
    return {
        "schema": "bluecurl.case/1",
        "work": {
            "material": job.metal,
            "stock": job.stock,
            "diameter_mm": bar.diameter_mm,
            "stickout_mm": view.stickout_mm,
            "cut_length_mm": bar.cut_length_mm,
            "holding": view.holding,
            "target_diameter_mm": job.target_mm,
            "tolerance_mm": job.tolerance_mm,
        },
        "edge": _edge(view.blade, view.condition),
        "lathe": _lathe(job.lathe),
        "passes": [_pass(made, view) for made in view.passes],
    }


def _edge(blade: Blade, condition: str) -> dict[str, Any]:
    return {
        "id": blade.id,
        "material": blade.material,
        "rake_deg": blade.rake_deg,
        "kapr_deg": blade.kapr_deg,
        "re_mm": blade.re_mm,
        "condition": condition,
        "chip_groove": blade.groove,
        "overhang_mm": blade.overhang_mm,
        "shank_mm": blade.shank_mm,
    }


def _lathe(lathe: Lathe) -> dict[str, Any]:
    drive = lathe.drive
    return {
        "power_w": lathe.power_w,
        "efficiency": lathe.efficiency,
        "spindle_rev_min": (
            {"from": drive[0], "to": drive[1]} if drive else list(lathe.speeds_rev_min)
        ),
        "ranges": [
            {"from": low, "to": high, "rated_rev_min": rated}
            for low, high, rated in lathe.ranges
        ]
        or None,
        "feeds_mm_rev": list(lathe.feeds_mm_rev),
        "feed_change": lathe.feed_change,
        "dial": {"mm_per_division": lathe.dial_mm, "reads": lathe.dial_reads},
        "stiffness_n_um": lathe.stiffness_n_um if lathe.tells_stiffness else None,
    }


def _pass(made: Made, view: View) -> dict[str, Any]:
    settings, seen = made.settings, made.seen
    return {
        "cut": {
            "direction": "along",
            "spindle_rev_min": settings.speed_rev_min,
            "feed_mm_rev": settings.feed_mm_rev,
            "depth_mm": settings.depth_mm,
            "diameter_mm": round(made.diameter_mm, 4),
            "length_mm": view.job.bar.cut_length_mm,
            "coolant": settings.coolant,
            "power_feed": True,
        },
        "edge": None if made.blade == view.blade else _edge(made.blade, "used"),
        "holding": made.holding,
        "stickout_mm": made.stickout_mm,
        "measured_mm": [list(pair) for pair in seen.measured_mm],
        "chip_thickness_mm": seen.chip_mm,
        "reading": _reading(made),
        "noticed": list(seen.noticed),
        "edge_looked_at": made.looked,
    }


def _reading(made: Made) -> dict[str, Any]:
    seen = made.seen
    main = max(seen.mix, key=seen.mix.get) if seen.mix else None
    heat = None
    if seen.tint is not None:
        heat = {"tint": seen.tint, "sure": seen.tint_sure}
    return {
        "schema": "bluecurl.reading/1",
        "usable": seen.usable,
        "chips": (
            [{"length_mm": {"value": seen.longest_mm, "u": 0.05 * seen.longest_mm}}]
            if seen.longest_mm
            else []
        ),
        "form": {
            "code": seen.code,
            "group": seen.code[0] if seen.code else None,
            "main": main,
            "share": seen.share if seen.code else None,
            "sure": seen.sure,
            "candidates": list(seen.candidates) if seen.code else [],
            "mix": dict(seen.mix),
        },
        "heat": heat,
    }
