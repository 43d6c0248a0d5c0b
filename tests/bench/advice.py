"""Time one advice and one plan, in ms; prints only, since machines differ.

Run as ``python tests/bench/advice.py``. CPU time of one core, so that a busy machine counts the
same; the aim is 5 ms for one advice.
"""

from __future__ import annotations

import copy
import statistics
import time

import advisor

RUNS = 300
CUT = {
    "direction": "along",
    "spindle_rev_min": 430,
    "feed_mm_rev": 0.06,
    "depth_mm": 0.3,
    "coolant": "cutting oil",
}
CASE = {
    "schema": "bluecurl.case/1",
    "work": {
        "material": "304",
        "diameter_mm": 12.0,
        "stickout_mm": 30,
        "target_diameter_mm": 8.0,
    },
    "edge": {"material": "HSS"},
    "lathe": {
        "power_w": 400,
        "spindle_rev_min": [160, 260, 430, 700, 900, 1150, 1900],
        "feeds_mm_rev": [0.04, 0.06, 0.1, 0.15],
    },
    "passes": [
        {"cut": CUT, "signs": {"form": form, "tint": tint}}
        for form, tint in (("2.1", "bright"), ("2.2", "bright"), ("1.3", "straw"))
    ],
}


def milliseconds(job):
    """Median and slowest of many runs of ``job``, in ms, after one to warm the tables."""
    job()
    taken = []
    for _ in range(RUNS):
        start = time.process_time()
        job()
        taken.append(1000 * (time.process_time() - start))
    return statistics.median(taken), max(taken)


def advice():
    """From JSON to JSON, as the command line does it."""
    return advisor.advice_json(advisor.advise(advisor.parse_case(copy.deepcopy(CASE))))


def plan():
    """The same for a plan."""
    return advisor.plan_json(advisor.plan_passes(advisor.parse_case(copy.deepcopy(CASE))))


def main():
    """Print both."""
    for name, job in (("advice", advice), ("plan", plan)):
        middle, slowest = milliseconds(job)
        print(f"one {name}: median {middle:.2f} ms, slowest {slowest:.2f} ms of {RUNS}")  # noqa: T201


if __name__ == "__main__":
    main()
