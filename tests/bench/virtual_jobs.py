"""Try the advice on drawn jobs of a virtual lathe and print how it did.

    python tests/bench/virtual_jobs.py --jobs 1000 --seed 1
    python tests/bench/virtual_jobs.py --jobs 1000 --seed 1 --weaken 0.5 --reverse speed-curl
    python tests/bench/virtual_jobs.py --jobs 200 --seed 1 2 3 4 5 --table

Seeds 1-5 are for development. Seeds 9001-9005 are never looked at while anything is being
chosen. Besides the advice, five players run the same jobs: no advice, one factor at a time up
the feed, random legal moves; one that knows the bench's own relations and middle constants
but not the job's, and one that sees the hidden world, both moving one lever at a time: what
advice can and cannot be asked to reach. ``--table`` sets the advice beside up the feed in
worlds where all relations are half as strong, or one of them is turned round: advice that
only echoes the bench would fall there. ``tests/virtual_bench`` says what the world is made of.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from virtual_bench.adapter import Advised
from virtual_bench.bench import run_job
from virtual_bench.jobs import draw_job
from virtual_bench.players import KnowsTheBook, NoAdvice, RandomMoves, SeesAll, UpTheFeed
from virtual_bench.score import figures
from virtual_bench.world import RELATIONS

import advisor

DEVELOPMENT_SEEDS = (1, 2, 3, 4, 5)
UNSEEN_SEEDS = (9001, 9002, 9003, 9004, 9005)


def advise(case):
    """From JSON to JSON, as the command line does it."""
    return advisor.advice_json(advisor.advise(advisor.parse_case(case)))


def draw(given, *, weaken, reverse):
    """Return seed and job for every job that was asked for, in a world of this strength."""
    return [
        (seed, draw_job(seed, number, weaken=weaken, reverse=reverse))
        for seed in given.seed
        for number in range(given.jobs)
    ]


def table(given, out) -> None:
    """Print one line a world: the advice and up the feed, batches left out."""
    out(
        "world; jobs that can be solved, of these right in time: advice, up the feed; median "
        "passes where not right at once: advice, up the feed; made worse; spoiled\n"
    )
    worlds = [("as published", 1.0, None), ("all at half", 0.5, None)]
    worlds += [(f"{name} reversed", 1.0, name) for name in RELATIONS]
    for name, weaken, reverse in worlds:
        jobs = draw(given, weaken=weaken, reverse=reverse)
        ours, feed = (
            figures(p.name, [run_job(job, p, seed, steady=False) for seed, job in jobs])
            for p in (Advised(advise), UpTheFeed())
        )
        out(
            f"{name}; {ours.possible}: {100 * ours.solved_possible / ours.possible:.1f} %, "
            f"{100 * feed.solved_possible / feed.possible:.1f} %; "
            f"{ours.median_passes:g}, {feed.median_passes:g}; "
            f"{100 * ours.worse / max(1, ours.changes):.1f} %; {ours.spoiled}\n"
        )
        sys.stdout.flush()


def main() -> None:
    """Print the figures of every player."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--jobs", type=int, default=1000)
    parser.add_argument("--seed", type=int, nargs="+", default=[1])
    parser.add_argument("--weaken", type=float, default=1.0, help="strength of all relations")
    parser.add_argument("--reverse", choices=RELATIONS, help="turn this relation round")
    some = parser.add_mutually_exclusive_group()
    some.add_argument("--only-advice", action="store_true", help="leave the others out")
    some.add_argument("--without-advice", action="store_true", help="only the others")
    some.add_argument("--table", action="store_true", help="the advice in other worlds")
    given = parser.parse_args()
    out = sys.stdout.write
    if given.table:
        table(given, out)
        return
    start = time.perf_counter()
    jobs = draw(given, weaken=given.weaken, reverse=given.reverse)
    out(
        f"seeds {given.seed}, {given.jobs} jobs each, relations at {given.weaken:g}, "
        f"reversed: {given.reverse or 'none'}\n"
    )
    advised = [] if given.without_advice else [Advised(advise)]
    others = [NoAdvice(), UpTheFeed(), RandomMoves(), KnowsTheBook(), SeesAll()]
    for player in (*advised, *([] if given.only_advice else others)):
        records = [
            run_job(job, player, seed, steady=isinstance(player, Advised)) for seed, job in jobs
        ]
        out("\n".join(figures(player.name, records).lines()) + "\n")
    out(f"{time.perf_counter() - start:.0f} s\n")


if __name__ == "__main__":
    main()
