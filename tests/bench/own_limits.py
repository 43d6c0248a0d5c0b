"""The hard limits of a cut worked out a second time, from a case and the cut as JSON.

Shares no code with the advisor: the arithmetic is written down again from its
definitions, and only the printed bounds and tables are read, from the same TOML files.
Forces are taken 30 % above the tables. Lengths mm, forces N.
"""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

DATA = Path(__file__).parents[2] / "advisor" / "data"


def _table(name):
    return tomllib.loads((DATA / name).read_text(encoding="utf-8"))


METALS = {row["name"]: row for row in _table("materials.toml")["material"]}
EDGES = _table("edges.toml")
RULES = _table("rules.toml")
BAND = 1.0 + RULES["force_band"]["share"]["value"]
RADIAL = {"plunge", "part off"}
TINY = 1e-7


def dial_step_mm(lathe):
    """Depth on the side of one division."""
    dial = lathe["dial"]
    return dial["mm_per_division"] / (2.0 if dial["reads"] == "diameter" else 1.0)


def cross_feeds(lathe):
    """Cross feeds of a lathe; half the long ones where none are given."""
    given = lathe.get("cross_feeds_mm_rev")
    return given or [round(0.5 * f, 4) for f in lathe["feeds_mm_rev"]]


def feeds(lathe, direction):
    """Power feeds that a lathe has in a direction."""
    return lathe["feeds_mm_rev"] if direction in {"along", "bore"} else cross_feeds(lathe)


def chip(cut, edge):
    """Mean thickness and width of the uncut chip, and the angle of its chord, radians."""
    feed, depth, nose = cut["feed_mm_rev"], cut["depth_mm"], edge["re_mm"]
    if cut["direction"] in RADIAL:
        return feed, edge.get("blade_width_mm") or depth, math.pi / 2
    kapr = math.radians(edge["kapr_deg"] if cut["direction"] == "along" else 90.0)
    if nose == 0:
        return feed * math.sin(kapr), depth / math.sin(kapr), kapr
    arc = nose * (1 - math.cos(kapr))
    if depth >= arc:
        axial = (depth - arc) / math.tan(kapr) + nose * math.sin(kapr)
    else:
        axial = math.sqrt(2 * nose * depth - depth * depth)
    chord = math.atan2(depth, axial + feed / 2)
    thick = feed * math.sin(chord)
    return thick, feed * depth / thick, chord


def forces(case, cut, edge):
    """Cutting force and radial force, N, 30 % above the tables; and the chip thickness."""
    metal = METALS[case["work"]["material"]]
    thick, wide, chord = chip(cut, edge)
    speed = math.pi * cut["diameter_mm"] * cut["spindle_rev_min"] / 1000
    rake = 1 - 0.015 * (edge["rake_deg"] - metal["reference_rake_deg"]["value"])
    factor = min(max(rake, 0.7), 1.3) * (100 / min(max(speed, 20), 100)) ** 0.1
    factor *= EDGES["force_factor"][edge["material"]]["value"]
    factor *= EDGES["wear_factor"][edge["condition"]]["value"]
    factor *= EDGES["process_factor"][cut["direction"]]["value"]
    kc = metal["kc11_n_mm2"]["value"] * thick ** -metal["mc"]["value"]
    main = BAND * kc * thick * wide * factor
    thrust = main * EDGES["thrust_share"][edge["condition"]]["value"]
    along = cut["direction"] in {"along", "bore"}
    return main, thrust * (math.cos(chord) if along else math.sin(chord)), thick


def after_mm(cut):
    """Diameter that a cut leaves; a thread where it eats the whole bar."""
    if cut["direction"] == "along":
        return max(cut["diameter_mm"] - 2 * cut["depth_mm"], 0.05)
    return cut["diameter_mm"]


def bending_mm(case, cut, held, radial):
    """Deflection of bar and lathe at the worst place of the cut."""
    machine = radial / (1000 * case["lathe"]["stiffness_n_um"])
    if cut["direction"] == "bore":
        return machine
    inertia = math.pi * after_mm(cut) ** 4 / 64
    stiff = METALS[case["work"]["material"]]["e_gpa"]["value"] * 1000 * inertia
    length = held["stickout_mm"]
    if held["holding"] == "chuck":
        return machine + radial * length**3 / (3 * stiff)
    reach = min(cut["length_mm"], length)
    if held["holding"] == "between centres":
        x = max(length / 2, length - reach)
        return machine + radial * x**2 * (length - x) ** 2 / (3 * stiff * length)
    x = max((2 - math.sqrt(2)) * length, length - reach)
    b = length - x
    return machine + radial * x**3 * b**2 * (3 * length + b) / (12 * stiff * length**3)


def torque_nm(lathe, speed):
    """Torque at the spindle: constant below the rated speed of the best range."""
    spans = lathe.get("ranges")
    if spans is None and isinstance(lathe["spindle_rev_min"], dict):
        ends = lathe["spindle_rev_min"]
        spans = [{**ends, "rated_rev_min": (ends["from"] + ends["to"]) / 2}]
    rated = [s["rated_rev_min"] for s in spans or [] if s["from"] <= speed <= s["to"]]
    at = max(speed, min(rated)) if rated else speed
    return lathe["power_w"] * lathe["efficiency"] * 60 / (2 * math.pi * at)


def left_mm(case, cut):
    """Stock on the side, or None where there is no target."""
    target = case["work"].get("target_diameter_mm")
    if target is None or cut["direction"] not in {"along", "bore"}:
        return None
    if cut["direction"] == "bore":
        return (target - cut["diameter_mm"]) / 2 if target > cut["diameter_mm"] else None
    return (cut["diameter_mm"] - target) / 2


def _settable(lathe, cut):
    speeds, speed = lathe["spindle_rev_min"], cut["spindle_rev_min"]
    if isinstance(speeds, dict):
        if not speeds["from"] - TINY <= speed <= speeds["to"] + TINY:
            yield "speed steps"
        spans = lathe.get("ranges")
        if spans and not any(s["from"] <= speed <= s["to"] for s in spans):
            yield "speed steps"
    elif speed not in speeds:
        yield "speed steps"
    if speed > (lathe.get("chuck_max_rev_min") or math.inf) + TINY:
        yield "chuck speed"
    if cut["power_feed"] and cut["feed_mm_rev"] not in feeds(lathe, cut["direction"]):
        yield "feed steps"
    if cut["direction"] not in RADIAL:
        divisions = cut["depth_mm"] / dial_step_mm(lathe)
        if divisions < 0.5 or abs(divisions - round(divisions)) > 1e-5:
            yield "dial"


def _reach(case, cut, edge, held):
    shape = held["stickout_mm"] / after_mm(cut)
    if cut["direction"] == "bore":
        shape = held["stickout_mm"] / max(case["work"]["diameter_mm"], cut["diameter_mm"])
    if shape > RULES["overhang_over_diameter"][held["holding"]]["value"] + TINY:
        yield "stick-out"
    grip = case["work"].get("grip_mm")
    share = RULES["grip_over_stickout"][held["holding"]]["value"]
    if grip is not None and grip < share * held["stickout_mm"] - TINY:
        yield "grip"
    tool = RULES["tool"]
    if cut["direction"] in RADIAL:
        wide = edge.get("blade_width_mm") or cut["depth_mm"]
        if edge["overhang_mm"] / wide > tool["blade_overhang_over_width"]["value"] + TINY:
            yield "blade overhang"
        if cut["direction"] == "part off" and edge["overhang_mm"] < cut["diameter_mm"] / 2:
            yield "blade reach"
        return
    most = tool["bar_over_shank" if cut["direction"] == "bore" else "overhang_over_shank"]
    if edge["overhang_mm"] / edge["shank_mm"] > most["value"] + TINY:
        yield "tool overhang"
    nose = edge["re_mm"]
    if nose > 0 and cut["feed_mm_rev"] > tool["feed_over_nose"]["value"] * nose + TINY:
        yield "nose radius"


def _depth(case, cut, bend, rz_um, planned_last):
    floor, left = METALS[case["work"]["material"]]["finishing_floor_mm"]["value"], None
    depth, tolerance = cut["depth_mm"], case["work"]["tolerance_mm"]
    left = left_mm(case, cut)
    # The last two leave no two more that would cut; a plan says which they are.
    two = 2 * floor - tolerance / 2  # the last one aims at anything inside the tolerance
    last = left is not None and (planned_last or left - depth < two - TINY)
    least = floor
    if last:
        springs = RULES["deflection"]["finish_times_expected"]["value"] * bend / BAND
        least = max(floor, springs, rz_um / 1000 + RULES["finish"]["run_out_mm"]["value"])
    if depth < least - TINY:
        yield "least depth"
    between = left is not None and not last and left - depth < 2 * floor - TINY
    error = 2 * bend > tolerance + TINY
    if last and error:
        yield "diameter error"
    rough = RULES["deflection"]
    most = min(rough["rough_share_of_depth"]["value"] * depth, rough["rough_mm"]["value"])
    if not last and bend > most + TINY and (error or not between):
        yield "deflection"  # between the two either rule will do
    if left is None:
        share = RULES["finish"]["thinnest_bar_share"]["value"]
        thin = share * case["work"]["diameter_mm"]
        if cut["direction"] == "along" and after_mm(cut) < thin - TINY:
            yield "bar left"
    elif depth > left + tolerance / 2 + TINY:
        yield "stock left"
    elif tolerance / 2 + TINY < left - depth < floor - tolerance / 2 - TINY:
        yield "remainder"


def broken(case, cut, *, edge=None, held=None, rz_um=0.0, planned_last=False):
    """Names of the hard limits that a cut breaks.

    ``edge`` and ``held`` say how it is made where that differs from the job; ``rz_um`` is
    the roughness that the cut before left. A hand feed of unknown size counts as 0.08.
    """
    edge = case["edge"] if edge is None else edge
    held = case["work"] if held is None else held
    lathe = case["lathe"]
    out = list(_settable(lathe, cut))
    cut = {**cut, "feed_mm_rev": cut["feed_mm_rev"] or 0.08}
    out += _reach(case, cut, edge, held)
    main, radial, thick = forces(case, cut, edge)
    speed = math.pi * cut["diameter_mm"] * cut["spindle_rev_min"] / 1000
    if main * speed / 60 > lathe["power_w"] * lathe["efficiency"] * (1 + TINY):
        out.append("power")
    turning = main * cut["diameter_mm"] / 2000
    if turning > torque_nm(lathe, cut["spindle_rev_min"]) * (1 + TINY):
        out.append("torque")
    wide = edge["shank_mm"]
    if cut["direction"] in RADIAL:
        wide = min(edge.get("blade_width_mm") or cut["depth_mm"], wide)
    tool = main * edge["overhang_mm"] ** 3 / (3 * 207000 * wide * edge["shank_mm"] ** 3 / 12)
    if tool > RULES["tool"]["bending_mm"]["value"] + TINY:
        out.append("tool bending")
    thinnest = RULES["chip"]["thinnest_share"]["value"] * edge["edge_radius_um"] / 1000
    if thick < thinnest - TINY:
        out.append("chip thickness")
    bend = bending_mm(case, cut, held, radial)
    if cut["direction"] in {"along", "bore"}:
        out += _depth(case, cut, bend, rz_um, planned_last)
    elif bend > RULES["deflection"]["rough_mm"]["value"] + TINY:
        out.append("deflection")
    return out
