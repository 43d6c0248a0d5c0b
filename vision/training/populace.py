"""Which forms a scene shows and how many of each, balanced by group over the seeds."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vision.training.noise import chance

if TYPE_CHECKING:
    from vision.training.jobs import Job

__all__ = ["LARGE", "draw_forms", "pick"]

#: How often each form is drawn within its group.
_FORM_SHARES: dict[str, dict[str, float]] = {
    "1": {"1.2": 0.6, "1.1": 0.22, "1.3": 0.18},
    "2": {"2.2": 0.72, "2.1": 0.14, "2.3": 0.14},
    "3": {"3.1": 0.5, "3.2": 0.5},
    "4": {"4.2": 0.72, "4.1": 0.14, "4.3": 0.14},
    "5": {"5.2": 0.72, "5.1": 0.14, "5.3": 0.14},
    "6": {"6.2": 0.7, "6.1": 0.3},
    "7": {"7": 1.0},
    "8": {"8": 1.0},
}
#: Forms that take up much of a card.
LARGE = frozenset({"1.1", "1.3", "2.1", "2.3", "4.1", "4.3", "5.1", "5.3"})
_MOST_LARGE = 4
#: Ranges of chips that are tried for a scene, and how often.
_COUNTS: tuple[tuple[int, int, float], ...] = (
    (1, 4, 0.08),
    (5, 11, 0.17),
    (12, 19, 0.39),
    (20, 27, 0.22),
    (28, 40, 0.14),
)
#: More grains and needles in scenes of their own: they are small and many.
_MORE_SMALL = {"7": (6, 20), "8": (4, 14)}
_MOST_CHIPS = 44


def pick(rng: np.random.Generator, shares: dict[str, float]) -> str:
    """Draw a name by its share; shares need not sum to one."""
    weights = np.array(list(shares.values()))
    return str(rng.choice(list(shares), p=weights / weights.sum()))


def draw_forms(
    rng: np.random.Generator, seed: int, *, job: Job | None = None, native: bool = False
) -> tuple[list[str], bool]:
    """Form codes of the chips that will be tried, and whether the scene is mixed.

    Odd seeds are mixed, even ones show one cut with one main group; seeds take turns
    through the groups.
    """
    if job is not None:
        count = int(rng.integers(job.chips[0], job.chips[1] + 1))
        return _cap_large([pick(rng, job.forms) for _ in range(count)]), False
    low, high, _ = _COUNTS[int(rng.choice(len(_COUNTS), p=[share for *_, share in _COUNTS]))]
    count = int(rng.integers(20, 26) if native else rng.integers(low, high + 1))
    if native or seed % 2 == 1:
        # Groups take turns in a random order: the draw is balanced by group.
        order = np.concatenate([rng.permutation(8) for _ in range(6)])[:count]
        groups = [str(k + 1) for k in order]
        return _cap_large([pick(rng, _FORM_SHARES[g]) for g in groups]), True
    main = str((seed // 2) % 8 + 1)
    groups = [main if chance(rng, 0.85) else str(rng.integers(1, 9)) for _ in range(count)]
    if main in _MORE_SMALL and count > _COUNTS[0][1]:
        groups += [main] * int(rng.integers(*_MORE_SMALL[main]))
    return _cap_large([pick(rng, _FORM_SHARES[g]) for g in groups[:_MOST_CHIPS]]), False


def _cap_large(forms: list[str]) -> list[str]:
    """At most a few long chips and nests fit on a card; others become short ones."""
    kept, large = [], 0
    for form in sorted(forms, key=lambda f: f not in LARGE):
        if form in LARGE:
            large += 1
            if large > _MOST_LARGE:
                kept.append(f"{form[0]}.2")
                continue
        kept.append(form)
    return kept
