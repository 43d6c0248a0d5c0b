"""Sizes of chips with an uncertainty each: what was measured weighed against a glance.

Two things are known of a size. One is measured by what the chip is (``measure.raw_sizes``):
exact where the outline shows what it should, wild where it does not, missing where it shows
nothing. The other is the network's glance: coarse, seldom wild, always there. Boosted trees,
fitted on rendered chips of known truth, correct the better of the two; a second set says how
far off this chip is, from the same facts and from how much the two differ. So the uncertainty
is the chip's own, not its group's. Not in here: which form it is, bounds ("at least"), scale.
"""

from __future__ import annotations

import io
import json
from dataclasses import dataclass
from math import exp, log, nan
from typing import TYPE_CHECKING, Any

import numpy as np

from vision.chips.curl import MIN_ARC_DEG
from vision.chips.eye import GUESSED
from vision.chips.features import CROP_PX_PER_MM, FEATURES
from vision.chips.measure import SIZES, raw_sizes
from vision.errors import ModelUnreadable
from vision.trees import Trees

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy.typing as npt

    from vision.chips.features import Shape
    from vision.chips.measure import Sized

    Numbers = npt.NDArray[np.float64]

__all__ = [
    "KEYS",
    "SIZES_OF",
    "TOO_UNSURE",
    "Base",
    "Facts",
    "SizeModel",
    "SizeTrees",
    "facts_of",
    "questions",
    "second_questions",
]

#: Sizes that every chip has.
_OF_ANY = ("length", "width", "extent")
#: Sizes that a group has. Nests are told as "at least" and have no curl of their own.
SIZES_OF: dict[str, tuple[str, ...]] = {
    "1": _OF_ANY,
    "2": SIZES,
    "3": (*_OF_ANY, "curl_radius", "turns"),
    "4": SIZES,
    "5": SIZES,
    "6": (*_OF_ANY, "curl_radius", "turns"),
    "7": _OF_ANY,
    "8": _OF_ANY,
    "nest": _OF_ANY,
}
#: Groups and nests; their places are the numbers that the trees know them by.
KEYS = tuple(SIZES_OF)
#: From this relative uncertainty on a size is not told: it says nothing.
TOO_UNSURE = 0.4
#: No size is known better than this, relative.
_LEAST_U = 0.005


@dataclass(frozen=True, slots=True)
class Base:
    """What a size of a group is corrected from.

    ``factor`` makes a raw size true on the median; ``glance_leads`` where the glance is
    nearer on the whole. What leads is taken where it is known, the other one elsewhere.
    """

    factor: float
    glance_leads: bool


@dataclass(frozen=True, slots=True)
class SizeTrees:
    """Trees of one size: the correction, and the logarithm of how far off it may be.

    ``scale`` makes standard uncertainties of that.
    """

    correction: Trees
    off: Trees
    scale: float


@dataclass(frozen=True, slots=True)
class Facts:
    """What is known of all sizes of N chips before anything is corrected, by size.

    Logarithms of mm (``turns`` of a number), (N,) each, NaN where nothing is known: ``raw`` as
    measured, ``seems`` at a glance, ``doubt`` the logarithm of the glance's spread.
    """

    raw: Mapping[str, Numbers]
    seems: Mapping[str, Numbers]
    doubt: Mapping[str, Numbers]


def facts_of(shapes: Sequence[Shape], keys: Sequence[str]) -> Facts:
    """Return what is known of chips that were named ``keys``."""
    raw, seems, doubt = (np.full((len(SIZES), len(shapes)), nan) for _ in range(3))
    for i, (shape, key) in enumerate(zip(shapes, keys, strict=True)):
        px = raw_sizes(shape, "1" if key == "nest" else key, nest=key == "nest")
        for at, size in enumerate(SIZES):
            if px.get(size, 0.0) > 0:
                raw[at, i] = log(px[size] / (1.0 if size == "turns" else CROP_PX_PER_MM))
            if shape.glance is not None:
                seems[at, i] = shape.glance.log_size.get(size, nan)
                doubt[at, i] = shape.glance.log_spread.get(size, nan)
    return Facts(*(dict(zip(SIZES, of, strict=True)) for of in (raw, seems, doubt)))


def questions(
    size: str,
    rows: Numbers,
    keys: Sequence[str],
    bases: Mapping[str, Base],
    facts: Facts,
) -> tuple[Numbers, Numbers]:
    """Return what the trees of one size are asked with, and what they correct.

    Parameters
    ----------
    rows : (N, F)
        Measures of :data:`~vision.chips.features.FEATURES`.
    keys : N of :data:`KEYS`
    bases : mapping of key to Base
        Keys without one are asked with NaN.

    Returns
    -------
    asked : (N, F + 5 + others)
        Behind the measures: raw size, raw less glance, glance, its doubt, the key; then what
        is known of the group's other sizes, less what is corrected. Sizes hang together: a
        coil's length, say, by its curl radius and its turns.
    base : (N,)
        What is corrected; NaN where neither is known.
    """
    raw, seems = facts.raw[size], facts.seems[size]
    factor = np.array([log(bases[k].factor) if k in bases else nan for k in keys])
    leads = np.array([k in bases and bases[k].glance_leads for k in keys], bool)
    raw = raw + factor
    first, second = np.where(leads, seems, raw), np.where(leads, raw, seems)
    base = np.where(np.isfinite(first), first, second)
    base[~np.isfinite(factor)] = nan
    number = np.array([float(KEYS.index(k)) for k in keys])
    own = [raw, raw - seems, seems, facts.doubt[size], number]
    others = [k for k in SIZES if k != size]
    # What the group has not is not asked: a glance at the pitch of a needle says nothing.
    has = {k: np.array([k in SIZES_OF[key] for key in keys], bool) for k in others}
    glances = [np.where(has[k], facts.seems[k] - base, nan) for k in others if k in GUESSED]
    measured = [np.where(has[k], facts.raw[k] - base, nan) for k in others]
    return np.column_stack([rows, *own, *glances, *measured]), base


def second_questions(asked: Numbers, told: Numbers) -> Numbers:
    """Return what is asked of how far off the ``told`` logarithms of a size are."""
    raw, _, seems = asked[:, len(FEATURES) : len(FEATURES) + 3].T
    return np.column_stack([asked, told - seems, told - raw])


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeModel:
    """All sizes: ``bases`` by size and key, ``trees`` by size."""

    bases: Mapping[str, Mapping[str, Base]]
    trees: Mapping[str, SizeTrees]

    def told(
        self, size: str, rows: Numbers, keys: Sequence[str], facts: Facts
    ) -> tuple[Numbers, Numbers]:
        """Return the logarithm of one size and its relative uncertainty, (N,) each.

        Arguments as of :func:`questions`; NaN where nothing is known of the size.
        """
        trees = self.trees[size]
        asked, base = questions(size, rows, keys, self.bases[size], facts)
        told = base + trees.correction.sums(asked)
        off = trees.scale * np.exp(trees.off.sums(second_questions(asked, told)))
        return told, np.where(np.isfinite(told), off, nan)

    def sizes(
        self, shapes: Sequence[Shape], rows: Numbers, keys: Sequence[str]
    ) -> list[dict[str, Sized]]:
        """Return the sizes of chips, each a value and its relative standard uncertainty.

        Parameters
        ----------
        shapes : N Shape
            Measured on crops of :data:`~vision.chips.features.CROP_PX_PER_MM`.
        rows : (N, F)
            Their measures of :data:`~vision.chips.features.FEATURES`.
        keys : N of :data:`KEYS`
            What they were named.

        Returns
        -------
        list of dict
            Millimetres by name (``turns`` a number); a size that the group has not, that
            nothing is known of, or that is known to less than two fifths, is missing. A
            radius fitted to less than 60 degrees of arc is never told.
        """
        out: list[dict[str, Sized]] = [{} for _ in shapes]
        if not shapes:
            return out
        facts = facts_of(shapes, keys)
        for size in self.trees:
            told, off = self.told(size, rows, keys, facts)
            for i in np.flatnonzero(np.isfinite(told) & (off < TOO_UNSURE)).tolist():
                if _has(shapes[i], keys[i], size):
                    out[i][size] = exp(told[i]), max(float(off[i]), _LEAST_U)
        return out

    def dump(self) -> bytes:
        """Return the model as bytes: arrays without pickles, byte for byte repeatable."""
        arrays: dict[str, Any] = {}
        for size, trees in self.trees.items():
            for part, grown in (("correction", trees.correction), ("off", trees.off)):
                arrays |= {f"{size}.{part}.{k}": v for k, v in grown.arrays().items()}
        head = {
            "features": list(FEATURES),
            "bases": {
                size: {k: [b.factor, b.glance_leads] for k, b in of.items()}
                for size, of in self.bases.items()
            },
            "scale": {size: trees.scale for size, trees in self.trees.items()},
        }
        arrays["head"] = np.array(json.dumps(head))
        file = io.BytesIO()
        np.savez_compressed(file, **arrays)
        return file.getvalue()

    @classmethod
    def load(cls, data: bytes) -> SizeModel:
        """Read what :meth:`dump` wrote.

        Raises
        ------
        ModelUnreadable
            Damaged, or made for other measures.
        """
        try:
            with np.load(io.BytesIO(data), allow_pickle=False) as file:
                arrays = {name: file[name] for name in file.files}
            head = json.loads(str(arrays.pop("head")))
            if head["features"] != list(FEATURES):
                raise ModelUnreadable("The sizes were fitted for other measures; refit them.")  # noqa: TRY301

            def grown(size: str, part: str) -> Trees:
                first = f"{size}.{part}."
                own = [k for k in arrays if k.startswith(first)]
                return Trees.of_arrays({k.removeprefix(first): arrays[k] for k in own})

            return cls(
                bases={
                    size: {k: Base(float(f), bool(leads)) for k, (f, leads) in of.items()}
                    for size, of in head["bases"].items()
                },
                trees={
                    size: SizeTrees(grown(size, "correction"), grown(size, "off"), float(scale))
                    for size, scale in head["scale"].items()
                },
            )
        except ModelUnreadable:
            raise
        except Exception as error:  # many kinds: zip, json, missing arrays
            raise ModelUnreadable(f"The sizes are unreadable ({error}); refit them.") from error


def _has(shape: Shape, key: str, size: str) -> bool:
    """Say whether a chip of this kind has such a size, as far as it shows."""
    if size not in SIZES_OF[key]:
        return False
    short = shape.circle is not None and shape.circle.arc_deg < MIN_ARC_DEG
    return not (key == "6" and size in ("curl_radius", "turns") and short)
