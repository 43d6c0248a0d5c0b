"""Count broken hard limits over many random cases, worked out a second time.

Run as ``python tests/bench/limits.py --cases 100000``. Prints how often each verdict was
given, how many hard limits the next cuts break by ``own_limits`` (wanted: none), and the
share of cases with a legal improving move that were answered by "change" or "keep"
(wanted: 95 %), so that nobody stays inside the limits by saying "stop".

A case counts as having such a move when it shows no danger, no bad edge and no size
reached, and some setting of one lever that shows is legal: for chips that are too long a
higher feed, more depth or less speed; for a cut that is itself outside a limit any one
lever; and a cut inside all limits with good chips is its own answer.
"""

from __future__ import annotations

import argparse
import copy
import math
import random
import time
from collections import Counter

import own_limits as own

import advisor

DANGERS = ["stalled", "slipped", "dug in", "wrapped on work", "smoke", "sparks"]
SIGNS = ["rubbing", "squeal", "chatter", "hammering", "tearing", "dull finish", "burr"]
SIGNS += ["labouring", "work hot"]
FORMS = ["1.1", "1.2", "1.3", "2.1", "2.2", "2.3", "3.1", "4.1", "4.3", "5.1", "5.2", "5.3"]
FORMS += ["6.1", "6.2", "7", "8"]
LONG = {"1.1", "1.3", "2.1", "2.3", "4.1", "4.3", "5.1", "5.3"}
TINTS = ["bright"] * 6 + ["pale straw", "straw", "brown", "blue", "grey"]
STEPS = [80.0, 160.0, 260.0, 430.0, 700.0, 900.0, 1150.0, 1900.0]


def random_lathe(dice):
    """A small lathe: steps or a drive, gears or levers, one dial."""
    fixed = dice.random() < 0.5
    spans = [
        None,
        [{"from": 60, "to": 2200, "rated_rev_min": dice.choice([300.0, 800.0, 1500.0])}],
        [
            {"from": 60, "to": 700, "rated_rev_min": 400.0},
            {"from": 700, "to": 2200, "rated_rev_min": 1600.0},
        ],
    ]
    return {
        "power_w": dice.choice([150, 250, 400, 400, 750]),
        "efficiency": dice.choice([0.7, 0.75, 0.9]),
        "spindle_rev_min": STEPS if fixed else {"from": 60, "to": 2200},
        "ranges": dice.choice(spans),
        "chuck_max_rev_min": dice.choice([None, 1000, 2000]),
        "feeds_mm_rev": dice.choice([[0.02, 0.04, 0.06, 0.1, 0.15, 0.2], [0.04, 0.08, 0.16]]),
        "cross_feeds_mm_rev": dice.choice([None, [0.02, 0.05], [0.04, 0.1]]),
        "feed_change": dice.choice(["lever", "gears"]),
        "dial": {
            "mm_per_division": dice.choice([0.01, 0.02, 0.025, 0.05]),
            "reads": dice.choice(["radius", "diameter"]),
        },
        "stiffness_n_um": dice.choice([2, 5, 10, 30]),
    }


def random_edge(dice):
    """An edge with everything stated."""
    stuff = dice.choice(["HSS", "carbide", "coated carbide"])
    return {
        "id": "e",
        "material": stuff,
        "rake_deg": dice.choice([0, 8, 15]),
        "kapr_deg": dice.choice([45, 60, 75, 90, 95]),
        "re_mm": dice.choice([0.1, 0.2, 0.4, 0.8]),
        "edge_radius_um": dice.choice([8, 15, 30]),
        "condition": dice.choice(["fresh", "used", "dull"]),
        "blade_width_mm": 2.0,
        "overhang_mm": dice.choice([10, 12, 15, 30]),
        "shank_mm": 10,
    }


def _speed(dice, case, diameter_mm):
    """A spindle speed: mostly about right for the metal, now and then anything."""
    span = own.METALS[case["work"]["material"]]
    span = span["hss_m_min" if case["edge"]["material"] == "HSS" else "carbide_m_min"]
    wish = 1000 * dice.uniform(span["low"], span["high"]) / (math.pi * diameter_mm)
    speeds = case["lathe"]["spindle_rev_min"]
    if dice.random() < 0.2:
        wish = dice.uniform(60, 2200)
    if isinstance(speeds, list):
        return min(speeds, key=lambda s: abs(math.log(s / wish)))
    return round(min(max(wish, speeds["from"]), speeds["to"]), 1)


def random_pass(dice, case, diameter_mm, direction):
    """One pass as somebody might have made it, sensible or not."""
    lathe, step = case["lathe"], own.dial_step_mm(case["lathe"])
    depth = max(1, round(dice.choice([0.1, 0.2, 0.3, 0.5, 0.8, 1.2]) / step)) * step
    if direction == "part off":
        depth = 2.0
    elif direction == "along":
        depth = min(depth, max(1, round(0.1 * diameter_mm / step)) * step)
    left = own.left_mm(case, {"direction": direction, "diameter_mm": diameter_mm})
    if left is not None and dice.random() < 0.9:  # few turn below the size they want
        depth = max(step, min(depth, int(max(left, 0) / step) * step))
    feed = None if dice.random() < 0.05 else dice.choice(own.feeds(lathe, direction))
    signs = {
        "form": dice.choice(FORMS),
        "sure": dice.random() < 0.8,
        "tint": dice.choice(TINTS),
    }
    noticed = [dice.choice(SIGNS)] if dice.random() < 0.25 else []
    noticed += [dice.choice(DANGERS)] if dice.random() < 0.05 else []
    measured = None
    if direction == "along" and dice.random() < 0.5:
        sprung = dice.choice([0.0, 0.02, 0.05]) * min(1.0, depth)
        measured = [[3.0, round(diameter_mm - 2 * depth + 2 * sprung, 3)]]
    looked = ["not yet", "not yet", "sharp", "sharp", "sharp", "worn", "built-up"]
    return {
        "cut": {
            "direction": direction,
            "spindle_rev_min": _speed(dice, case, diameter_mm),
            "feed_mm_rev": feed,
            "depth_mm": round(depth, 6),
            "diameter_mm": diameter_mm,
            "length_mm": case["work"]["cut_length_mm"],
            "coolant": dice.choice(["dry", "cutting oil", "soluble oil"]),
            "power_feed": feed is not None,
        },
        "signs": signs if dice.random() < 0.85 else None,
        "noticed": noticed,
        "edge_looked_at": dice.choice(looked),
        "measured_mm": measured,
        "chip_thickness_mm": round((feed or 0.08) * dice.uniform(1.2, 3.0), 3)
        if dice.random() < 0.2
        else None,
    }


def random_case(seed):
    """A complete case; the same for the same seed."""
    dice = random.Random(seed)  # noqa: S311 - a test bench
    diameter = dice.choice([5.0, 9.525, 12.0, 20.0, 38.0])
    stickout = diameter * dice.choice([1.0, 1.5, 2.5, 2.5, 4.0, 7.0])
    work = {
        "material": dice.choice(sorted(own.METALS)),
        "stock": dice.choice(["round"] * 4 + ["hex", "cast skin"]),
        "diameter_mm": diameter,
        "stickout_mm": stickout,
        "cut_length_mm": 0.75 * stickout,
        "holding": dice.choice(["chuck"] * 3 + ["chuck and centre", "steady rest"]),
        "tolerance_mm": dice.choice([0.02, 0.05, 0.2]),
        "grip_mm": dice.choice([None, None, None, diameter, 2 * diameter]),
    }
    case = {"schema": "bluecurl.case/1", "work": work, "edge": random_edge(dice)}
    case["lathe"] = random_lathe(dice)
    case["passes"] = []
    direction = dice.choice(["along"] * 6 + ["face", "part off", "bore"])
    if direction == "along" and dice.random() < 0.6:
        work["target_diameter_mm"] = round(diameter * dice.choice([0.95, 0.9, 0.7]), 2)
    for _ in range(dice.choice([0, 1, 1, 2, 3, 4])):
        if diameter <= 0.4 * work["diameter_mm"]:
            break
        one = random_pass(dice, case, diameter, direction)
        if case["passes"] and dice.random() < 0.4:  # the settings of the pass before, again
            before = case["passes"][-1]["cut"]
            one["cut"] |= {k: before[k] for k in ("spindle_rev_min", "feed_mm_rev", "coolant")}
            one["cut"]["power_feed"] = before["power_feed"]
        case["passes"].append(one)
        diameter = next_diameter(one)
    return case


def next_diameter(one):
    """Diameter that a pass left: as measured, else as set."""
    if one["measured_mm"]:
        return sum(d for _, d in one["measured_mm"]) / len(one["measured_mm"])
    way = {"along": -2.0, "bore": 2.0}.get(one["cut"]["direction"], 0.0)
    return one["cut"]["diameter_mm"] + way * one["cut"]["depth_mm"]


def answer(case):
    """From JSON to JSON."""
    return advisor.advice_json(advisor.advise(advisor.parse_case(copy.deepcopy(case))))


def as_made(case, cut):
    """Edge and holding of a next cut, from the job and the words of the advice."""
    edge, held = dict(case["edge"]), dict(case["work"])
    edge["overhang_mm"] = cut.get("overhang_mm", edge["overhang_mm"])
    held["holding"] = cut.get("holding", held["holding"])
    held["stickout_mm"] = cut.get("stickout_mm", held["stickout_mm"])
    words = cut.get("edge", "")
    if "fresh" in words:
        edge["condition"] = "fresh"
        edge["edge_radius_um"] = own.EDGES["edge_radius_um"][edge["material"]]["value"]
    elif "of rake" in words:
        edge["rake_deg"] = float(words.split("°")[0])
    elif "cutting edge angle" in words:
        edge["kapr_deg"] = float(words.split("°")[0])
    elif "mm nose" in words:
        edge["re_mm"] = float(words.split()[0])
    return edge, held


def last_rz_um(case):
    """Theoretical roughness that the last pass left, as far as it counts."""
    if not case["passes"]:
        return 0.0
    feed = case["passes"][-1]["cut"]["feed_mm_rev"] or 0.08
    return min(1000 * feed**2 / (8 * case["edge"]["re_mm"]), 100.0)


def broken_by(case, advice):
    """Names of the hard limits that the next cut of an advice breaks."""
    cut = advice["next_cut"]
    if cut is None:
        return []
    edge, held = as_made(case, cut)
    cut = {**cut, "length_mm": case["work"]["cut_length_mm"]}
    return own.broken(case, cut, edge=edge, held=held, rz_um=last_rz_um(case))


def present_cut(case):
    """The last setting again, on what is left of the bar."""
    last = case["passes"][-1]
    return {**last["cut"], "diameter_mm": next_diameter(last)}


def _settings(case, cut, lever):
    lathe = case["lathe"]
    if lever == "feed_mm_rev":
        return own.feeds(lathe, cut["direction"])
    if lever == "depth_mm":
        if cut["direction"] in own.RADIAL:
            return []
        step = own.dial_step_mm(lathe)
        return [round(k * step, 6) for k in range(1, min(200, round(2.0 / step)) + 1)]
    speeds = lathe["spindle_rev_min"]
    return speeds if isinstance(speeds, list) else [60.0 + 40.0 * k for k in range(54)]


def has_improving_move(case):  # noqa: PLR0911 - one reason a line
    """Whether one lever, moved so far that it shows, is legal and goes the right way."""
    if not case["passes"]:
        return False
    last, cut = case["passes"][-1], present_cut(case)
    left, tolerance = own.left_mm(case, cut), case["work"]["tolerance_mm"]
    parting = cut["direction"] == "part off" and "centre" in case["work"]["holding"]
    if parting or set(last["noticed"]) & set(DANGERS):
        return False
    if last["edge_looked_at"] not in {"not yet", "sharp"} or cut["feed_mm_rev"] is None:
        return False
    floor = own.METALS[case["work"]["material"]]["finishing_floor_mm"]["value"]
    if left is not None and left < max(floor, tolerance):
        return False
    rz = last_rz_um(case)
    legal = not own.broken(case, cut, rz_um=rz)
    form = (last["signs"] or {}).get("form")
    if legal and form not in LONG:
        return True
    ways = {"feed_mm_rev": 1.25, "depth_mm": 1.25, "spindle_rev_min": 1 / 1.12}
    for lever, shows in ways.items():
        for value in _settings(case, cut, lever):
            ratio = value / cut[lever]
            right = ratio >= shows if shows > 1 else ratio <= shows
            if (right or not legal) and not own.broken(case, {**cut, lever: value}, rz_um=rz):
                return True
    return False


def sweep(seeds):
    """Run cases; return counts of verdicts, of broken limits, and of answers owed and given."""
    verdicts, faults, owed, examples = Counter(), Counter(), Counter(), []
    for seed in seeds:
        case = random_case(seed)
        advice = answer(case)
        verdicts[advice["verdict"]] += 1
        names = broken_by(case, advice)
        faults.update(names)
        if names:
            examples.append((seed, names))
        if has_improving_move(case):
            owed[advice["verdict"]] += 1
            if advice["verdict"] == "stop":
                examples.append((seed, ["stop", advice["because"]]))
    return verdicts, faults, owed, examples


def main():
    """Print the counts."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cases", type=int, default=2000)
    parser.add_argument("--from", dest="first", type=int, default=0, help="first seed")
    parser.add_argument("--show", type=int, default=0, help="print so many examples")
    chosen = parser.parse_args()
    start = time.perf_counter()
    seeds = range(chosen.first, chosen.first + chosen.cases)
    verdicts, faults, owed, examples = sweep(seeds)
    answered = owed["change"] + owed["keep"]
    counted = sum(owed.values())
    print(f"{chosen.cases} cases in {time.perf_counter() - start:.0f} s: {dict(verdicts)}")  # noqa: T201
    print(f"hard limits broken by a next cut: {sum(faults.values())} {dict(faults) or ''}")  # noqa: T201
    share = 100 * answered / max(1, counted)
    told = dict(owed)
    print(f"legal improving move: {counted}, answered by change or keep {share:.1f} %: {told}")  # noqa: T201
    asked = counted - owed["look at the edge"]
    share = 100 * answered / max(1, asked)
    print(f"... and where the edge did not come first: {share:.1f} %")  # noqa: T201
    for seed, names in examples[: chosen.show]:
        print(seed, *names)  # noqa: T201


if __name__ == "__main__":
    main()
