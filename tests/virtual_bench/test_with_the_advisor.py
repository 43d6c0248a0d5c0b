"""Forty development jobs through the advisor, with floors that a broken one falls through.

The figures themselves are printed by ``tests/bench/virtual_jobs.py``; these floors lie well
below them, so that only a real fault is noticed and not the luck of forty jobs.
"""

from __future__ import annotations

import pytest

import advisor

from .adapter import Advised, case_of
from .bench import run_job
from .jobs import draw_job
from .score import figures

JOBS = [draw_job(3, number) for number in range(40)]
#: Share of needy jobs that must be solved, and of chipped edges that must be called.
SOLVED, CALLED = 0.6, 0.75


def _advise(case):
    return advisor.advice_json(advisor.advise(advisor.parse_case(case)))


@pytest.fixture(scope="module")
def records():
    return [run_job(job, Advised(_advise), 3) for job in JOBS]


@pytest.fixture(scope="module")
def found(records):
    return figures("advised", records)


def test_most_jobs_come_right(found):
    assert found.needy >= 15
    assert found.solved_needy >= SOLVED * found.needy


def test_no_part_is_spoiled_and_nothing_stalls(found):
    assert found.spoiled == 0
    assert found.stalled == 0


def test_few_changes_make_it_worse(found):
    assert found.worse <= 0.1 * found.changes


def test_broken_edges_are_called_and_sharp_ones_left_alone(found):
    assert found.events >= 5
    assert found.events_in_one >= CALLED * found.events
    assert found.false_calls <= 0.15 * found.steady_passes


def test_every_setting_is_one_of_this_lathe(records):
    for record in records:
        lathe = record.job.lathe
        for settings, decision in record.steps[1:]:
            assert settings.feed_mm_rev in lathe.feeds_mm_rev
            low, high = min(lathe.speeds_rev_min), max(lathe.speeds_rev_min)
            assert low <= settings.speed_rev_min <= high
            if lathe.drive is None:
                assert settings.speed_rev_min in lathe.speeds_rev_min
            steps = settings.depth_mm / lathe.depth_step_mm
            assert steps == pytest.approx(round(steps), abs=1e-6), decision


def test_advice_that_always_keeps_falls_through_the_floor():
    def keeps(case):
        cut = dict(case["passes"][-1]["cut"])
        return {"verdict": "keep", "because": "", "change": None, "next_cut": cut}

    lazy = figures("keeps", [run_job(job, Advised(keeps), 3) for job in JOBS])
    assert lazy.solved_needy < SOLVED * lazy.needy
    assert lazy.events_in_one < CALLED * lazy.events


def test_cases_hold_nothing_hidden(records):
    view = next(r.views[0] for r in records if r.views)
    case = case_of(view)
    text = str(case)
    for name in ("world", "strength", "fault", "force_factor", "wear"):
        assert name not in text
    assert advisor.parse_case(case).work.material == advisor.parse_case(case).work.material
