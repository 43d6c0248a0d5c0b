"""From a first guess of where the card lies to its map: corners and map by turns.

The map rests on chessboard corners, which blur does not move. They stand on one ring: where
the photo shows one side of it they lie on a line, which fixes no plane, and where it shows
little more they fix it badly. There the corners of the markers join in, with the one thing
that ails them, a shift towards each marker's middle, fitted as well.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from vision._cv import fit_homography
from vision.errors import CardNotFound
from vision.photo.card_corners import locate, marker_corners, saddles
from vision.photo.sheet_map import fit_sheet_map, map_from_matrix

if TYPE_CHECKING:
    from vision.arrays import BoolMask, Float1, Matrix3, Points2, Rgb8
    from vision.photo.card import CardSpec
    from vision.photo.card_corners import CornerKind
    from vision.photo.sheet_map import SheetMap

__all__ = ["CardFit", "fit_card"]

_CORNERS_MIN = 8
#: At the second look, when the lens is known, a flat print fits to some 0.02 mm; twentyfold
#: is still paper, not a chip's edge. At the first the lens bends the frame by more.
_TOLERANCE_MM = (0.8, 0.4)
#: Share of the chessboard's corners from which on they need no help. In 220 rendered
#: development scenes, by fifths of that share, the scale was off by 0.5, 2.0, 1.0, 0.7 and
#: 0.3 % (95th percentile), with the markers' corners by 0.2, 0.9, 1.0, 0.7 and 0.3 %.
_ENOUGH = 0.6
#: Turns in which map and shift of the markers' corners settle.
_TURNS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class CardFit:
    """The map, the corners it rests on, and how many of the chessboard's are among them."""

    sheet: SheetMap
    px: Points2
    mm: Points2
    saddles_seen: int
    saddles_total: int


@dataclass(slots=True)
class _Corners:
    """Corners of all kinds that are looked for, one array each, and where they stand."""

    kinds: list[CornerKind]
    px: Points2
    good: BoolMask
    shift_mm: float = 0.0

    @property
    def inward(self) -> Points2:
        return np.concatenate([k.inward for k in self.kinds])

    @property
    def mm(self) -> Points2:
        plain = np.concatenate([k.mm for k in self.kinds])
        return np.asarray(plain + self.shift_mm * self.inward)

    def look(self, rgb: Rgb8, sheet: SheetMap) -> None:
        found = [locate(rgb, sheet, kind) for kind in self.kinds]
        self.px = np.concatenate([px for px, _ in found])
        self.good = np.concatenate([good for _, good in found])


def fit_card(rgb: Rgb8, first: Matrix3, spec: CardSpec) -> CardFit:
    """Fit the card's map from a first one.

    Parameters
    ----------
    rgb : (H, W, 3) uint8
    first : (3, 3) float64
        From pixels to the card's millimetres, good to about one.
    spec : CardSpec

    Returns
    -------
    CardFit
        Millimetres as the card describes itself.

    Raises
    ------
    CardNotFound
        Too few corners are clear, or they fix no plane.
    """
    chess = saddles(spec)
    corners = _Corners([chess], np.zeros((0, 2)), np.zeros(0, bool))
    size = (rgb.shape[1], rgb.shape[0])
    start = map_from_matrix(np.asarray(np.linalg.inv(first), np.float64), size)
    corners.look(rgb, start)
    if corners.good.mean() < _ENOUGH:
        corners.kinds.append(marker_corners(spec))
        corners.look(rgb, start)
    sheet, used = _fitted(corners, start, size, _TOLERANCE_MM[0])
    corners.look(rgb, sheet)
    sheet, used = _fitted(corners, sheet, size, _TOLERANCE_MM[1])
    sheet, used = _tightened(corners, used, sheet, size)
    seen = int(used[: len(chess.mm)].sum())
    return CardFit(
        sheet=replace(sheet, unseen=1 - seen / len(chess.mm)),
        px=corners.px[used],
        mm=corners.mm[used],
        saddles_seen=seen,
        saddles_total=len(chess.mm),
    )


def _fitted(
    corners: _Corners, sheet: SheetMap, size: tuple[int, int], tolerance_mm: float
) -> tuple[SheetMap, BoolMask]:
    """Fit the map to those corners that lie in one plane."""
    good, mm = corners.good, corners.mm
    rough = fit_homography(
        sheet.straight_px(corners.px[good]), mm[good], tolerance=tolerance_mm
    )
    agreed = 0 if rough is None else int(rough[1].sum())
    if rough is None or agreed < _CORNERS_MIN:
        raise CardNotFound(
            f"Only {agreed} clear corners of the card's border lie in one plane; at least "
            f"{_CORNERS_MIN} are needed. Show more of the border, flat, in even light."
        )
    used = good.copy()
    used[good] = rough[1]
    return _settled(corners, used, size), used


def _settled(corners: _Corners, used: BoolMask, size: tuple[int, int]) -> SheetMap:
    """Fit map and shift of the markers' corners by turns."""
    inward = corners.inward[used]
    turns = _TURNS if inward.any() else 1
    sheet: SheetMap | None = None
    for _ in range(turns):
        sheet = fit_sheet_map(corners.px[used], corners.mm[used], size)
        if sheet is None:
            raise CardNotFound(
                "The corners of the card's border that can be seen fix no plane. "
                "Show more of the border, flat, in even light."
            )
        if turns > 1:
            off = sheet.to_mm(corners.px[used]) - corners.mm[used]
            corners.shift_mm += float((off * inward).sum() / (inward**2).sum())
    assert sheet is not None  # noqa: S101 - at least one turn
    return sheet


def _off_mm(corners: _Corners, sheet: SheetMap) -> Float1:
    return np.asarray(np.linalg.norm(sheet.to_mm(corners.px) - corners.mm, axis=1))


def _tightened(
    corners: _Corners, used: BoolMask, sheet: SheetMap, size: tuple[int, int]
) -> tuple[SheetMap, BoolMask]:
    """Drop what stands out from the scatter of the others, and fit again."""
    for _ in range(3):
        off = _off_mm(corners, sheet)
        limit = max(4.0 * float(np.median(off[used])), 0.03)
        keep = used & (off <= limit)
        if keep.sum() == used.sum() or keep.sum() < _CORNERS_MIN:
            break
        sheet, used = _settled(corners, keep, size), keep
    return sheet, used
