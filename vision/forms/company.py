"""Chips of one photo come from one pass, and one pass makes mostly chips of one form.

So the chips of a photo are named together: either one group is the main one, or they are a
mixture, as where swarf of several passes was swept up. How well each of these would explain
all chips is weighed, and each chip's probabilities of the groups are multiplied by what that
lets one expect. A chip that is clear by itself stays what it is; one that may be two things
goes with the others. Crumbs come off with any chip and nests are told by themselves: neither
votes, nor is its probability touched, nor that of being no chip.

The rule is that of Bayes for a mixture of eight kinds of photo. The chips of a photo share its
faults, so what they say together counts half (a power of the likelihood; P. Grünwald, "The safe
Bayesian", 2012; from memory). That passes make mostly one form is common practice, no source;
the three numbers below were chosen on the calibration scenes, of which half show one cut, the
others a mixture; they hardly matter there (macro-F1 within 0.002).

When not to trust: where chips of several passes lie in one photo in unlike numbers, the few are
drawn to the many. What snarls is not drawn: nests are left alone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vision.forms.model import CLASSES, GROUPS

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from vision.arrays import BoolMask, Float1, Float2

__all__ = ["COMPANY", "company_weights", "in_company", "in_company_by"]

#: What a reader is told speaks for a group beside the chip's own measures.
COMPANY = "company: what the other chips of this photo are"

#: How many photos show one main group, what share of their chips has it, and how much of what
#: the chips of a photo say together counts.
_ONE_CUT, _MAIN_SHARE, _TOGETHER = 0.5, 0.7, 0.5

_VOTING = [g for g in GROUPS if g != "7"]
_OF_VOTING = np.array([[float(c[:1] == g) for g in _VOTING] for c in CLASSES])
_LEAST = 1e-9


def _kinds() -> Float2:
    """Return (K, G) the shares of the groups in each kind of photo; the last is the mixture."""
    count = len(_VOTING)
    kinds = np.full((count + 1, count), (1 - _MAIN_SHARE) / count)
    kinds[np.arange(count), np.arange(count)] += _MAIN_SHARE
    kinds[-1] = 1 / count
    return kinds


_KINDS = _kinds()
_LOG_PRIOR = np.log([*[_ONE_CUT / len(_VOTING)] * len(_VOTING), 1 - _ONE_CUT])


def in_company(p: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return the probabilities of the chips of one photo, each in the light of the others.

    Parameters
    ----------
    p : (N, C)
        Calibrated probabilities of what is shown of one photo, columns as ``CLASSES``.

    Returns
    -------
    (N, C)
        Rows add up to what they did; those of "7", "nest" and "none" are as they were.

    Examples
    --------
    >>> coil = [0.0, 0.9, 0, 0, 0.05, 0.05, 0, 0, 0, 0, 0, 0]
    >>> doubtful = [0.0, 0.48, 0, 0, 0.52, 0.0, 0, 0, 0, 0, 0, 0]
    >>> float(in_company(np.array([coil] * 5 + [doubtful]))[-1, 1].round(1))
    0.9
    """
    if len(p) < 2:
        return p
    shares = p @ _OF_VOTING
    weight = shares.sum(axis=1)
    known = shares / np.maximum(weight, _LEAST)[:, None]
    likely = np.maximum(known * len(_VOTING), _LEAST)
    fits = likely @ _KINDS.T
    log_kind = _LOG_PRIOR + _TOGETHER * weight @ np.log(fits)
    kind = np.exp(log_kind - log_kind.max())
    kind /= kind.sum()
    expected = (kind / fits) @ _KINDS
    expected /= np.maximum((expected * known).sum(axis=1, keepdims=True), _LEAST)
    factor = np.ones_like(p)
    voting = _OF_VOTING.any(axis=1)
    factor[:, voting] = (expected @ _OF_VOTING.T)[:, voting]
    return np.asarray(p * np.where((weight > _LEAST)[:, None], factor, 1.0))


def in_company_by(
    p: npt.NDArray[np.float64], photos: npt.NDArray[np.str_], shown: BoolMask
) -> npt.NDArray[np.float64]:
    """Return the probabilities of many photos' chips, each in the company of its own photo's.

    ``photos`` (N,) tells which photo each row is of; rows that are not ``shown`` stay alone.
    """
    out = p.copy()
    at = np.flatnonzero(shown)
    _, which = np.unique(photos[at], return_inverse=True)
    order = np.argsort(which, kind="stable")
    for rows in np.split(at[order], np.flatnonzero(np.diff(which[order])) + 1):
        out[rows] = in_company(p[rows])
    return out


def company_weights(alone: Float2, together: Float2, labels: Sequence[str]) -> Float1:
    """Return (N,) by how much the others changed the log-odds of the group each is named by."""

    def log_odds(p: Float2) -> Float1:
        named = [[c[:1] == label[:1] for c in CLASSES] for label in labels]
        own = np.clip((p * np.array(named)).sum(axis=1), _LEAST, 1 - _LEAST)
        return np.asarray(np.log(own / (1 - own)))

    return np.asarray(log_odds(together) - log_odds(alone))
