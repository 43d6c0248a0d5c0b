"""Figures of many jobs, each with what it counts."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass

import numpy as np

from .bench import MOST_PASSES, Record

__all__ = ["Figures", "figures", "wilson"]

Z_95 = 1.959964


def wilson(hits: int, of: int) -> tuple[float, float]:
    """Return the 95 % interval of a share (Wilson 1927).

    >>> tuple(round(x, 3) for x in wilson(27, 34))
    (0.632, 0.897)
    """
    if of == 0:
        return 0.0, 1.0
    share, z2 = hits / of, Z_95**2
    middle = (share + z2 / (2 * of)) / (1 + z2 / of)
    half = Z_95 * math.sqrt(share * (1 - share) / of + z2 / (4 * of**2)) / (1 + z2 / of)
    return max(0.0, middle - half), min(1.0, middle + half)


@dataclass(frozen=True)
class Figures:
    """Counts of a player over jobs; ``needy`` jobs start with chips that are not right."""

    name: str
    jobs: int
    exists: int
    possible: int
    solved_possible: int
    needy: int
    solved_needy: int
    solved_impossible: int
    median_passes: float
    mean_passes: float
    median_all: float
    changes: int
    worse: int
    forced: int
    spoiled: int
    stops: int
    ended_by_stop: int
    stalled: int
    events: int
    events_at_once: int
    events_in_one: int
    events_shown: int
    events_shown_in_one: int
    steady_passes: int
    false_calls: int
    looks: int
    looks_sharp: int
    trial_passes: int
    ends: Counter

    def lines(self) -> list[str]:
        """Return the figures as lines to print."""
        out = [
            (
                f"{self.name}: {self.jobs} jobs; right chips exist in {self.exists}, "
                f"can be reached one lever at a time in {self.possible}"
            ),
            "  right chips in time, where reachable and not right at once: "
            + _share(self.solved_needy, self.needy),
            "  the same with those right at once: "
            + _share(self.solved_possible, self.possible),
            (
                f"  solved though the search found no way (other edge or luck): "
                f"{self.solved_impossible} of {self.jobs - self.possible}"
            ),
            (
                f"  passes to right chips with the first one (unsolved {MOST_PASSES}): "
                f"median {self.median_passes:g}, mean {self.mean_passes:.1f}; "
                f"with those right at once: median {self.median_all:g}"
            ),
            "  changes that made it worse: "
            + _share(self.worse, self.changes)
            + f"; in {self.forced} of these the old depth no longer fitted the stock",
            (
                f"  parts spoiled: {self.spoiled}; stalled passes: {self.stalled}; stops: "
                f"{self.stops}, jobs ended by stop: {self.ended_by_stop}"
            ),
            "  how jobs ended: " + ", ".join(f"{k} {n}" for k, n in self.ends.most_common()),
        ]
        if self.events or self.steady_passes:
            out += [
                "  chipped edges called within one pass: "
                + _share(self.events_in_one, self.events)
                + f"; at once: {self.events_at_once}",
                "  the same where half of the chips changed: "
                + _share(self.events_shown_in_one, self.events_shown),
                (
                    f"  false edge calls per 100 steady passes: "
                    f"{100 * self.false_calls / max(1, self.steady_passes):.1f} "
                    f"({self.false_calls} in {self.steady_passes})"
                ),
                (
                    f"  looks during trials: {self.looks} in {self.trial_passes} passes, "
                    f"{self.looks_sharp} of them at a sharp edge"
                ),
            ]
        return out


def _share(hits: int, of: int) -> str:
    low, high = wilson(hits, of)
    percent = 100 * hits / of if of else 0.0
    return f"{hits} of {of} = {percent:.1f} % ({100 * low:.1f}-{100 * high:.1f})"


def figures(name: str, records: list[Record]) -> Figures:
    """Count; passes over the needy jobs that can be solved, and over all that can."""
    able = [r for r in records if r.job.chances.reachable]
    needy = [r for r in able if not r.job.chances.at_once]
    passes, passes_all = (
        [r.passes if r.solved else MOST_PASSES for r in some] or [0] for some in (needy, able)
    )
    events = [e for r in records for e in r.steady.events]
    in_one = [e for e in events if e.passes_late is not None and e.passes_late <= 1]
    shown = [e for e in events if e.shows]
    return Figures(
        name=name,
        jobs=len(records),
        exists=sum(r.job.chances.exists for r in records),
        possible=len(able),
        solved_possible=sum(r.solved for r in able),
        needy=len(needy),
        solved_needy=sum(r.solved for r in needy),
        solved_impossible=sum(r.solved for r in records if not r.job.chances.reachable),
        median_passes=float(np.median(passes)),
        mean_passes=float(np.mean(passes)),
        median_all=float(np.median(passes_all)),
        changes=sum(r.changes for r in records),
        worse=sum(r.worse for r in records),
        forced=sum(r.forced for r in records),
        spoiled=sum(r.spoiled for r in records),
        stops=sum(r.stops for r in records),
        ended_by_stop=sum(r.ended == "stop" for r in records),
        stalled=sum(r.stalled for r in records),
        events=len(events),
        events_at_once=sum(e.passes_late == 0 for e in events),
        events_in_one=len(in_one),
        events_shown=len(shown),
        events_shown_in_one=sum(e in in_one for e in shown),
        steady_passes=sum(r.steady.passes for r in records),
        false_calls=sum(r.steady.false_calls for r in records),
        looks=sum(r.looks for r in records),
        looks_sharp=sum(r.looks_sharp for r in records),
        trial_passes=sum(r.passes for r in records),
        ends=Counter(r.ended for r in records),
    )
