"""What the chips of one photo, taken together, say about heat.

Not in here: single chips (``chip_tint``). Chips are weighed by the metal they stand
for, so one long chip outweighs many crumbs.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vision.heat.temperature import basis_of, temperature_of
from vision.records import Heat, Measured
from vision.terms import TINTS

if TYPE_CHECKING:
    from collections.abc import Iterable

    import numpy.typing as npt

    from vision.records import ChipTint

__all__ = ["heat_of"]

#: Share of the metal that makes a name stand beside the first, and that must be sure.
_CANDIDATE, _SURE_SHARE = 0.2, 0.5
#: Parts of a chip's vote for the likeliest of its names, beside one for each other.
_FIRST_PARTS = 2


def _weighted_median(values: npt.NDArray[np.float64], weights: npt.NDArray[np.float64]) -> int:
    """Return the index of the value with half of the weight on either side."""
    order = np.argsort(values, kind="stable")
    half = np.cumsum(weights[order]) >= weights.sum() / 2
    return int(order[int(np.argmax(half))])


def _film(films: list[Measured], weights: npt.NDArray[np.float64]) -> Measured:
    """Return the film of the middle chip; known only from below if most metal is.

    The colour error is common to all chips of a photo, so the chips' own doubt does not
    shrink with their number; the scatter between chips does.
    """
    values = np.array([f.value for f in films])
    k = _weighted_median(values, weights)
    apart = np.abs(values - values[k])
    scatter = 1.48 * float(apart[_weighted_median(apart, weights)])
    effective = float(weights.sum() ** 2 / (weights**2).sum())
    from_below = sum(w for f, w in zip(films, weights, strict=True) if f.bound)
    return Measured(
        value=float(values[k]),
        u=float(np.hypot(films[k].u, 1.25 * scatter / np.sqrt(effective))),
        bound="at_least" if from_below >= weights.sum() / 2 else None,
    )


def _share_tinted(shares: list[Measured], weights: npt.NDArray[np.float64]) -> Measured:
    part = weights / weights.sum()
    values, us = np.array([s.value for s in shares]), np.array([s.u for s in shares])
    mean = float(part @ values)
    sampling = float((part**2) @ (values - mean) ** 2)
    return Measured(value=mean, u=float(np.hypot(part @ us, np.sqrt(sampling))))


def _votes(chips: list[tuple[ChipTint, float]]) -> dict[str, float]:
    """Share out the metal over tint names; a chip in doubt gives its first name two parts."""
    total = sum(weight for _, weight in chips)
    votes = dict.fromkeys(TINTS, 0.0)
    for tint, weight in chips:
        for k, name in enumerate(tint.candidates):
            parts = _FIRST_PARTS if k == 0 else 1
            votes[name] += parts * weight / (total * (len(tint.candidates) + _FIRST_PARTS - 1))
    return votes


def heat_of(tints: Iterable[tuple[ChipTint, float]], family: str | None) -> Heat | None:
    """Put the tints of a photo's chips together.

    Parameters
    ----------
    tints : iterable of (ChipTint, weight)
        The weight stands for the metal in the chip: its volume, or its area.
    family : {"steel", "stainless", "titanium", "none"} or None

    Returns
    -------
    Heat or None
        ``None`` if the metal's tint says nothing or no chip has a readable tint.
        ``tint`` is the name that most of the metal bears; ``film_nm`` that of the
        middle chip; ``temperature_c`` is ``None`` for a metal not named.

    Notes
    -----
    Not to be trusted for: chips of several passes mixed in one photo.
    """
    chips = [(t, w) for t, w in tints if t.candidates and t.film_nm is not None and w > 0]
    if family == "none" or not chips:
        return None
    weights = np.array([w for _, w in chips])
    film = _film([t.film_nm for t, _ in chips if t.film_nm is not None], weights)
    votes = _votes(chips)
    ranked = sorted(TINTS, key=lambda name: -votes[name])
    names = tuple(n for n in ranked if votes[n] >= _CANDIDATE) or tuple(ranked[:2])
    sure_share = float(sum(w for t, w in chips if t.sure) / weights.sum())
    shares = [(t.share_tinted, w) for t, w in chips if t.share_tinted is not None]
    return Heat(
        tint=names[0],
        sure=len(names) == 1 and sure_share >= _SURE_SHARE,
        candidates=names,
        film_nm=film,
        share_tinted=_share_tinted([s for s, _ in shares], np.array([w for _, w in shares]))
        if shares
        else None,
        temperature_c=temperature_of(film, family),
        basis=basis_of(family),
        family=family,
    )
