"""The learned look: a small convolutional network over the flattened sheet.

In here: running it on one picture. Not in here: what it is shown and where (``ground``),
making chips out of its answer (``part``), how it was learned (``vision.training.network``).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import expit, logit

from vision.chips.session import session

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import Float2
    from vision.chips.lie import LieNet

    Picture = npt.NDArray[np.float32]

__all__ = [
    "ASKED",
    "CELL_PX",
    "GUESSED",
    "GUESS_PX",
    "KIN",
    "STEP_PX",
    "Eye",
    "Said",
    "SteadyEye",
]

#: The network halves five times; sides of a picture are whole multiples of this.
STEP_PX = 32
#: Where a pixel's chip lies is told for squares of so many pixels a side.
CELL_PX = 4
#: Sizes of the chip are guessed for squares of so many pixels a side.
GUESS_PX = 8
#: Sizes of its chip that a place guesses: logarithms of mm (of a number for ``turns`` and
#: ``taper``, the largest curl radius over the smallest); ``lie``, how the strip lies on its
#: coil, in units of :data:`vision.chips.lie.LIE_DEG`: 0 as on a tube, 2 as a washer does.
GUESSED = ("length", "width", "curl_radius", "taper", "pitch", "turns", "lie", "coil_length")
#: Pairs of cells that are asked whether they show one chip: how many rows down and columns
#: right the second one lies.
KIN = tuple(
    (down * far, right * far)
    for far in (1, 2, 4, 8)
    for down, right in ((0, 1), (1, 0), (1, 1), (1, -1))
)
#: What is asked of the chip at a place, 0..1: whether it curls at all, and whether it goes
#: on along an axis with a pitch.
ASKED = ("curls", "winds")


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What the network says of a picture of (H, W) pixels.

    ``metal`` (H, W), 0..1: that the pixel shows a chip, a grain or a crumb. The others are
    told a cell of :data:`CELL_PX`: ``middle`` (2, h, w), how far right and down the middle of
    the cell's chip lies, mm; ``reach`` (h, w), how far round that middle its cells may point,
    mm; ``typical`` (h, w), 0..1: how near the cell itself points to it; ``kin`` (16, h, w):
    the log-odds that it and the cell so far off (:data:`KIN`) show one chip. Of squares of
    :data:`GUESS_PX`, ``guess`` (18, h / 2, w / 2) tells the sizes of :data:`GUESSED`, the
    logarithms of their spreads (mean absolute error), and :data:`ASKED`.
    """

    metal: Float2
    middle: npt.NDArray[np.float32]
    reach: Float2
    typical: Float2
    kin: npt.NDArray[np.float32]
    guess: npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Eye:
    """A network in ONNX form, run on one thread; with it the one that looks at coils."""

    onnx: bytes
    lie: LieNet | None = None

    def load(self) -> None:
        """Load the networks now rather than when first asked.

        Raises
        ------
        ModelUnreadable
            The network's file is damaged.
        """
        session(self.onnx)
        if self.lie is not None:
            session(self.lie.onnx)

    def __call__(self, picture: Picture) -> Said:
        """Return the answer to a picture (4, H, W) of ``ground.shown``.

        Raises
        ------
        ModelUnreadable
            The network's file is damaged.
        """
        asked = ["metal", "place", "kin", "guess"]
        metal, place, kin, guess = session(self.onnx).run(asked, {"shown": picture[None]})
        return Said(
            metal=metal[0, 0],
            middle=place[0, :2],
            reach=place[0, 2],
            typical=place[0, 3],
            kin=kin[0],
            guess=guess[0],
        )


#: Mirror images looked at besides the picture itself: left for right, top for bottom.
_MIRRORED = ((False, False), (True, False), (False, True), (True, True))
#: The mean of four looks is less outspoken than one; logits of metal so many times larger make
#: the least sure twentieth of the chips of calibration scenes as surely metal as one look does.
_OUTSPOKEN = 1.1
#: Metal is never less and never more sure than this before logits are taken.
_LEAST_SURE = 1e-6


@dataclass(frozen=True, slots=True)
class SteadyEye:
    """An eye that looks at a picture and its three mirror images and tells the mean of all.

    What a network only fancies it seldom fancies in all of them: on benches without a card a
    third of what is no chip is no longer seen, for four times the work. Mirrored pictures get
    mirrored answers.
    """

    eye: Eye

    def __call__(self, picture: Picture) -> Said:
        """Return the answer to a picture (4, H, W) of ``ground.shown``.

        Raises
        ------
        ModelUnreadable
            The network's file is damaged.
        """
        all_said = []
        for right, down in _MIRRORED:
            view = (
                ...,
                slice(None, None, -1 if down else 1),
                slice(None, None, -1 if right else 1),
            )
            said = self.eye(np.ascontiguousarray(picture[view]))
            towards = np.array([-1 if right else 1, -1 if down else 1], np.float32)
            middle = said.middle[view] * towards[:, None, None]
            rest = (part[view] for part in (said.reach, said.typical, said.guess))
            kin = _unmirrored_kin(said.kin[view], right=right, down=down)
            metal = np.clip(said.metal[view], _LEAST_SURE, 1 - _LEAST_SURE)
            all_said.append((logit(metal), middle, kin, *rest))
        sureness, middle, kin, reach, typical, guess = (
            np.asarray(sum(parts) / np.float32(len(_MIRRORED)), np.float32)
            for parts in zip(*all_said, strict=True)
        )
        metal = np.asarray(expit(_OUTSPOKEN * sureness), np.float32)
        return Said(
            metal=metal, middle=middle, reach=reach, typical=typical, kin=kin, guess=guess
        )


def _unmirrored_kin(
    kin: npt.NDArray[np.float32], *, right: bool, down: bool
) -> npt.NDArray[np.float32]:
    """Return the log-odds of :data:`KIN` that were told of a mirrored picture, (16, h, w).

    They are turned back already. A pair is told at its first cell, which in a mirror image
    may be the other one; where that lies outside nothing is known, which is 0.
    """
    out = np.zeros_like(kin)
    h, w = kin.shape[1:]
    for k, (rows, cols) in enumerate(KIN):
        a, b = (-rows if down else rows), (-cols if right else cols)
        # The same pair, told at the other end.
        first = (a, b) if (a, b) not in KIN else (0, 0)
        source = (a, b) if (a, b) in KIN else (-a, -b)
        top, left = first
        into = (slice(max(-top, 0), h - max(top, 0)), slice(max(-left, 0), w - max(left, 0)))
        of = (slice(max(top, 0), h + min(top, 0)), slice(max(left, 0), w + min(left, 0)))
        out[KIN.index(source)][of] = kin[k][into]
    return out
