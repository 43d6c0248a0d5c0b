"""A way to write down a job in one line; all jobs here are invented.

The lathe is a small one with a variable drive, a fine set of feeds and enough power, so
that unless a test is about limits, the chips alone decide.
"""

from __future__ import annotations

import copy
import math

import pytest

import advisor

FEEDS = [0.03, 0.04, 0.05, 0.06, 0.08, 0.1, 0.12, 0.15, 0.2]


def rev_min(speed_m_min, diameter_mm):
    """n = 1000 vc / (pi D), the definition (DIN 6580)."""
    return 1000.0 * speed_m_min / (math.pi * diameter_mm)


def one_pass(speed_m_min=20.0, feed=0.06, depth=0.4, diameter=16.0, **more):
    """One pass; ``form`` and ``tint`` become signs, the rest is the contract's own."""
    signs = None
    if "form" in more or "tint" in more:
        signs = {"form": more.pop("form", None), "share": 0.9, "sure": more.pop("sure", True)}
        signs["tint"] = more.pop("tint", None)
        signs["length_mm"] = more.pop("length_mm", None)
    cut = {
        "direction": more.pop("direction", "along"),
        "spindle_rev_min": rev_min(speed_m_min, diameter),
        "feed_mm_rev": feed,
        "depth_mm": depth,
        "diameter_mm": diameter,
        "length_mm": 20.0,
        "coolant": more.pop("coolant", "cutting oil"),
        "power_feed": more.pop("power_feed", True),
    }
    return {"cut": cut, "signs": signs, "edge_looked_at": "not yet", "noticed": [], **more}


def job(metal="1045", passes=(), *, edge=None, work=None, lathe=None):
    """A complete case; keyword groups override single fields."""
    case = {
        "schema": "bluecurl.case/1",
        "work": {
            "material": metal,
            "stock": "round",
            "diameter_mm": 16.0,
            "stickout_mm": 30.0,
            "cut_length_mm": 20.0,
            "holding": "chuck",
            "target_diameter_mm": None,
            "tolerance_mm": 0.05,
            "roughness_rz_um": None,
            "waste_end_mm": 0.0,
        },
        "edge": {
            "id": "a",
            "material": "HSS",
            "rake_deg": 8,
            "kapr_deg": 75,
            "end_edge_angle_deg": 15,
            "re_mm": 0.2,
            "edge_radius_um": 10,
            "condition": "fresh",
            "chip_groove": False,
            "overhang_mm": 12,
            "shank_mm": 12,
            "centre_height_mm": 0.0,
            "blade_width_mm": None,
        },
        "lathe": {
            "power_w": 750,
            "efficiency": 0.75,
            "spindle_rev_min": {"from": 50, "to": 2500},
            "ranges": [{"from": 50, "to": 2500, "rated_rev_min": 300}],
            "chuck_max_rev_min": 2500,
            "feeds_mm_rev": FEEDS,
            "cross_feeds_mm_rev": FEEDS,
            "feed_change": "lever",
            "dial": {"mm_per_division": 0.02, "reads": "radius"},
            "stiffness_n_um": 12,
        },
        "passes": list(passes),
    }
    for name, own in (("edge", edge), ("work", work), ("lathe", lathe)):
        case[name].update(own or {})
    return case


def advice_of(case):
    """The advice as scripts get it."""
    return advisor.advice_json(advisor.advise(advisor.parse_case(copy.deepcopy(case))))


@pytest.fixture
def new_job():
    return job


@pytest.fixture
def new_pass():
    return one_pass


@pytest.fixture
def ask():
    return advice_of
