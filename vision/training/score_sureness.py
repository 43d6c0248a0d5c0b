"""How far a reader's sureness can be believed: its curve, its calibration, its worst mistake.

Asked of chips that were found and called a chip or a nest. Probabilities are those of the
group given that the thing is a chip; for nests the reading tells none, so they are left out of
the curve and of the calibration.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from vision.forms.verdict import is_dangerous
from vision.training.resample import over_scenes, ratio, share_text

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from vision.training.score import Named, SceneScore

__all__ = ["BINS", "calibration_error", "right_at", "sureness_figures", "sureness_lines"]

#: Bins of equally many chips that the calibration error is summed over.
BINS = 15
#: Shares of chips answered that the curve is read at, surest first.
_SHARES = (0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
#: The share at which a figure is asked for.
_ASKED = 0.8


def _chips(scores: Sequence[SceneScore]) -> list[Named]:
    return [n for s in scores for n in s.named if n.probability is not None]


def right_at(chips: Sequence[Named], share: float) -> float:
    """Return how many of the surest ``share`` of chips are named rightly."""
    order = sorted(chips, key=lambda n: -(n.probability or 0.0))
    kept = order[: round(share * len(order))]
    return ratio(sum(n.accepted for n in kept), len(kept))


def calibration_error(chips: Sequence[Named]) -> float:
    """Return the expected calibration error over bins of equally many chips.

    The mean over bins of how far the mean probability is from the share that is right
    (Naeini, Cooper and Hauskrecht 2015, with bins of equal count); NaN of nothing.
    """
    order = sorted(chips, key=lambda n: n.probability or 0.0)
    bins = [b for b in np.array_split(np.arange(len(order)), BINS) if len(b)]
    off = 0.0
    for b in bins:
        those = [order[i] for i in b]
        said = float(np.mean([n.probability for n in those]))
        off += len(those) * abs(said - ratio(sum(n.accepted for n in those), len(those)))
    return ratio(off, len(order))


def _played_down(scores: Sequence[SceneScore]) -> tuple[int, int]:
    """Count long and snarled chips called short or loose with sureness, of those found."""
    found = [n for s in scores for n in s.named if is_dangerous(n.true_form)]
    low = [n for n in found if n.sure and n.read_form and not is_dangerous(n.read_form)]
    return len([n for n in low if n.read_form not in n.also]), len(found)


def sureness_figures(scores: Sequence[SceneScore]) -> dict[str, Any]:
    """Return the figures as plain data; intervals are over scenes."""
    chips = _chips(scores)
    return {
        "sureness_curve": [(share, right_at(chips, share)) for share in _SHARES],
        "right_at_0.8": over_scenes(scores, lambda x: right_at(_chips(x), _ASKED)),
        "calibration_error": over_scenes(scores, lambda x: calibration_error(_chips(x))),
        "long_or_snarled_played_down": _played_down(scores),
    }


def sureness_lines(out: dict[str, Any]) -> Iterator[str]:
    """Yield the figures as text, one a line."""
    curve = ", ".join(f"{right:.3f} of {share:.0%}" for share, right in out["sureness_curve"])
    yield f"surest first, group right or accepted: {curve}"
    yield f"group right or accepted at {_ASKED:.0%} answered: {share_text(out['right_at_0.8'])}"
    yield f"calibration error, {BINS} bins: {share_text(out['calibration_error'])}"
    low, found = out["long_or_snarled_played_down"]
    yield f"long or snarled chips called short or loose with sureness: {low} of {found} found"
