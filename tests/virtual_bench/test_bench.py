"""Jobs from first pass to batch: the same seed, the same story; players in a sane order."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from .bench import run_job
from .constants import RETAKE
from .forms import CODES
from .jobs import draw_job
from .observe import see
from .players import Decision, KnowsTheBook, NoAdvice, RandomMoves, SeesAll, UpTheFeed
from .score import figures, wilson
from .turn import State, one_pass
from .world import RELATIONS, strengths

JOBS = [draw_job(5, number) for number in range(40)]


class CriesWolf:
    """Calls for a look at the edge after every pass."""

    name = "cries wolf"

    def decide(self, view, rng):  # noqa: ARG002
        if view.passes[-1].looked == "not yet":
            return Decision("look at the edge", view.last)
        return Decision("keep", view.last)


def _records(player, steady=False):
    return [run_job(job, player, 5, steady=steady) for job in JOBS]


def test_the_same_seed_tells_the_same_story():
    assert draw_job(5, 7) == draw_job(5, 7)
    assert draw_job(5, 7) != draw_job(6, 7)
    for player in (UpTheFeed(), RandomMoves()):
        one, two = _records(player), _records(player)
        assert [r.grades for r in one] == [r.grades for r in two]
        assert [r.steps for r in one] == [r.steps for r in two]


@pytest.mark.parametrize("reverse", RELATIONS)
def test_weaker_relations_change_the_world_and_nothing_one_can_see(reverse):
    for number in range(5):
        job, other = draw_job(5, number), draw_job(5, number, weaken=0.5, reverse=reverse)
        assert other.first == job.first
        assert (other.bar, other.blade, other.lathe) == (job.bar, job.blade, job.lathe)
        assert other.world.strength[reverse] == -0.5
        assert sum(s == 0.5 for s in other.world.strength.values()) == len(RELATIONS) - 1


def test_an_unknown_relation_is_refused():
    with pytest.raises(ValueError, match="known are"):
        strengths(reverse="luck")


def test_sight_beats_the_book_beats_the_feed_beats_luck_beats_nothing():
    solved = [
        figures(p.name, _records(p)).solved_needy
        for p in (SeesAll(), KnowsTheBook(), UpTheFeed(), RandomMoves(), NoAdvice())
    ]
    needy = figures("", _records(NoAdvice())).needy
    assert solved == sorted(solved, reverse=True)
    assert solved[0] >= 0.85 * needy
    assert solved[1] < solved[0]
    assert solved[-1] <= 0.1 * needy


def test_crying_wolf_finds_every_chipped_edge_and_is_counted():
    found = figures("", _records(CriesWolf(), steady=True))
    assert found.events > 5
    assert found.events_in_one == found.events
    assert found.false_calls == found.steady_passes


def test_saying_nothing_finds_no_chipped_edge():
    found = figures("", _records(NoAdvice(), steady=True))
    assert found.events > 0
    assert found.events_in_one == found.false_calls == 0


def test_a_reader_is_right_most_of_the_time_and_not_always():
    job = JOBS[0]
    rng = np.random.default_rng(2)
    _, outcome = one_pass(job, State(job.bar, job.blade), job.first, rng, hazard=0.0)
    main = CODES[int(np.argmax(outcome.mix))]
    seen = [see(job, job.first, outcome, rng) for _ in range(2000)]
    useless = np.mean([s.usable == "retake" for s in seen])
    assert useless == pytest.approx(RETAKE, abs=0.015)
    sure = [s for s in seen if s.sure]
    assert 0.3 < len(sure) / len(seen) < 0.95
    right = np.mean([max(s.mix, key=s.mix.get) == main for s in sure])
    assert 0.7 < right <= 1.0
    assert all(s.code is None for s in seen if s.usable == "retake")


@pytest.mark.parametrize(("hits", "of"), [(27, 34), (0, 20), (20, 20), (900, 1000)])
def test_wilson_interval_against_scipy(hits, of):
    reference = stats.binomtest(hits, of).proportion_ci(method="wilson")
    assert wilson(hits, of) == pytest.approx((reference.low, reference.high), abs=1e-6)
