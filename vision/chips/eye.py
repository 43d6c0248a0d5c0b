"""The learned look: a small convolutional network over the flattened sheet.

In here: running it on one picture. Not in here: what it is shown and where (``ground``),
making chips out of its answer (``part``), how it was learned (``vision.training.network``).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
import onnxruntime

from vision.errors import ModelUnreadable

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import Float2

__all__ = ["CELL_PX", "STEP_PX", "Eye", "Said"]

#: The network halves five times; pictures are padded to whole multiples of this.
STEP_PX = 32
#: Where a pixel's chip lies is told for squares of so many pixels a side.
CELL_PX = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What the network says of a picture of (H, W) pixels.

    ``metal`` (H, W), 0..1: that the pixel shows a chip, a grain or a crumb. The others are
    told a cell of :data:`CELL_PX`: ``middle`` (2, h, w), how far right and down the middle of
    the cell's chip lies, mm; ``reach`` (h, w), how far round that middle its cells may point,
    mm; ``typical`` (h, w), 0..1: how near the cell itself points to it.
    """

    metal: Float2
    middle: npt.NDArray[np.float32]
    reach: Float2
    typical: Float2


@dataclass(frozen=True, slots=True)
class Eye:
    """A network in ONNX form; loaded when first asked, run on one thread."""

    onnx: bytes

    def __call__(self, picture: npt.NDArray[np.float32]) -> Said:
        """Return the answer to a picture (H, W, 4) of ``ground.shown``.

        Raises
        ------
        ModelUnreadable
            The network's file is damaged.
        """
        h, w = picture.shape[:2]
        padded = cv2.copyMakeBorder(
            picture, 0, -h % STEP_PX, 0, -w % STEP_PX, cv2.BORDER_REPLICATE
        )
        shown = np.ascontiguousarray(padded.transpose(2, 0, 1), np.float32)[None]
        metal, place = _session(self.onnx).run(["metal", "place"], {"shown": shown})
        cells = place[0][:, : -(-h // CELL_PX), : -(-w // CELL_PX)]
        return Said(
            metal=metal[0, 0, :h, :w],
            middle=cells[:2],
            reach=cells[2],
            typical=cells[3],
        )


@lru_cache(maxsize=2)
def _session(onnx: bytes) -> Any:  # noqa: ANN401
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    # Boxes differ in size: memory kept for the next one would mostly be kept for nothing.
    options.enable_cpu_mem_arena = False
    options.log_severity_level = 3
    try:
        return onnxruntime.InferenceSession(onnx, options, providers=["CPUExecutionProvider"])
    except Exception as error:  # the library's types are not public
        raise ModelUnreadable("The packaged network is damaged; reinstall.") from error
