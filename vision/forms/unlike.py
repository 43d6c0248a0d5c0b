"""Whether a thing's measures look like those of any chip that was learned from.

Each class of chips is a cloud of rows; a thing is as far off as it is from the nearest
cloud, in standard deviations along the cloud's own directions (Mahalanobis 1936). The
covariances are shrunk (O. Ledoit, M. Wolf, "A well-conditioned estimator for
large-dimensional covariance matrices", 2004; from memory). A measure that could not be
taken says nothing.

What it notices: measures that do not go together, and mostly sizes ten times any chip's.
What it does not: a flat offcut or a washer of a chip's size has measures that a chip may have,
and so has most clutter that is called a chip.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from math import inf
from typing import TYPE_CHECKING, Any

import numpy as np
from sklearn.covariance import LedoitWolf

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

    from vision.arrays import Float1

__all__ = ["Clouds", "clouds_of"]

#: Of fewer rows a class has no shape.
_FEW_ROWS = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Clouds:
    """K clouds of rows of F measures, and how far from the nearest a chip may lie.

    ``middles`` (K, F) in the unit of each measure, NaN where a class never has it;
    ``whiten`` (K, F, F) turns a difference from the middle into standard deviations.
    """

    middles: npt.NDArray[np.float64]
    whiten: npt.NDArray[np.float64]
    limit: float = inf

    @classmethod
    def of_arrays(cls, arrays: Mapping[str, Any]) -> Clouds:
        """Return the clouds that :meth:`arrays` told of.

        Raises
        ------
        ValueError
            There is no cloud, the shapes do not go together or the limit is no distance.
        """
        middles, whiten = np.asarray(arrays["middles"]), np.asarray(arrays["whiten"])
        limit = float(arrays["limit"])
        fits = len(middles) > 0 and whiten.shape == (*middles.shape, middles.shape[-1])
        if not (fits and np.isfinite(whiten).all() and limit > 0):
            raise ValueError("the clouds make no sense")
        return cls(middles=middles, whiten=whiten, limit=limit)

    def arrays(self) -> dict[str, npt.NDArray[np.float64]]:
        """Return all there is to know, to be written down."""
        limit = np.array(self.limit)
        return {"middles": self.middles, "whiten": self.whiten, "limit": limit}

    def distance(self, rows: npt.NDArray[np.float64]) -> Float1:
        """Return (N,) how far each of (N, F) rows is from the nearest cloud."""
        nearest = np.full(len(rows), inf)
        for middle, whiten in zip(self.middles, self.whiten, strict=True):
            off = rows - middle
            away = np.where(np.isnan(off), 0.0, off) @ whiten
            nearest = np.minimum(nearest, np.sqrt(np.einsum("nf,nf->n", away, away)))
        return nearest

    def unlike(self, rows: npt.NDArray[np.float64]) -> npt.NDArray[np.bool_]:
        """Return (N,) what is farther from every cloud than a chip should be."""
        return self.distance(rows) > self.limit


def clouds_of(rows: npt.NDArray[np.float64], labels: npt.NDArray[np.str_]) -> Clouds:
    """Return a cloud for each class of (N, F) rows, without a limit.

    Classes of under ten rows get none.

    Raises
    ------
    ValueError
        If no class has ten rows.
    """
    classes, counts = np.unique(labels, return_counts=True)
    known = classes[counts >= _FEW_ROWS]
    if not len(known):
        raise ValueError("no class has enough rows to show how chips vary")
    scale = _nan_std(rows)
    middles, whiten = [], []
    for name in known:
        own = rows[labels == name]
        middle = _nan_mean(own)
        off = (own - middle) / scale
        fitted = LedoitWolf(assume_centered=True).fit(np.where(np.isnan(off), 0.0, off))
        middles.append(middle)
        whiten.append(np.linalg.cholesky(fitted.precision_) / scale[:, None])
    return Clouds(middles=np.array(middles), whiten=np.array(whiten))


def _nan_mean(rows: npt.NDArray[np.float64]) -> Float1:
    """Return (F,) means of what is known; NaN where nothing is."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        return np.asarray(np.nanmean(rows, axis=0))


def _nan_std(rows: npt.NDArray[np.float64]) -> Float1:
    """Return (F,) standard deviations of what is known; 1 where nothing varies."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        spread = np.nanstd(rows, axis=0)
    return np.where(spread > 0, spread, 1.0)
