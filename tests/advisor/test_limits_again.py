"""Limits and plans over random jobs, worked out a second time by ``tests/bench``.

The same generators and the same second working of the limits as the long runs of
``python tests/bench/limits.py`` and ``python tests/bench/plans.py``.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))

import limits
import plans


@settings(max_examples=400, deadline=None)
@given(seed=st.integers(10**6, 10**7))
def test_no_next_cut_breaks_a_hard_limit(seed):
    case = limits.random_case(seed)
    assert limits.broken_by(case, limits.answer(case)) == []


def test_limits_are_not_kept_by_saying_stop():
    _, faults, owed, _ = limits.sweep(range(2 * 10**6, 2 * 10**6 + 400))
    assert not faults
    asked = sum(owed.values()) - owed["look at the edge"]
    assert asked > 50
    assert owed["change"] + owed["keep"] >= 0.95 * asked


@settings(max_examples=300, deadline=None)
@given(seed=st.integers(10**6, 10**7))
def test_plans_keep_every_promise(seed):
    case = plans.random_job(seed)
    plan = plans.plan_of(case)
    if plan["feasible"]:
        assert plans.faults(case, plan) == set()
    else:
        assert plan["why_not"]
        assert plan["would_help"]


def test_the_second_working_sees_a_broken_limit():
    # 5 x the power of the motor, by any arithmetic.
    case = limits.random_case(17)
    case["lathe"]["power_w"] = 20
    cut = {"direction": "along", "spindle_rev_min": 700.0, "feed_mm_rev": 0.1, "depth_mm": 1.0}
    cut |= {"diameter_mm": 20.0, "length_mm": 20.0, "power_feed": True, "coolant": "dry"}
    assert {"power", "torque"} <= set(limits.own.broken(case, cut))


@pytest.mark.parametrize("seed", range(3))
def test_the_same_seed_is_the_same_case(seed):
    assert limits.random_case(seed) == limits.random_case(seed)
    assert plans.random_job(seed) == plans.random_job(seed)
