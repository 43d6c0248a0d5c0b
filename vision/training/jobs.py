"""Invented jobs of a small bicycle-restoring workshop, for the demo photos.

A job fixes metal, cut and the forms that such a cut throws; the chips' section
follows from depth, feed and edge angle.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

__all__ = ["Job", "draw_job"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One job with one cut of it."""

    name: str
    metal: str
    chips: tuple[int, int]
    forms: dict[str, float]
    width_mm: float
    thickness_mm: float
    film_nm: tuple[float, float]
    work: dict[str, Any]
    edge: dict[str, Any]
    lathe: dict[str, Any]
    cut: dict[str, Any]

    def case(self) -> dict[str, Any]:
        """Case material of the job: work, edge, lathe and the pass that made the chips."""
        return {
            "schema": "bluecurl.case/1",
            "work": self.work,
            "edge": self.edge,
            "lathe": self.lathe,
            "passes": [{"cut": self.cut}],
        }


@cache
def _table() -> dict[str, Any]:
    text = files("vision.training").joinpath("jobs.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def draw_job(seed: int) -> Job:
    """Job and cut of a seed; seeds take turns through all cuts of all jobs."""
    jobs = _table()["jobs"]
    turns = [(name, k) for name in sorted(jobs) for k in range(len(jobs[name]["cuts"]))]
    name, which = turns[seed % len(turns)]
    job = jobs[name]
    cut = job["cuts"][which]
    # Uncut width and thickness by the edge angle; the chip is a little wider and
    # thicker by the compression ratio.
    kapr = math.radians(job["edge"]["kapr_deg"])
    film = cut["film_nm"]
    return Job(
        name=name,
        metal=job["metal"],
        chips=(cut["chips"][0], cut["chips"][1]),
        forms=dict(cut["forms"]),
        width_mm=1.1 * cut["depth_mm"] / math.sin(kapr),
        thickness_mm=cut["compression"] * cut["feed_mm_rev"] * math.sin(kapr),
        film_nm=(float(film[0]), float(film[1])),
        work={**job["work"], "about": job["about"]},
        edge=job["edge"],
        lathe=_table()["lathe"],
        cut={
            "direction": "along",
            **{k: cut[k] for k in ("spindle_rev_min", "feed_mm_rev", "depth_mm", "coolant")},
            "diameter_mm": job["work"]["diameter_mm"],
            "length_mm": job["work"]["cut_length_mm"],
            "power_feed": True,
        },
    )
