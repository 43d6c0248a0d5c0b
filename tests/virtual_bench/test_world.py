"""The simulated lathe: signs of its relations, their strengths, what runs and what is right."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from .cut import physics
from .forms import CODES, acceptable, mixture
from .jobs import draw_job
from .search import holds, torque_limit_n_m
from .turn import State, break_edge, grade_of, one_pass
from .world import RELATIONS, Fault, strengths

JOBS = [draw_job(3, number) for number in range(40)]


def _cut(job, *, world=None, blade=None, fault=None, oil=False, **settings):
    first = job.first
    given = {"speed": first.speed_rev_min, "feed": first.feed_mm_rev, "depth": first.depth_mm}
    return physics(
        world or job.world, blade or job.blade, fault or Fault(), job.bar,
        **(given | settings), oil=oil,
    )  # fmt: skip


def _with(job, **changed):
    return replace(job.world, strength=strengths() | changed)


def _flat(job):
    return replace(job.blade, groove=False)


@pytest.mark.parametrize("job", JOBS[:10], ids=lambda job: f"{job.number} {job.metal}")
def test_more_feed_thickens_the_chip_and_strains_it_more(job):
    # Nakayama's criterion with a thicker chip; Jawahir and van Luttervelt 1993: feed is the
    # strongest lever on breaking
    thin, thick = (_cut(job, feed=f, depth=0.8) for f in (0.05, 0.2))
    assert thick.chip_mm > 1.5 * thin.chip_mm
    assert thick.strain_ratio > thin.strain_ratio
    assert thick.force_n > thin.force_n


@pytest.mark.parametrize("job", JOBS[:10], ids=lambda job: f"{job.number} {job.metal}")
def test_depth_past_the_nose_trades_side_curl_for_up_curl(job):
    shallow, deep = (_cut(job, depth=d) for d in (0.1, 1.0))
    assert deep.tilt_deg < shallow.tilt_deg


def test_a_groove_curls_tighter_and_oil_hinders_the_film():
    job = next(j for j in JOBS if j.metal in {"1018", "4140", "1045", "O1"})
    flat, ground = (
        _cut(job, blade=replace(job.blade, groove=g), feed=0.15, depth=0.8)
        for g in (False, True)
    )
    assert ground.up_mm <= flat.up_mm
    dry, wet = (_cut(job, oil=oil) for oil in (False, True))
    assert wet.film_nm < dry.film_nm


@pytest.mark.parametrize(
    ("relation", "measure", "settings"),
    [
        ("thickness-curl", "up_mm", ({"feed": 0.05}, {"feed": 0.2})),
        ("speed-curl", "up_mm", ({"speed": 300}, {"speed": 900})),
        ("depth-side-curl", "tilt_deg", ({"depth": 0.1}, {"depth": 1.0})),
        ("thickness-strain", "strain_ratio", ({"feed": 0.05}, {"feed": 0.2})),
        ("speed-heat", "chip_c", ({"speed": 300}, {"speed": 900})),
    ],
)
def test_a_relation_can_be_turned_round(relation, measure, settings):
    job = JOBS[0]
    alone = dict.fromkeys(RELATIONS, 0.0)

    def change(strength):
        world = replace(job.world, strength=alone | {relation: strength})
        low, high = (
            np.log(getattr(_cut(job, world=world, blade=_flat(job), **{"depth": 0.5} | s),
                           measure))
            for s in settings
        )  # fmt: skip
        return float(high - low)

    nothing, whole = change(0.0), change(1.0)
    assert (whole - nothing) * (change(-1.0) - nothing) < 0
    assert abs(change(0.5) - nothing) < abs(whole - nothing)


def test_half_strength_halves_the_exponent_of_curl_on_speed():
    job = JOBS[0]
    blade = _flat(job)

    def slope(strength):
        world = _with(job, **{"speed-curl": strength, "speed-compression": 0.0})
        slow, fast = (_cut(job, world=world, blade=blade, speed=n) for n in (300, 900))
        return float(np.log(fast.up_mm / slow.up_mm))

    if job.world.metal.built_up_m_min is None:
        assert slope(0.5) == pytest.approx(slope(1.0) / 2.0)
    assert slope(-1.0) == pytest.approx(-slope(1.0), abs=0.3)


def test_mixtures_are_shares():
    for job in JOBS:
        feeds = np.array(job.lathe.feeds_mm_rev)
        for fault in (Fault(), break_edge(Fault(wear=0.4), np.random.default_rng(1))):
            mix = mixture(job.world, fault, _cut(job, fault=fault, feed=feeds))
            assert mix.shape == (len(CODES), len(feeds))
            assert (mix >= 0).all()
            assert np.allclose(mix.sum(axis=0), 1.0)


def _pure(**shares):
    mix = np.zeros(len(CODES))
    for code, share in shares.items():
        mix[CODES.index(code[1:].replace("_", "."))] = share
    return mix


@pytest.mark.parametrize(
    ("wish", "shares", "feed", "top", "right"),
    [
        ("curl", {"f5_1": 0.8, "f5_3": 0.2}, 0.05, 0.2, True),  # titanium: that is success
        ("curl", {"f1_1": 1.0}, 0.05, 0.2, False),  # no curl at all is a warning
        ("broken", {"f2_1": 1.0}, 0.2, 0.2, False),  # long in 303: feed too light or dead edge
        ("broken", {"f6_2": 0.6, "f2_1": 0.4}, 0.2, 0.2, True),
        ("broken or controlled", {"f2_1": 1.0}, 0.06, 0.2, False),  # 304 below 0.1 mm/rev
        ("broken or controlled", {"f2_1": 1.0}, 0.1, 0.2, True),
        ("broken or controlled", {"f2_1": 1.0}, 0.06, 0.06, True),  # a limit is reached
        ("broken or controlled", {"f2_1": 0.7, "f2_3": 0.3}, 0.1, 0.2, False),
        ("grains", {"f7": 1.0}, 0.1, 0.2, True),
        ("grains", {"f8": 0.7, "f7": 0.3}, 0.1, 0.2, False),
    ],
)  # fmt: skip
def test_right_chips_by_metal(wish, shares, feed, top, right):
    assert bool(acceptable(wish, _pure(**shares), feed, top_feed=top)) is right


def test_a_small_drive_stalls_and_a_whisper_of_a_cut_rubs():
    job = next(j for j in JOBS if j.metal in {"304", "316", "4140", "Ti-6Al-4V"})
    weak = replace(job, lathe=replace(job.lathe, power_w=20.0))
    settings = replace(job.first, depth_mm=1.0, feed_mm_rev=0.2)
    state = State(job.bar, job.blade)
    _, outcome = one_pass(weak, state, settings, np.random.default_rng(1), hazard=0.0)
    assert outcome.stalled
    assert outcome.grade == 0
    whisper = replace(job.first, depth_mm=0.001, feed_mm_rev=0.02)
    assert grade_of(job, state, whisper) == 0


def test_torque_is_constant_below_the_rated_speed_and_falls_above():
    # a motor of constant torque up to its rated speed, constant power above it
    job = next(j for j in JOBS if j.lathe.drive)
    low, rated, above = (float(torque_limit_n_m(job, n)) for n in (300.0, 700.0, 1000.0))
    assert low == pytest.approx(rated)
    assert above == pytest.approx(rated * 0.7)
    watts = job.lathe.power_w * job.lathe.efficiency * job.world.drive
    assert rated * 2 * np.pi * 700 / 60 == pytest.approx(watts)


def test_the_bar_springs_away_by_what_the_force_bends_it():
    job = next(j for j in JOBS if j.bar.holding == "chuck")
    state = State(job.bar, job.blade)
    _, outcome = one_pass(job, state, job.first, np.random.default_rng(1), hazard=0.0)
    near, end = outcome.left_mm
    bend = float(outcome.cut.bend_mm)
    assert end == pytest.approx(job.bar.diameter_mm - 2 * (job.first.depth_mm - bend))
    assert job.bar.diameter_mm - 2 * job.first.depth_mm < near <= end


def test_jobs_can_be_run_as_drawn():
    for job in JOBS:
        cut = _cut(job, oil=job.first.oil)
        assert holds(job, cut, job.first.speed_rev_min, job.first.depth_mm).shape == ()
        assert job.target_mm < job.leave_mm < job.bar.diameter_mm
        assert job.first.feed_mm_rev in job.lathe.feeds_mm_rev
        assert job.first.speed_rev_min in job.lathe.speeds_rev_min
    assert len({job.metal for job in (*JOBS, *(draw_job(4, n) for n in range(80)))}) == 14
