"""Find places on the card: chips lie apart, or on purpose touch and overlap."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.training.sweep import Points3

__all__ = ["Area", "Floor"]

_CELL_MM = 0.5

#: x0, y0, x1, y1 in world millimetres.
Area = tuple[float, float, float, float]


@dataclass(slots=True)
class Floor:
    """Heights of what already lies on the card, on a grid of half millimetres."""

    area: Area
    gap_mm: float = 1.0
    height: npt.NDArray[np.float32] = field(init=False)

    def __post_init__(self) -> None:
        x0, y0, x1, y1 = self.area
        shape = (int((y1 - y0) / _CELL_MM) + 1, int((x1 - x0) / _CELL_MM) + 1)
        self.height = np.zeros(shape, dtype=np.float32)

    def _cells(self, points: Points3) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
        x = ((points[:, 0] - self.area[0]) / _CELL_MM).astype(np.int64)
        y = ((points[:, 1] - self.area[1]) / _CELL_MM).astype(np.int64)
        rows, columns = self.height.shape
        return y.clip(0, rows - 1), x.clip(0, columns - 1)

    def place(
        self, points: Points3, rng: np.random.Generator, within: Area, *, overlap: bool
    ) -> Points3 | None:
        """Shift (3,) that puts a body down inside ``within``, or ``None``.

        With ``overlap`` the body may come down on others and then rests on the
        highest point under it.
        """
        low, high = points.min(axis=0), points.max(axis=0)
        x_range = (within[0] - low[0], within[2] - high[0])
        y_range = (within[1] - low[1], within[3] - high[1])
        if x_range[1] <= x_range[0] or y_range[1] <= y_range[0]:
            return None
        for _ in range(60):
            shift = np.array([rng.uniform(*x_range), rng.uniform(*y_range), 0.0])
            under = self.height[self._cells(points + shift)]
            if overlap:
                shift[2] = float(under.max())
                return shift
            if not under.any():
                return shift
        return None

    def occupy(self, points: Points3) -> None:
        """Mark where a placed body lies, with the wanted gap round it."""
        reach = int(np.ceil(self.gap_mm / _CELL_MM))
        top = points[:, 2].astype(np.float32)
        for dx in range(-reach, reach + 1):
            for dy in range(-reach, reach + 1):
                rim = points + np.array([dx, dy, 0.0]) * _CELL_MM
                np.maximum.at(self.height, self._cells(rim), np.maximum(top, 0.05))
