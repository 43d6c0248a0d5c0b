"""A case that cannot be used is named field by field; nothing else ever comes out."""

from __future__ import annotations

import copy
import json
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import advisor
from advisor.errors import AdvisorError, CaseInvalid, LimitExceeded, OutOfTable

# The example on the page of stable JSON.
EXAMPLE = """
{"schema": "bluecurl.case/1",
 "work": {"material": "Ti-6Al-4V", "stock": "round", "diameter_mm": 12.0, "stickout_mm": 40,
          "cut_length_mm": 30, "holding": "chuck and centre", "target_diameter_mm": 10.0,
          "tolerance_mm": 0.05, "roughness_rz_um": 16, "waste_end_mm": 12},
 "edge": {"id": "hss-3", "material": "HSS", "rake_deg": 8, "kapr_deg": 75,
          "end_edge_angle_deg": 15, "re_mm": 0.4, "edge_radius_um": 10,
          "condition": "fresh", "chip_groove": false, "overhang_mm": 15, "shank_mm": 10,
          "centre_height_mm": 0.0, "blade_width_mm": null},
 "lathe": {"power_w": 400, "efficiency": 0.75,
           "spindle_rev_min": [160, 260, 430, 700, 900, 1150, 1900],
           "ranges": [{"from": 100, "to": 700, "rated_rev_min": 500},
                      {"from": 700, "to": 2000, "rated_rev_min": 1700}],
           "chuck_max_rev_min": 2000, "feeds_mm_rev": [0.04, 0.06, 0.1, 0.15],
           "cross_feeds_mm_rev": null, "feed_change": "lever",
           "dial": {"mm_per_division": 0.02, "reads": "radius"}, "stiffness_n_um": 8},
 "passes": [
   {"cut": {"direction": "along", "spindle_rev_min": 900, "feed_mm_rev": 0.04,
            "depth_mm": 0.3, "diameter_mm": 12.0, "length_mm": 30,
            "coolant": "cutting oil", "power_feed": true},
    "edge": null, "holding": null, "stickout_mm": null,
    "measured_mm": [[5, 11.46], [25, 11.44]], "chip_thickness_mm": null,
    "reading": null,
    "signs": {"form": "1.3", "share": 0.9, "sure": true, "length_mm": 180,
              "curl_radius_mm": null, "tint": "bright", "width_mm": 0.4},
    "noticed": ["rubbing"], "edge_looked_at": "not yet"}]}
"""
LEAST = {
    "work": {"material": "1018", "diameter_mm": 12},
    "edge": {"material": "HSS"},
    "lathe": {"spindle_rev_min": [500], "feeds_mm_rev": [0.1]},
    "passes": [
        {
            "cut": {
                "direction": "along",
                "spindle_rev_min": 500,
                "feed_mm_rev": 0.1,
                "depth_mm": 0.3,
            }
        }
    ],
}

# Metals the stable page promises, with names of UNS and EN (from memory).
NAMES = [
    *("1018", "12L14", "1045", "4140", "O1", "303", "304", "316", "Ti grade 2", "Ti-6Al-4V"),
    *("6061", "C360", "bronze", "grey iron"),
    *("G10180", "G12144", "G10450", "G41400", "T31501", "S30300", "S30400", "S31600"),
    *("R50400", "R56400", "A96061", "C36000"),
    *("C45E", "42CrMo4", "1.4305", "1.4301", "1.4401", "EN-GJL-250", "1.7225"),
]


def example():
    return json.loads(EXAMPLE)


def with_field(path, value):
    """The example with one field set; a step of the path is a key or a place."""
    case = example()
    node = case
    for step in path[:-1]:
        node = node[step]
    node[path[-1]] = value
    return case


def test_the_example_of_the_page_parses_and_gets_advice():
    assert advisor.advice_json(advisor.advise(advisor.parse_case(example())))["verdict"]


def test_only_the_needed_fields_are_needed_and_their_absence_costs_trust():
    full = advisor.advice_json(advisor.advise(advisor.parse_case(example())))
    least = advisor.advice_json(advisor.advise(advisor.parse_case(LEAST)))
    order = ["poor", "fair", "good"]
    assert order.index(least["trust"]) < order.index(full["trust"])


@pytest.mark.parametrize("name", NAMES)
def test_metals_are_known_by_their_names(name):
    advisor.parse_case(with_field(("work", "material"), name))


def test_an_unknown_metal_is_outside_the_tables():
    with pytest.raises(OutOfTable) as caught:
        advisor.parse_case(with_field(("work", "material"), "unobtainium"))
    assert caught.value.code == "outside-tables"


@pytest.mark.parametrize(
    "path",
    [
        ("work", "material"),
        ("work", "diameter_mm"),
        ("edge", "material"),
        ("lathe", "spindle_rev_min"),
        ("lathe", "feeds_mm_rev"),
        ("passes", 0, "cut"),
        ("passes", 0, "cut", "direction"),
        ("passes", 0, "cut", "spindle_rev_min"),
        ("passes", 0, "cut", "depth_mm"),
        ("passes", 0, "cut", "feed_mm_rev"),
        ("work",),
        ("edge",),
        ("lathe",),
    ],
)
def test_a_missing_needed_field_is_named(path):
    case = example()
    node = case
    for step in path[:-1]:
        node = node[step]
    del node[path[-1]]
    with pytest.raises(CaseInvalid) as caught:
        advisor.parse_case(case)
    assert str(path[-1]) in caught.value.path
    assert caught.value.code == "case-invalid"


BAD = [
    (("work", "diameter_mm"), 0),
    (("work", "diameter_mm"), -12.0),
    (("work", "diameter_mm"), math.nan),
    (("work", "diameter_mm"), math.inf),
    (("work", "diameter_mm"), True),
    (("work", "diameter_mm"), "12"),
    (("work", "diameter_mm"), [12]),
    (("work", "holding"), "glue"),
    (("work", "stock"), 7),
    (("work", "material"), 304),
    (("work", "target_diameter_mm"), 14.0),
    (("edge", "material"), "diamond"),
    (("edge", "condition"), "Fresh"),
    (("edge", "kapr_deg"), 0),
    (("edge", "chip_groove"), "no"),
    (("lathe", "spindle_rev_min"), []),
    (("lathe", "spindle_rev_min"), [0]),
    (("lathe", "spindle_rev_min"), {"from": 500, "to": 100}),
    (("lathe", "feeds_mm_rev"), [0.1, None]),
    (("lathe", "feeds_mm_rev"), "0.1"),
    (("lathe", "ranges"), [{"from": 700, "to": 100}]),
    (("lathe", "dial", "reads"), "side"),
    (("lathe", "dial", "mm_per_division"), 0),
    (("lathe", "efficiency"), 1.5),
    (("passes",), {}),
    (("passes", 0), None),
    (("passes", 0, "cut", "direction"), "sideways"),
    (("passes", 0, "cut", "feed_mm_rev"), 0),
    (("passes", 0, "cut", "feed_mm_rev"), True),
    (("passes", 0, "noticed"), ["purple haze"]),
    (("passes", 0, "noticed"), "rubbing"),
    (("passes", 0, "measured_mm"), [[5]]),
    (("passes", 0, "measured_mm"), [5, 11.4]),
    (("passes", 0, "signs", "form"), "9"),
    (("passes", 0, "signs", "tint"), "mauve"),
    (("passes", 0, "signs", "share"), 1.2),
    (("passes", 0, "edge_looked_at"), "maybe"),
]


@pytest.mark.parametrize(("path", "value"), BAD, ids=lambda v: str(v)[:40])
def test_a_bad_field_is_named_with_what_to_do(path, value):
    with pytest.raises(CaseInvalid) as caught:
        advisor.parse_case(with_field(path, value))
    names = [str(step) for step in path if isinstance(step, str)]
    assert names[-1] in caught.value.path
    assert len(str(caught.value)) > len(caught.value.path) + 10


@pytest.mark.parametrize("word", ["case", 3, None, [], {"schema": "bluecurl.case/2"}])
def test_what_is_no_case_is_refused(word):
    with pytest.raises(CaseInvalid):
        advisor.parse_case(word)


def test_errors_survive_a_trip_between_processes():
    with pytest.raises(CaseInvalid) as caught:
        advisor.parse_case(with_field(("work", "diameter_mm"), 0))
    again = copy.deepcopy(caught.value)  # rebuilt by the rules by which processes send it
    assert (again.path, str(again)) == (caught.value.path, str(caught.value))


def test_codes_of_the_errors_stay():
    assert [e.code for e in (CaseInvalid, OutOfTable, LimitExceeded)] == [
        "case-invalid",
        "outside-tables",
        "limit-exceeded",
    ]
    assert all(issubclass(e, AdvisorError) for e in (CaseInvalid, OutOfTable, LimitExceeded))


def _places(node, path=()):
    """Every place of a JSON tree, so that fuzz can strike anywhere."""
    yield path
    items = node.items() if isinstance(node, dict) else enumerate(node)
    if isinstance(node, (dict, list)):
        for key, value in items:
            if isinstance(value, (dict, list)):
                yield from _places(value, (*path, key))
            else:
                yield (*path, key)


PLACES = [place for place in _places(example()) if place]
NUMBERS = st.integers() | st.floats() | st.booleans()
JSON = st.recursive(
    st.none() | NUMBERS | st.text(max_size=12),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner),
    max_leaves=6,
)


@settings(max_examples=300)
@given(place=st.sampled_from(PLACES), value=JSON)
def test_fuzz_in_one_place_gives_a_case_or_a_named_error(place, value):
    try:
        case = advisor.parse_case(with_field(place, value))
    except (CaseInvalid, OutOfTable):
        return
    # What parses must also be answered: no case passes the door and fails behind it.
    assert advisor.advice_json(advisor.advise(case))["verdict"]


@settings(max_examples=200)
@given(value=JSON)
def test_fuzz_from_scratch_gives_a_named_error(value):
    with pytest.raises((CaseInvalid, OutOfTable)):
        advisor.parse_case(value)
