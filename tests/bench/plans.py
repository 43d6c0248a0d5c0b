"""Check many random plans by arithmetic of their own.

Run as ``python tests/bench/plans.py --jobs 10000``. Jobs count as feasible when either the
advisor finds a plan or a search of our own finds one (two equal last cuts and a roughing
cut at every diameter before them, inside all limits of ``own_limits``). Prints how many
reach the diameter, have their last two cuts within 20 % of each other, none below the
floor of the metal, every step on the dial, and no hard limit broken with the forces 30 %
above the tables.
"""

from __future__ import annotations

import argparse
import copy
import itertools
import math
import random
import time
from collections import Counter

import own_limits as own

import advisor

CUTTING = {"rough", "semi", "trial", "finish"}
#: On the side, mm; common practice, no source (the order of the trade, not our table).
FLOORS = {
    **dict.fromkeys(("304", "316", "Ti-6Al-4V", "Ti grade 2"), 0.10),
    **dict.fromkeys(("1018", "1045", "4140", "303", "12L14", "O1"), 0.05),
    **dict.fromkeys(("C360", "6061"), 0.03),
}
STEPS = [160.0, 260.0, 430.0, 700.0, 900.0, 1150.0, 1900.0]


def random_job(seed):
    """A job as a small lathe gets it."""
    dice = random.Random(seed)  # noqa: S311 - a test bench
    start = dice.choice([6.0, 9.525, 12.0, 16.0, 20.0, 25.0, 38.1])
    stickout = start * dice.choice([1.0, 1.5, 2.0, 2.8, 4.0, 6.0])
    held = (
        "chuck" if stickout <= 3 * start else dice.choice(["chuck and centre"] * 3 + ["chuck"])
    )
    fixed = dice.random() < 0.5
    return {
        "schema": "bluecurl.case/1",
        "work": {
            "material": dice.choice(sorted(own.METALS)),
            "stock": "round",
            "diameter_mm": start,
            "stickout_mm": stickout,
            "cut_length_mm": 0.8 * stickout,
            "holding": held,
            "target_diameter_mm": round(start * dice.uniform(0.55, 0.97), 2),
            "tolerance_mm": dice.choice([0.03, 0.05, 0.1, 0.2]),
            "roughness_rz_um": dice.choice([None, None, 16, 6.3]),
            "waste_end_mm": dice.choice([0, 12]),
        },
        "edge": {
            "id": "e",
            "material": dice.choice(["HSS", "carbide", "coated carbide"]),
            "rake_deg": 8,
            "kapr_deg": dice.choice([60, 75, 90]),
            "re_mm": dice.choice([0.1, 0.2, 0.4]),
            "edge_radius_um": dice.choice([8, 15, 25]),
            "condition": dice.choice(["fresh", "used"]),
            "overhang_mm": 12,
            "shank_mm": 10,
        },
        "lathe": {
            "power_w": dice.choice([150, 250, 400, 750]),
            "efficiency": 0.75,
            "spindle_rev_min": STEPS if fixed else {"from": 100, "to": 2000},
            "ranges": None if fixed else [{"from": 100, "to": 2000, "rated_rev_min": 900.0}],
            "chuck_max_rev_min": 2000,
            "feeds_mm_rev": [0.04, 0.06, 0.1, 0.15],
            "feed_change": dice.choice(["lever", "gears"]),
            "dial": {
                "mm_per_division": dice.choice([0.01, 0.02, 0.025, 0.05]),
                "reads": dice.choice(["radius", "diameter"]),
            },
            "stiffness_n_um": dice.choice([5, 10, 20]),
        },
        "passes": [],
    }


def plan_of(case):
    """From JSON to JSON."""
    return advisor.plan_json(advisor.plan_passes(advisor.parse_case(copy.deepcopy(case))))


def faults(case, plan):
    """Names of the promises that a feasible plan does not keep."""
    out, work, step = set(), case["work"], own.dial_step_mm(case["lathe"])
    cuts = [one for one in plan["passes"] if one["kind"] in CUTTING]
    floor = FLOORS.get(work["material"])
    floor = floor or own.METALS[work["material"]]["finishing_floor_mm"]["value"]
    diameter, rz = work["diameter_mm"], 0.0
    for one in cuts:
        cut = {**one["cut"], "length_mm": work["cut_length_mm"], "direction": "along"}
        if abs(one["diameter_from_mm"] - diameter) > 2e-4 * diameter:
            out.add("steps do not join")
        divisions = cut["depth_mm"] / step
        if (
            abs(divisions - round(divisions)) > 1e-5
            or round(divisions) != one["dial_divisions"]
        ):
            out.add("off the dial")
        if cut["depth_mm"] < floor - 1e-9:
            out.add("below the floor")
        cut["diameter_mm"] = diameter
        if own.broken(case, cut, rz_um=rz, planned_last=one["kind"] in {"semi", "finish"}):
            out.add("limit broken")
        rz = min(1000 * cut["feed_mm_rev"] ** 2 / (8 * case["edge"]["re_mm"]), 100.0)
        diameter -= 2 * cut["depth_mm"]
    if abs(diameter - work["target_diameter_mm"]) > work["tolerance_mm"] + 1e-9:
        out.add("size not reached")
    depths = [one["cut"]["depth_mm"] for one in cuts[-2:]]
    if len(depths) > 1 and max(depths) - min(depths) > 0.2 * max(depths) + 1e-9:
        out.add("last two not alike")
    return out


def _speeds(case, diameter):
    """Speeds that a machinist would use there: not above the table's by more than a flood."""
    metal = own.METALS[case["work"]["material"]]
    table = metal["hss_m_min" if case["edge"]["material"] == "HSS" else "carbide_m_min"]
    most = 1000 * 1.4 * table["high"] / (math.pi * diameter)
    given = case["lathe"]["spindle_rev_min"]
    speeds = given if isinstance(given, list) else [100.0 * k for k in range(1, 21)]
    return [speed for speed in speeds if speed <= most] or speeds[:1]


def _some_cut(case, diameter, depths, rz, *, last=False):
    """Whether any of these depths is legal at a diameter, with any speed and feed."""
    for depth, feed, speed in itertools.product(
        depths, case["lathe"]["feeds_mm_rev"], _speeds(case, diameter)
    ):
        cut = {"direction": "along", "spindle_rev_min": speed, "feed_mm_rev": feed}
        cut |= {"depth_mm": depth, "diameter_mm": diameter, "power_feed": True}
        cut["length_mm"] = case["work"]["cut_length_mm"]
        if not own.broken(case, cut, rz_um=rz, planned_last=last):
            return True
    return False


def has_plan(case):
    """Whether a search of our own finds two equal last cuts and roughing before them."""
    work, step = case["work"], own.dial_step_mm(case["lathe"])
    floor = own.METALS[work["material"]]["finishing_floor_mm"]["value"]
    total = round((work["diameter_mm"] - work["target_diameter_mm"]) / 2 / step)
    off = abs(work["diameter_mm"] - work["target_diameter_mm"] - 2 * total * step)
    if off > work["tolerance_mm"]:
        return False
    fine = min(1000 * case["lathe"]["feeds_mm_rev"][0] ** 2 / (8 * case["edge"]["re_mm"]), 100)
    least = max(1, -int(-floor / step // 1))
    for k in range(least, total // 2 + 1):
        rest = total - 2 * k
        if 0 < rest < least or k * step > 1.0:
            continue
        at = work["diameter_mm"] - 2 * rest * step
        pair = [at, at - 2 * k * step]
        if not all(_some_cut(case, d, [round(k * step, 6)], fine, last=True) for d in pair):
            continue
        depths = [round(n * step, 6) for n in range(least, min(rest, least + 12) + 1)]
        if not rest or all(
            _some_cut(
                case, work["diameter_mm"] - share * 2 * (rest - least) * step, depths, fine
            )
            for share in (0.0, 0.5, 1.0)
        ):
            return True
    return False


def sweep(seeds):
    """Run jobs; return counts and examples of faults."""
    counts, examples = Counter(), []
    for seed in seeds:
        case = random_job(seed)
        plan = plan_of(case)
        if plan["feasible"]:
            counts["planned"] += 1
            found = faults(case, plan)
            counts.update(found)
            counts["with a fault"] += bool(found)
            examples += [(seed, *sorted(found))] if found else []
        elif has_plan(case):
            counts["missed"] += 1
            examples.append((seed, "missed", plan["why_not"]))
        else:
            counts["not feasible"] += 1
    return counts, examples


def main():
    """Print the counts."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--jobs", type=int, default=1000, help="feasible jobs to look at")
    parser.add_argument("--from", dest="first", type=int, default=0, help="first seed")
    parser.add_argument("--show", type=int, default=0, help="print so many examples")
    chosen = parser.parse_args()
    start = time.perf_counter()
    counts, examples = Counter(), []
    seed = chosen.first
    while counts["planned"] + counts["missed"] < chosen.jobs:
        more, shown = sweep(range(seed, seed + 100))
        counts += more
        examples += shown
        seed += 100
    feasible = counts["planned"] + counts["missed"]
    kept = counts["planned"] - counts["with a fault"]
    seconds = time.perf_counter() - start
    print(f"{feasible} feasible jobs of {seed - chosen.first} in {seconds:.0f} s")  # noqa: T201
    print(f"planned and every promise kept: {100 * kept / feasible:.2f} % {dict(counts)}")  # noqa: T201
    for example in examples[: chosen.show]:
        print(*example)  # noqa: T201


if __name__ == "__main__":
    main()
