"""How soon does the heat trend warn, and how often for nothing?

Run as ``python tests/bench/heat_trend.py``. Simulated jobs: films as a world of its own has
them (settings act with exponents drawn for each job, never those that the trend reckons
with), read with scatter; what is read is never below zero, as a reader's films are. Prints,
against scatter of 3, 4 and 5 nm: the share of steps found within two passes after a
baseline of three at unchanged settings, alarms per 100 passes while nothing changes, while
the settings change and explain it, and what happens where both come together.
"""

from __future__ import annotations

import argparse
import math
import random
import sys

from advisor.change_point import REFERENCE, Watch, mean_run_length, next_watch
from advisor.heat_trend import ALARM_LIMIT, HeatPass, heat_trend

FAMILIES = ("steel", "stainless", "titanium")
#: Film at which half of a spot counts as tinted, nm.
STRAW_NM = 11.0
#: Films of jobs in which nothing changes, nm.
STEADY = {"bright": 2.0, "pale straw": 12.0, "straw": 20.0, "blue": 58.0}


def clamp(value, low, high):
    return min(max(value, low), high)


def one_pass(dice, number, film_nm, scatter_nm, **settings):
    """One reading of a pass. The share follows the film as read: chips differ by a fifth."""
    seen = max(0.0, film_nm + dice.gauss(0.0, scatter_nm))
    wide = 0.2 * seen + 1.5
    share = 0.5 * math.erfc((STRAW_NM - seen) / wide / math.sqrt(2.0))
    return HeatPass(
        number=number,
        film_nm=seen,
        u_film_nm=2.0 * scatter_nm,
        share_tinted=clamp(share + dice.gauss(0.0, 0.05), 0.0, 1.0),
        u_share_tinted=0.05,
        coolant="dry",
        **{"speed_m_min": 40.0, "thickness_mm": 0.1, **settings},
    )


def alarms(passes, family):
    return [p.number for p in heat_trend(passes, family).points if p.alarm]


def found(dice, scatter_nm, step_nm, base_nm):
    """Whether a step after three passes is alarmed in the fourth or fifth, none before."""
    films = [base_nm] * 3 + [base_nm + step_nm] * 2
    passes = [one_pass(dice, n, f, scatter_nm) for n, f in enumerate(films, 1)]
    return any(n in (4, 5) for n in alarms(passes, dice.choice(FAMILIES)))


def steady(dice, scatter_nm, base_nm, length=12):
    """Alarms and chances of one (all passes but the first) in a job where nothing changes."""
    passes = [one_pass(dice, n, base_nm, scatter_nm) for n in range(1, length + 1)]
    return len(alarms(passes, dice.choice(FAMILIES))), length - 1


def walk(dice, scatter_nm, base_nm, length=12, *, step_at=None, step_nm=0.0):
    """A job in which speed, feed or depth change every third pass or so, and the film with
    them: by exponents that this job alone has. Yields the passes."""
    on_speed, on_thickness = dice.uniform(1.0, 3.5), dice.uniform(0.3, 1.7)
    speed, thickness, factor = 40.0, 0.1, 1.0
    for n in range(1, length + 1):
        if n > 1 and dice.random() < 0.35:
            if dice.random() < 0.5:
                ratio = dice.choice([0.64, 0.8, 1.25, 1.56])
                speed, factor = speed * ratio, factor * ratio**on_speed
            else:
                ratio = dice.choice([0.5, 0.67, 1.5, 2.0])
                thickness, factor = thickness * ratio, factor * ratio**on_thickness
        extra = step_nm if step_at is not None and n >= step_at else 0.0
        film = min(base_nm * factor, 120.0) + extra
        yield one_pass(dice, n, film, scatter_nm, speed_m_min=speed, thickness_mm=thickness)


def explained(dice, scatter_nm, base_nm, length=12):
    passes = list(walk(dice, scatter_nm, base_nm, length))
    return len(alarms(passes, dice.choice(FAMILIES))), length - 1


def found_on_the_way(dice, scatter_nm, step_nm, base_nm):
    """Whether a step in the middle of a job whose settings change is found within two."""
    at = 7
    passes = list(walk(dice, scatter_nm, base_nm, at + 1, step_at=at, step_nm=step_nm))
    return any(n >= at for n in alarms(passes, dice.choice(FAMILIES)))


def creeping(dice, scatter_nm, nm_per_pass, base_nm):
    """Total rise in nm at the alarm where the film grows a little with every pass."""
    films = [base_nm] * 3 + [base_nm + nm_per_pass * k for k in range(1, 25)]
    passes = [one_pass(dice, n, f, scatter_nm) for n, f in enumerate(films, 1)]
    rung = [n for n in alarms(passes, "steel") if n > 3]
    return films[rung[0] - 1] - base_nm if rung else math.inf


def run_length(dice, runs, rise=0.0):
    """Mean number of values up to an alarm of the bare detector, the level known well."""
    total = 0
    for _ in range(runs):
        watch, n = Watch(level=0.0, variance=0.0), 0
        while watch.total <= ALARM_LIMIT:
            watch, n = next_watch(watch, dice.gauss(rise, 1.0), 1.0), n + 1
        total += n
    return total / runs


def per_hundred(pairs):
    pairs = list(pairs)
    return 100.0 * sum(a for a, _ in pairs) / sum(n for _, n in pairs)


def lines(jobs, seed):
    """Yield the figures as text."""
    dice = random.Random(seed)  # noqa: S311 - no secret
    yield (
        f"one-sided CUSUM, reference {REFERENCE:g}, limit {ALARM_LIMIT:.2f}: run length "
        f"{mean_run_length(ALARM_LIMIT):.0f} by Siegmund, {run_length(dice, 4000):.0f} "
        f"simulated; after a rise of 3 sd {mean_run_length(ALARM_LIMIT, rise=3.0):.2f} and "
        f"{run_length(dice, 4000, rise=3.0):.2f}"
    )
    for scatter_nm in (3.0, 4.0, 5.0):
        for text in lines_of(dice, scatter_nm, jobs):
            yield f"scatter {scatter_nm:g} nm | {text}"


def lines_of(dice, scatter_nm, jobs):
    """Yield the figures of one scatter."""
    each = range(jobs)
    steps = []
    for step in (10.0, 15.0, 20.0):
        hits = sum(found(dice, scatter_nm, step, dice.uniform(0.0, 5.0)) for _ in each)
        steps.append(f"step of {step:g} nm {100 * hits / jobs:.1f} %")
    yield "bright to straw found within two passes: " + ", ".join(steps)
    rates = []
    for word, base in STEADY.items():
        rate = per_hundred(steady(dice, scatter_nm, base) for _ in each)
        rates.append(f"{word} {rate:.2f}")
    yield "alarms per 100 passes, nothing changes: " + ", ".join(rates)
    rate = per_hundred(explained(dice, scatter_nm, dice.uniform(2.0, 40.0)) for _ in each)
    yield f"alarms per 100 passes, changed settings explain it: {rate:.2f}"
    hits = sum(found_on_the_way(dice, scatter_nm, 15.0, dice.uniform(2.0, 20.0)) for _ in each)
    yield f"step of 15 nm among changing settings, within two: {100 * hits / jobs:.1f} %"
    rises = sorted(creeping(dice, scatter_nm, 3.0, 3.0) for _ in range(jobs // 4))
    middle = rises[len(rises) // 2]
    yield f"film creeping up 3 nm a pass, median rise at the alarm: {middle:.0f} nm"


def main(argv=None):
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--jobs", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=20)
    args = parser.parse_args(argv)
    for line in lines(args.jobs, args.seed):
        sys.stdout.write(line + "\n")


if __name__ == "__main__":
    main()
