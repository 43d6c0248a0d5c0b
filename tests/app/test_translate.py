"""From logbook to case: the advisor itself must accept whatever we put together."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

import advisor
from app.engine import advise_case
from app.records import JobRow, PassRow
from app.show import Units
from app.translate import case_of, metal_of, next_cut, next_told, signs_of, with_reading

CUT = {
    "direction": "along",
    "spindle_rev_min": 900,
    "feed_mm_rev": 0.04,
    "depth_mm": 0.3,
    "diameter_mm": 12.0,
    "coolant": "dry",
    "power_feed": True,
}
EDGE = {"material": "HSS", "id": "hss-3", "rake_deg": 15}
NOW = datetime(2024, 7, 1, tzinfo=UTC)


@pytest.fixture
def job(fakes):
    return JobRow(
        id=1,
        name="Bolt",
        work={"material": "Ti-6Al-4V", "diameter_mm": 12.0, "stickout_mm": 40},
        edge=EDGE,
        lathe=fakes.CASE["lathe"],
        made_at_utc=NOW,
    )


def _pass(number=1, **columns):
    return PassRow(
        **{"id": number, "job_id": 1, "number": number, "cut": CUT, "made_at_utc": NOW}
        | columns
    )


def _advised(**next_cut_words):
    cut = {"spindle_rev_min": 900, "feed_mm_rev": 0.06, "depth_mm": 0.3, "diameter_mm": 11.4}
    return {"verdict": "change", "next_cut": {**cut, **next_cut_words}}


def _following(job, *, advice, told=None):
    """The pass after a followed advice, as the page would start it."""
    last = _pass(advice=advice, followed=True, told=told or {})
    return _pass(2, cut=next_cut(last), told=next_told(job, last)), last


def test_the_next_pass_starts_from_the_advised_cut():
    last = _pass(advice=_advised(), followed=True)
    assert next_cut(last)["feed_mm_rev"] == 0.06
    assert next_cut(_pass(advice=_advised(), followed=False))["feed_mm_rev"] == 0.04


def test_the_diameter_is_left_to_what_the_earlier_passes_left(job):
    after, last = _following(job, advice=_advised())
    assert "diameter_mm" not in after.cut
    parsed = advisor.parse_case(case_of(job, [last, after]))
    assert parsed.passes[1].cut.diameter_mm == pytest.approx(11.4)  # 12 - 2 x 0.3


@pytest.mark.parametrize(
    ("words", "field", "value"),
    [
        ({"edge": "fresh"}, "condition", "fresh"),
        ({"edge": "with a chip groove"}, "chip_groove", True),
        ({"edge": "5° of rake"}, "rake_deg", 5.0),
        ({"edge": "88° cutting edge angle"}, "kapr_deg", 88.0),
        ({"edge": "0.2 mm nose"}, "re_mm", 0.2),
        ({"edge": "on centre"}, "centre_height_mm", 0.0),
        ({"overhang_mm": 12.0}, "overhang_mm", 12.0),
    ],
)
def test_a_followed_change_of_edge_is_a_new_edge(job, words, field, value):
    after, last = _following(job, advice=_advised(**words))
    parsed = advisor.parse_case(case_of(job, [last, after]))
    assert getattr(parsed.passes[1].edge, field) == value
    assert parsed.passes[1].edge.id != parsed.passes[0].edge.id
    assert parsed.passes[1].edge.material == "HSS"


def test_a_changed_support_stays_until_changed_again(job):
    after, last = _following(job, advice=_advised(holding="chuck and centre"))
    third = _pass(3, cut=next_cut(after), told=next_told(job, after))
    parsed = advisor.parse_case(case_of(job, [last, after, third]))
    assert [p.holding for p in parsed.passes] == [
        "chuck",
        "chuck and centre",
        "chuck and centre",
    ]


def test_what_was_noticed_is_not_carried_over(job):
    after, _ = _following(
        job, advice=_advised(), told={"noticed": ["rubbing"], "edge_looked_at": "sharp"}
    )
    assert after.told == {}


def test_readings_and_names_by_eye_are_both_accepted(job, fakes):
    read = _pass(reading=fakes.reading_json())
    named = _pass(2, reading=fakes.reading_json(sure=False), label="2.2")
    case = case_of(job, [read, named])
    parsed = advisor.parse_case(case)
    assert len(parsed.passes) == 2
    assert case["passes"][1]["signs"]["form"] == "2.2"


def test_signs_take_sizes_from_chips_of_that_form(fakes):
    reading = fakes.reading_json()
    for chip, length in zip(reading["chips"], (10, 20, 30, 40, 50), strict=True):
        chip["length_mm"] = {"value": length, "u": 1}
    reading["chips"][0]["form"] = reading["chips"][1]["form"] = "2.2"
    assert signs_of(reading, "2.2")["length_mm"] == 15  # median of 10 and 20
    assert signs_of(reading, "2.1")["length_mm"] == 40  # median of 30, 40, 50
    assert signs_of(reading, "8")["length_mm"] == 30  # none of them: all five
    assert signs_of(None, "8")["length_mm"] is None


def test_a_reading_goes_to_the_last_pass_and_the_case_stays_as_it_was(fakes):
    case = {**fakes.CASE, "passes": [*fakes.CASE["passes"], *fakes.CASE["passes"]]}
    changed = with_reading(case, fakes.reading_json())
    assert "reading" not in changed["passes"][0]
    assert changed["passes"][1]["reading"]["schema"] == "bluecurl.reading/1"
    assert "reading" not in case["passes"][1]
    assert with_reading({"passes": []}, {}) == {"passes": []}
    assert metal_of(case) == "Ti-6Al-4V"
    assert metal_of({}) is None


def test_sentences_follow_the_units_and_numbers_do_not(job):
    case = case_of(job, [])
    metric, inch = advise_case(case), advise_case(case, Units.INCH)
    assert " mm" in metric["because"]
    assert " mm" not in inch["because"]
    assert " in" in inch["because"]
    assert metric["next_cut"] == inch["next_cut"]
    assert metric["checks"] == inch["checks"]
