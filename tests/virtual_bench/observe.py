"""What the machinist gets to know of a pass: a doubtful reading, noises, diameters.

The reading is shaped as the reader shapes it, with confusions between neighbouring forms,
honest and dishonest sureness, and photos that are no use.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .constants import CONFUSIONS, FILM_ERROR, LENGTH_ERROR, RETAKE, SNARL_MISSED, TINTS
from .forms import CODES
from .turn import MEASURE_U_MM, Outcome, State, worn_out

if TYPE_CHECKING:
    from .jobs import Job, Settings

__all__ = ["Seen", "look_at_edge", "see"]

#: Tangles of at least this share of the heap, as read, are named first.
SNARL_NAMED = 0.2
#: Oil smokes so that one notices when the chip is hotter than this, deg C; ours.
SMOKE_C = 650.0
#: The largest share is called sure when it leads the next by so many standard errors.
SURE_MARGIN, SURE_CHANCE = 1.0, 0.9
LOOK_RIGHT = 0.97  # a look with a glass finds what is there


@dataclass(frozen=True, slots=True)
class Seen:
    """What was seen of a pass. Forms and tints as text, lengths mm, shares 0-1."""

    usable: str
    code: str | None
    share: float
    sure: bool
    candidates: tuple[str, ...]
    mix: dict[str, float]
    longest_mm: float | None
    tint: str | None
    tint_sure: bool
    noticed: tuple[str, ...]
    measured_mm: tuple[tuple[float, float], ...]
    chip_mm: float | None


def see(job: Job, settings: Settings, outcome: Outcome, rng: np.random.Generator) -> Seen:
    """Look at the chips, listen, and now and then measure."""
    mix, count = _read_mix(outcome.mix, rng)
    order = sorted(mix, key=mix.get, reverse=True)
    main = order[0]
    snarled = [c for c in order if c.endswith(".3")]
    if sum(mix[c] for c in snarled) < SNARL_NAMED:
        snarled = []
    second = mix[order[1]] if len(order) > 1 else 0.0
    margin = (mix[main] - second) / np.sqrt((mix[main] + second) / count)
    sure = margin >= SURE_MARGIN and rng.random() < SURE_CHANCE
    code = snarled[0] if snarled and rng.random() < SURE_CHANCE else main
    useless = rng.random() < RETAKE
    tint, tint_sure = _tint(job, outcome, rng)
    long = code.endswith(".1") and code[0] in "1245"
    bar = job.bar
    measured: tuple[tuple[float, float], ...] = ()
    if rng.random() < 0.6:
        noise = rng.normal(0.0, MEASURE_U_MM, 2)
        ends = (0.15 * bar.cut_length_mm, 0.9 * bar.cut_length_mm)
        measured = tuple(
            (round(at, 1), round(float(d + e), 3))
            for at, d, e in zip(ends, outcome.left_mm, noise, strict=True)
        )
    thickness = None
    if rng.random() < 0.25 and not useless:
        thickness = round(float(outcome.cut.chip_mm * np.exp(rng.normal(0.0, 0.08))), 3)
    return Seen(
        usable="retake" if useless else "yes",
        code=None if useless else code,
        share=round(mix[code], 2),
        sure=bool(sure and not useless),
        candidates=(code,) if sure else tuple(dict.fromkeys((code, *order[:2]))),
        mix={} if useless else {c: round(mix[c], 3) for c in order[:4]},
        longest_mm=round(float(rng.uniform(110, 400)), 0) if long else None,
        tint=None if useless else tint,
        tint_sure=tint_sure,
        noticed=_noticed(settings, outcome, rng, chipped=outcome.chipped),
        measured_mm=measured,
        chip_mm=thickness,
    )


def _read_mix(mix, rng):
    """Return the shares as read from a heap of eight to thirty pieces, and how many."""
    count = int(rng.integers(8, 31))
    drawn = rng.multinomial(count, mix)
    read: dict[str, float] = {}
    for code, number in zip(CODES, drawn, strict=True):
        for _ in range(int(number)):
            seen = _mistaken(code, rng)
            read[seen] = read.get(seen, 0.0) + 1.0 / count
    return read, count


def _mistaken(code, rng):
    group, _, sub = code.partition(".")
    if group in "1245":
        if sub == "3" and rng.random() < SNARL_MISSED:
            sub = "1"
        elif sub in "12" and rng.random() < LENGTH_ERROR:
            sub = "2" if sub == "1" else "1"
    draw = rng.random()
    for other, chance in CONFUSIONS[group].items():
        if draw < chance:
            return _renamed(other, sub)
        draw -= chance
    return f"{group}.{sub}" if sub else group


def _renamed(group, sub):
    if group in "78":
        return group
    if group in "36":
        return group + (".1" if group == "3" else ".2")
    return f"{group}.{sub if sub in {'1', '2', '3'} else '2'}"


def _tint(job, outcome, rng):
    if outcome.cut.film_nm is None:
        return None, False
    film = float(outcome.cut.film_nm) * float(np.exp(rng.normal(0.0, FILM_ERROR)))
    titanium = job.metal.startswith("Ti")
    names = [(name, end) for name, end in TINTS if titanium or not name.startswith("second")]
    name = next((name for name, end in names if film < end), names[-1][0])
    return name, bool(rng.random() < 0.8)


def _noticed(settings, outcome, rng, *, chipped):
    cut = outcome.cut
    snarls = sum(outcome.mix[CODES.index(c)] for c in ("1.3", "2.3", "4.3", "5.3"))
    least = float(cut.least_mm / cut.h_eff_mm)
    heard = (
        ("stalled", outcome.stalled, 1.0),
        ("dug in", outcome.dug_in, 1.0),
        ("labouring", 0.9 < outcome.torque_share <= 1.0, 0.7),
        ("chatter", outcome.chatters, 0.9),
        ("rubbing", least > 0.85, 0.7),
        ("wrapped on work", snarls > 0.7, 0.05),
        ("smoke", settings.oil and cut.chip_c > SMOKE_C, 0.3),
        ("burr", chipped, 0.3),
        ("tearing", cut.built_up > 0.6 or chipped, 0.2),
        ("dull finish", cut.built_up > 0.5 or outcome.rubbed or chipped, 0.25),
    )
    return tuple(word for word, there, chance in heard if there and rng.random() < chance)


def look_at_edge(state: State, outcome: Outcome, rng: np.random.Generator) -> str:
    """Return what a glass shows: ``sharp``, ``chipped``, ``worn`` or ``built-up``."""
    if state.fault.chipped:
        true = "chipped"
    elif worn_out(state.fault):
        true = "worn"
    else:
        true = "built-up" if outcome.cut.built_up > 0.7 else "sharp"
    return true if rng.random() < LOOK_RIGHT else ("worn" if true == "sharp" else "sharp")
