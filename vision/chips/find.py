"""Chips one by one: from the probability of metal to numbered masks.

A ribbon that turns edge-on breaks a coil into pieces; pieces that share an axis,
a size and a spacing are put together again. Not in here: the decision metal or
not (``ground``), any measuring.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

from vision.chips.axis import long_axis, spans

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import BoolMask, Float2

__all__ = ["Find", "find_chips"]

_SURE, _LIKELY = 0.75, 0.42
#: Smallest thing looked at, mm2; a crumb of about 0.35 mm.
_LEAST_MM2 = 0.12
#: Metal as unlikely as this, on the mean over a thing larger than a crumb, is none: much of
#: what is no chip in the training scenes, and hardly a chip.
_DOUBTFUL, _CRUMB_MM2 = 0.62, 0.7
#: No sheet with chips laid out holds more pieces; a texture does. The largest are kept.
_MOST_PIECES = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Find:
    """One thing on the sheet: its mask in a box of the find view.

    ``row`` and ``col`` place the (h, w) ``mask`` in the view; ``pieces`` is how many
    separate pieces were put together; ``confidence`` the mean probability of metal;
    ``at_border`` whether it touches the edge of what can be seen.
    """

    row: int
    col: int
    mask: BoolMask
    pieces: int
    confidence: float
    at_border: bool


@dataclass(slots=True)
class _Piece:
    label: int
    row: int
    col: int
    mask: BoolMask
    area: float
    centre: np.ndarray
    axis: np.ndarray
    long: float
    short: float


def _numbered(
    where: npt.NDArray[np.uint8],
) -> tuple[npt.NDArray[np.integer], npt.NDArray[np.int32]]:
    """Return numbers of what hangs together, and box and area by number.

    Sixteen bits are three times as fast as thirty-two, and enough for all but noise.
    """
    try:
        found = cv2.connectedComponentsWithStats(where, connectivity=8, ltype=cv2.CV_16U)
    except cv2.error:
        found = cv2.connectedComponentsWithStats(where, connectivity=8, ltype=cv2.CV_32S)
    return np.asarray(found[1]), np.asarray(found[2], np.int32)


def _pieces(prob: Float2, least_px: float) -> list[_Piece]:
    """Return the pieces of likely metal that hold sure metal and are not too small."""
    likely = (prob > _LIKELY).astype(np.uint8)
    labels, stats = _numbered(likely)
    out = []
    for k in (np.flatnonzero(stats[1:, cv2.CC_STAT_AREA] >= least_px) + 1).tolist():
        c, r, w, h, area = (int(v) for v in stats[k])
        mask = labels[r : r + h, c : c + w] == k
        on = mask.view(np.uint8)
        _, most, _, _ = cv2.minMaxLoc(prob[r : r + h, c : c + w], on)
        if most <= _SURE:
            continue
        _, middle, angle = long_axis(on)
        axis = np.array([np.cos(angle), np.sin(angle)])
        long, short = spans(on)
        centre = middle + np.array([c, r])
        out.append(_Piece(k, r, c, mask, float(area), centre, axis, long, short))
    return out


def _gap(a: _Piece, b: _Piece, reach: float) -> float:
    """Return the least distance between two pieces, inf beyond ``reach``."""
    if (
        a.row - reach > b.row + b.mask.shape[0]
        or b.row - reach > a.row + a.mask.shape[0]
        or a.col - reach > b.col + b.mask.shape[1]
        or b.col - reach > a.col + a.mask.shape[1]
    ):
        return float("inf")
    if b.mask.size > a.mask.size:
        a, b = b, a
    # Only the surroundings of the smaller one matter.
    pad = int(np.ceil(reach)) + 1
    h, w = b.mask.shape
    field = np.ones((h + 2 * pad, w + 2 * pad), np.uint8)
    top, left = a.row - (b.row - pad), a.col - (b.col - pad)
    r0, r1 = max(top, 0), min(top + a.mask.shape[0], field.shape[0])
    c0, c1 = max(left, 0), min(left + a.mask.shape[1], field.shape[1])
    if r0 >= r1 or c0 >= c1:
        return float("inf")
    field[r0:r1, c0:c1][a.mask[r0 - top : r1 - top, c0 - left : c1 - left]] = 0
    if field.all():
        return float("inf")
    far = cv2.distanceTransform(field, cv2.DIST_L2, 5)
    return float(far[pad : pad + h, pad : pad + w][b.mask].min())


def _belong(a: _Piece, b: _Piece, gap: float, px_per_mm: float) -> bool:
    """Say whether two pieces are turns of one coil or parts of one broken strip.

    Turns lie side by side: alike in size, their long sides parallel and across the
    line that joins them. Strip parts lie end to end: their long sides along it.
    """
    if gap <= 1.5:
        return True
    small, large = sorted((a, b), key=lambda p: p.area)
    join = b.centre - a.centre
    join = join / max(float(np.hypot(*join)), 1e-6)
    parallel = abs(float(a.axis @ b.axis))
    across = max(abs(float(a.axis @ join)), abs(float(b.axis @ join)))
    along = min(abs(float(a.axis @ join)), abs(float(b.axis @ join)))
    alike = small.long > 0.4 * large.long
    turns = alike and parallel > 0.8 and across < 0.75 and gap < 0.6 * large.long
    thin = max(a.short, b.short)
    slim = min(a.long / max(a.short, 1), b.long / max(b.short, 1)) > 1.8
    strip = slim and parallel > 0.85 and along > 0.85 and gap < max(1.2 * thin, 0.5 * px_per_mm)
    crumb_of = small.area < 0.12 * large.area and gap < 0.35 * px_per_mm
    return bool(turns or strip or crumb_of)


def _root(parent: list[int], i: int) -> int:
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


def find_chips(prob: Float2, *, px_per_mm: float, seen: BoolMask | None = None) -> list[Find]:
    """Return the things that lie on the sheet, largest first.

    Parameters
    ----------
    prob : (H, W) float32, 0..1
        Probability of metal.
    px_per_mm : float
        Density of the view.
    seen : (H, W) bool, optional
        Where the photo shows the sheet; things touching its rim are marked.

    Notes
    -----
    Larger things that are hardly metal (shadows, stains) are left out. Not to be trusted
    for: chips that touch; they come out as one.
    """
    pieces = _pieces(prob, _LEAST_MM2 * px_per_mm**2)
    pieces = sorted(pieces, key=lambda p: -p.area)[:_MOST_PIECES]
    reach = 2.5 * px_per_mm
    parent = list(range(len(pieces)))
    for i, a in enumerate(pieces):
        for j in range(i + 1, len(pieces)):
            gap = _gap(a, pieces[j], reach)
            if gap < reach and _belong(a, pieces[j], gap, px_per_mm):
                parent[_root(parent, i)] = _root(parent, j)
    groups: dict[int, list[_Piece]] = {}
    for i, piece in enumerate(pieces):
        groups.setdefault(_root(parent, i), []).append(piece)
    border = _border(prob.shape, seen)
    finds = []
    for group in groups.values():
        find = _join(group, prob, border)
        area_px = int(find.mask.sum())
        if find.confidence >= _DOUBTFUL or area_px < _CRUMB_MM2 * px_per_mm**2:
            finds.append((area_px, find))
    return [find for _, find in sorted(finds, key=lambda pair: -pair[0])]


def _border(shape: tuple[int, ...], seen: BoolMask | None) -> BoolMask:
    inside = np.ones(shape, np.uint8) if seen is None else seen.astype(np.uint8)
    framed = cv2.copyMakeBorder(inside, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    return np.asarray(cv2.erode(framed, np.ones((5, 5), np.uint8))[1:-1, 1:-1] == 0)


def _join(group: list[_Piece], prob: Float2, border: BoolMask) -> Find:
    r0, c0 = min(p.row for p in group), min(p.col for p in group)
    r1 = max(p.row + p.mask.shape[0] for p in group)
    c1 = max(p.col + p.mask.shape[1] for p in group)
    mask = np.zeros((r1 - r0, c1 - c0), bool)
    for p in group:
        at = (
            slice(p.row - r0, p.row - r0 + p.mask.shape[0]),
            slice(p.col - c0, p.col - c0 + p.mask.shape[1]),
        )
        mask[at] |= p.mask
    box = (slice(r0, r1), slice(c0, c1))
    return Find(
        row=r0,
        col=c0,
        mask=mask,
        pieces=len(group),
        confidence=float(prob[box][mask].mean()),
        at_border=bool((border[box] & mask).any()),
    )
