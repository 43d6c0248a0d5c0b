"""Which of the eight groups a chip may be of: sets that hold the true one nine times in ten.

Class-wise split-conformal sets. A group joins a chip's set where its probability reaches
the group's own threshold; the group that the chip is named by is always in, so no set is
empty. What snarls may be of any group that can. Thresholds come from chips that nothing was
learned from: as many of each group's own chips must be covered as asked, counted one more
than there are, so that a group with fewer than nine chips is in the set of every chip that is
not called a nest.

Sources, from memory: V. Vovk, A. Gammerman, G. Shafer, "Algorithmic Learning in a Random
World" (2005; thresholds by class are "Mondrian" there); M. Sadinle, J. Lei, L. Wasserman,
"Least ambiguous set-valued classifiers with bounded error levels" (2019).

When not to trust: the promise is for chips drawn as the calibration chips were. A stranger's
photo is no such draw. Chips of one photo are alike, so one photo can miss several at once.
A group that is named rightly more often than nine times in ten is covered as often.
"""

from __future__ import annotations

from math import ceil
from typing import TYPE_CHECKING

import numpy as np

from vision.forms.model import CLASSES, GROUPS
from vision.terms import SNARLING

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from vision.arrays import Float1, Float2

__all__ = [
    "COVERED",
    "best_labels",
    "chip_for_sure",
    "group_probabilities",
    "joins_from",
    "kept_at",
    "quantile_place",
    "sets_of",
]

#: Share of the chips of each group whose set shall hold that group.
COVERED = 0.9

#: What is likelier than the first to be no chip is left out of a reading, than the second never
#: sure: that takes 20 of 55 things that are no chips from what is sure on calibration scenes,
#: and 308 of 5,284 chips.
_MOST_NONE, _MOST_NONE_SURE = 2 / 3, 0.05
_OF_GROUP = np.array([[float(c[:1] == g) for g in GROUPS] for c in CLASSES])
_SNARLS = np.array([g in SNARLING for g in GROUPS])


def group_probabilities(p: Float2) -> Float2:
    """Return (N, 8) probabilities of the groups, given that it is a chip and no nest."""
    sums = p @ _OF_GROUP
    total = sums.sum(axis=1, keepdims=True)
    return np.asarray(sums / np.where(total > 0, total, 1.0))


def best_labels(p: Float2) -> npt.NDArray[np.str_]:
    """Return (N,) the likeliest class of each row, given that it is a chip."""
    chips = [k for k, c in enumerate(CLASSES) if c != "none"]
    return np.asarray(np.array(CLASSES)[chips][p[:, chips].argmax(axis=1)])


def kept_at(p: Float2) -> npt.NDArray[np.bool_]:
    """Return (N,) what may well be a chip; the rest is left out of a reading.

    A chip that is missed costs a machinist twice what a mark does that is outlined for
    nothing (common practice, no source), so one chance in three is enough; such a thing is
    never sure.
    """
    return np.asarray(p[:, CLASSES.index("none")] <= _MOST_NONE)


def chip_for_sure(p: Float2) -> npt.NDArray[np.bool_]:
    """Return (N,) what is hardly no chip: only that may be named with sureness."""
    return np.asarray(p[..., CLASSES.index("none")] <= _MOST_NONE_SURE)


def _support(p: Float2) -> Float2:
    """Return (N, 8) how much speaks for each group: its probability, 1 where it is in anyway.

    For what is called a nest 1 where the group snarls and -1 where it does not.
    """
    labels = best_labels(p)
    named = np.array([label[:1] for label in labels])[:, None] == np.array(GROUPS)
    support = np.where(named, 1.0, group_probabilities(p))
    return np.where((labels == "nest")[:, None], np.where(_SNARLS, 1.0, -1.0), support)


def quantile_place(count: int, share: float) -> int | None:
    """Return which of ``count`` ordered values a new one stays within with that chance.

    Counted from 1; ``None`` where there are too few values to say so.

    Examples
    --------
    >>> quantile_place(99, 0.9), quantile_place(9, 0.9), quantile_place(8, 0.9)
    (90, 9, None)
    """
    place = ceil((count + 1) * share - 1e-9)
    return place if place <= count else None


def joins_from(p: Float2, groups: npt.NDArray[np.str_], covered: float = COVERED) -> Float1:
    """Return (8,) the probability from which each group joins a set.

    Parameters
    ----------
    p : (N, C)
        Probabilities of calibration chips, columns as :data:`CLASSES`.
    groups : (N,)
        Their true groups ``"1"``...``"8"``.
    covered : float
        Share of each group's chips to be covered.

    Returns
    -------
    (8,)
        1 where the group joins only by being named; 0 where it joins whatever is not called
        a nest, because too few of its chips are known or too many of them are called nests.
    """
    out = np.zeros(len(GROUPS))
    support = _support(p)
    for k, g in enumerate(GROUPS):
        own = np.sort(support[groups == g, k])[::-1]
        place = quantile_place(len(own), covered)
        if place is not None:
            out[k] = max(float(own[place - 1]), 0.0)
    return out


def sets_of(p: Float2, joins: Float1 | Sequence[float]) -> list[tuple[str, ...]]:
    """Return the groups each row may belong to, the named one first, then the likeliest."""
    support = _support(p)
    order = np.argsort(-(group_probabilities(p) + (support >= 1)), axis=1, kind="stable")
    inside = support >= np.asarray(joins)
    return [
        tuple(GROUPS[k] for k in places if own[k])
        for places, own in zip(order, inside, strict=True)
    ]
