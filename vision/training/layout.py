"""Find places on the card: chips lie apart, or on purpose touch and overlap."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import Float1
    from vision.training.sweep import Points3

__all__ = ["Area", "Floor"]

_CELL_MM = 0.5
_TRIES = 60
#: How far a chip is moved away from a neighbour's middle to touch it, mm.
_REACH_MM = 70.0

#: x0, y0, x1, y1 in world millimetres.
Area = tuple[float, float, float, float]


@dataclass(slots=True)
class Floor:
    """Heights of what already lies on the card, on a grid of half millimetres.

    ``height`` has the wanted gap round everything, ``bare`` has not.
    """

    area: Area
    gap_mm: float = 1.0
    height: npt.NDArray[np.float32] = field(init=False)
    bare: npt.NDArray[np.float32] = field(init=False)

    def __post_init__(self) -> None:
        x0, y0, x1, y1 = self.area
        shape = (int((y1 - y0) / _CELL_MM) + 1, int((x1 - x0) / _CELL_MM) + 1)
        self.height = np.zeros(shape, dtype=np.float32)
        self.bare = np.zeros(shape, dtype=np.float32)

    def _cells(self, points: Points3) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
        x = ((points[:, 0] - self.area[0]) / _CELL_MM).astype(np.int64)
        y = ((points[:, 1] - self.area[1]) / _CELL_MM).astype(np.int64)
        rows, columns = self.height.shape
        return y.clip(0, rows - 1), x.clip(0, columns - 1)

    def place(
        self,
        points: Points3,
        rng: np.random.Generator,
        within: Area,
        *,
        overlap: bool = False,
        spill: bool = False,
    ) -> Points3 | None:
        """Shift (3,) that puts a body down inside ``within``, or ``None``.

        With ``overlap`` the body may come down on others and then rests on the first
        point that it meets; with ``spill`` only its middle need lie inside.
        """
        low, high = points.min(axis=0), points.max(axis=0)
        if spill:
            low = high = (low + high) / 2
        x_range = (within[0] - low[0], within[2] - high[0])
        y_range = (within[1] - low[1], within[3] - high[1])
        if x_range[1] <= x_range[0] or y_range[1] <= y_range[0]:
            return None
        for _ in range(_TRIES):
            shift = np.array([rng.uniform(*x_range), rng.uniform(*y_range), 0.0])
            if overlap:
                shift[2] = self._contact(points + shift)
                return shift
            if self.free(points + shift):
                return shift
        return None

    def touch(
        self,
        points: Points3,
        rng: np.random.Generator,
        within: Area,
        neighbour: Float1,
        *,
        tangled: bool,
    ) -> Points3 | None:
        """Shift (3,) that slides a body up to a neighbour until both touch.

        Parameters
        ----------
        points : (N, 3) mm
        rng : numpy.random.Generator
        within : where the body must stay
        neighbour : (2,) middle of what is to be touched, mm
        tangled : bool
            Push the body on into its neighbour and let it down between its turns, as
            coils that hook into each other.
        """
        middle = (points.min(axis=0) + points.max(axis=0)) / 2
        for _ in range(8):
            angle = rng.uniform(0, 2 * np.pi)
            way = np.array([np.cos(angle), np.sin(angle), 0.0])
            start = np.append(neighbour - middle[:2], 0.0)
            for reach in np.arange(0.0, _REACH_MM, _CELL_MM):
                shift = start + reach * way
                there = points + shift
                if not self.bare[self._cells(there)].any():
                    break
            else:
                continue
            if tangled:
                shift = start + reach * rng.uniform(0.45, 0.8) * way
                there = points + shift
                shift[2] = 0.4 * self._contact(there)
            else:
                shift = shift - 0.8 * _CELL_MM * way  # what the grid leaves open between them
            if self._all_in(there, within):
                return np.asarray(shift)
        return None

    def free(self, points: Points3) -> bool:
        """Say whether nothing lies where these points would, the outside not counted."""
        return not self.height[self._cells(self._inside(points))].any()

    def _contact(self, points: Points3) -> float:
        """How far a body must be lifted to lie on what is under it, mm."""
        return max(0.0, float((self.bare[self._cells(points)] - points[:, 2]).max()))

    def _inside(self, points: Points3) -> Points3:
        x0, y0, x1, y1 = self.area
        x, y = points[:, 0], points[:, 1]
        return points[(x >= x0) & (x <= x1) & (y >= y0) & (y <= y1)]

    @staticmethod
    def _all_in(points: Points3, within: Area) -> bool:
        low, high = points[:, :2].min(axis=0), points[:, :2].max(axis=0)
        return bool((low >= within[:2]).all() and (high <= within[2:]).all())

    def occupy(self, points: Points3) -> None:
        """Mark where a placed body lies, with the wanted gap round it."""
        points = self._inside(points)
        if not len(points):
            return
        reach = int(np.ceil(self.gap_mm / _CELL_MM))
        top = points[:, 2].astype(np.float32).clip(0.05)
        np.maximum.at(self.bare, self._cells(points), top)
        for dx in range(-reach, reach + 1):
            for dy in range(-reach, reach + 1):
                rim = points + np.array([dx, dy, 0.0]) * _CELL_MM
                np.maximum.at(self.height, self._cells(rim), top)
