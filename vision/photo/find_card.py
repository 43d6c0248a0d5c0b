"""Finding the reference card in a photo and fitting the plane it lies in.

Not in here: the fit itself (``sheet_map``), using it (``plane``). Markers only tell which
corner is which; the map rests on chessboard corners, which have no bias (marker corners do).
"""

from __future__ import annotations

from dataclasses import replace
from math import ceil
from typing import TYPE_CHECKING

import numpy as np

from vision._cv import detect_markers, fit_homography, grey, map_points, refine_corner, shrink
from vision.errors import CardMismatch, CardNotFound
from vision.photo.card import (
    CARDS,
    CHECK_LINE_MM,
    CardSpec,
    chess_corners_mm,
    marker_dictionary,
    markers_mm,
)
from vision.photo.sheet_map import SheetMap, fit_sheet_map, map_from_matrix
from vision.records import CardFix

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import BoolMask, Matrix3, Points2, Rgb8
    from vision.records import Photo

    Ids = npt.NDArray[np.intp]
    Quads = npt.NDArray[np.float64]

__all__ = ["CHECK_LINE_RANGE_MM", "find_card"]

#: What the 100 mm line may measure before we believe it was another line.
CHECK_LINE_RANGE_MM = (80.0, 125.0)

#: Long sides of the pictures in which markers are looked for. The first, every n-th
#: pixel, serves a card that fills the photo; the second, averaged, costs five times as
#: much and serves small or noisy ones.
_QUICK_PX, _THOROUGH_PX = 1000, 2800
_MARKERS_ENOUGH = 8
_MARKERS_MIN = 3
#: Relative uncertainty of a scale told by the corners of markers, which lean on their edges: on
#: the one rendered photo known to need it the scale is 0.4 % off (a guess, no source).
_U_OF_MARKERS = 0.01
_CORNERS_MIN = 8
#: Chips hide markers but do not move them: if many are off, the sheet is not flat.
_AGREE_MIN = 0.6
#: Marker corners are good to a module (1.5 mm) when the picture is reduced.
_MARKER_TOLERANCE_MM = 1.0
_CENTRE_TOLERANCE_MM = 2.0
#: At the second look, when the lens is known, a flat print fits to some 0.02 mm; twentyfold
#: is still paper, not a chip's edge. At the first the lens bends the frame by more.
_CORNER_TOLERANCE_MM = (0.8, 0.4)
_RESIDUAL_MAX_MM = 0.35
#: Markers stand 1.5 mm from a chessboard corner: the window must stay inside.
_WINDOW_MM = 1.3
#: How different the light and dark squares must be around a corner, grey levels.
_CONTRAST_MIN = 25.0


def _quick(rgb: Rgb8) -> tuple[Ids, Quads]:
    factor = ceil(max(rgb.shape[:2]) / _QUICK_PX)
    middle = factor // 2
    picture = np.ascontiguousarray(rgb[middle::factor, middle::factor, 1])
    ids, corners = detect_markers(picture, marker_dictionary(), windows_px=(23, 23))
    return ids, corners * factor + middle


def _thorough(rgb: Rgb8) -> tuple[Ids, Quads]:
    factor = ceil(max(rgb.shape[:2]) / _THOROUGH_PX)
    picture = shrink(grey(rgb), factor)
    ids, corners = detect_markers(picture, marker_dictionary(), windows_px=(3, 23))
    return ids, (corners + 0.5) * factor - 0.5


def _likely_card(ids: Ids, corners: Quads) -> CardSpec:
    """Choose the layout in which neighbours in the picture are neighbours on the sheet."""
    middles = corners.mean(axis=1)
    apart = np.linalg.norm(middles[:, None] - middles[None], axis=2)
    np.fill_diagonal(apart, np.inf)
    neighbour = ids[apart.argmin(axis=1)]

    def agreement(spec: CardSpec) -> int:
        layout = markers_mm(spec)
        pairs = [
            (layout[a], layout[b])
            for a, b in zip(ids, neighbour, strict=True)
            if {a, b} <= layout.keys()
        ]
        near = 2.1 * spec.square_mm
        return sum(float(np.linalg.norm((p - q).mean(axis=0))) < near for p, q in pairs)

    return max(CARDS.values(), key=agreement)


def _first_map(ids: Ids, corners: Quads) -> tuple[CardSpec, Matrix3, int] | None:
    """Return the card, a first map to its millimetres, and how many markers agree."""
    if len(ids) < _MARKERS_MIN:
        return None
    spec = _likely_card(ids, corners)
    layout = markers_mm(spec)
    known = np.array([k in layout for k in ids.tolist()], dtype=bool)
    if known.sum() < _MARKERS_MIN:
        return None
    mm = np.concatenate([layout[k] for k in ids[known].tolist()])
    fit = fit_homography(corners[known].reshape(-1, 2), mm, tolerance=_MARKER_TOLERANCE_MM)
    if fit is None:
        return None
    centres = map_points(fit[0], corners[known].mean(axis=1))
    off = np.linalg.norm(centres - mm.reshape(-1, 4, 2).mean(axis=1), axis=1)
    agree = int((off < _CENTRE_TOLERANCE_MM).sum())
    if agree < _MARKERS_MIN:
        return None
    if known.sum() >= _MARKERS_ENOUGH and agree < _AGREE_MIN * known.sum():
        raise CardMismatch(
            f"{int(known.sum())} markers of the card can be read, but only {agree} of them lie "
            "in one plane. Tape the card to something flat."
        )
    return spec, fit[0], agree


def _recognise(rgb: Rgb8) -> tuple[CardSpec, Matrix3]:
    """Return the layout that most markers agree on and a first map."""
    ids, corners = _quick(rgb)
    first = _first_map(ids, corners)
    if first is None or first[2] < _MARKERS_ENOUGH:
        ids, corners = _thorough(rgb)
        first = _first_map(ids, corners) or first
    if first is not None:
        return first[0], first[1]
    if len(ids) > _MARKERS_ENOUGH:
        raise CardMismatch(
            f"{len(ids)} square markers are in view, but they do not stand as on our cards. "
            "Print the card from this program and use no other marker sheet."
        )
    raise CardNotFound(
        f"The reference card was not recognised: {len(ids)} of its square markers can be read, "
        f"{_MARKERS_MIN} are needed. Keep the whole border in view, sharp and evenly lit."
    )


def _looks_like_corner(patch: np.ndarray, quadrants_px: Points2) -> bool:
    """Check that light and dark squares alternate around a corner."""
    x, y = np.rint(quadrants_px).astype(int).T
    if x.min() < 0 or y.min() < 0 or x.max() >= patch.shape[1] or y.max() >= patch.shape[0]:
        return False
    tone = patch[y, x].astype(np.float64)
    first, second = tone[[0, 2]], tone[[1, 3]]
    return bool(
        first.min() - second.max() > _CONTRAST_MIN or second.min() - first.max() > _CONTRAST_MIN
    )


def _refine(rgb: Rgb8, sheet: SheetMap, corners_mm: Points2) -> tuple[Points2, BoolMask]:
    """Find the corners at full size, each in a window sized by its own squares."""
    reach = 0.7 * _WINDOW_MM
    steps = np.array(
        [[0, 0], [-reach, -reach], [reach, -reach], [reach, reach], [-reach, reach]]
    )
    around = sheet.to_px((corners_mm[:, None] + steps).reshape(-1, 2)).reshape(-1, 5, 2)
    found = np.zeros((len(corners_mm), 2))
    good = np.zeros(len(corners_mm), dtype=bool)
    height, width = rgb.shape[:2]
    for k, points in enumerate(around):
        if not np.isfinite(points).all():
            continue
        centre = points[0]
        px_per_mm = np.abs(points[1:] - centre).max() / (reach * np.sqrt(2))
        half = int(np.clip(_WINDOW_MM * px_per_mm, 3, 40))
        x0, y0 = np.floor(centre).astype(int) - 2 * half - 2
        x1, y1 = np.floor(centre).astype(int) + 2 * half + 3
        if x0 < 0 or y0 < 0 or x1 > width or y1 > height:
            continue
        patch = grey(rgb[y0:y1, x0:x1])
        at = refine_corner(patch, (centre[0] - x0, centre[1] - y0), half)
        moved = np.add(at, (x0, y0)) - centre
        found[k] = centre + moved
        good[k] = np.abs(moved).max() < half and _looks_like_corner(
            patch, points[1:] + moved - (x0, y0)
        )
    return found, good


def _fit(rgb: Rgb8, first: Matrix3, corners_mm: Points2) -> tuple[SheetMap, BoolMask, Points2]:
    """Refine corners and map by turns: the second look starts from the better map."""
    size = (rgb.shape[1], rgb.shape[0])
    sheet = map_from_matrix(np.asarray(np.linalg.inv(first), np.float64), size)
    px, used = np.zeros((0, 2)), np.zeros(0, dtype=bool)
    for tolerance_mm in _CORNER_TOLERANCE_MM:
        px, good = _refine(rgb, sheet, corners_mm)
        ideal = sheet.straight_px(px[good])
        rough = fit_homography(ideal, corners_mm[good], tolerance=tolerance_mm)
        if rough is None or rough[1].sum() < _CORNERS_MIN:
            agreed = 0 if rough is None else int(rough[1].sum())
            raise CardNotFound(
                f"Only {agreed} clear corners of the card's border lie in one plane; at least "
                f"{_CORNERS_MIN} are needed. Show more of the border, flat, in even light."
            )
        used = good.copy()
        used[good] = rough[1]
        again = fit_sheet_map(px[used], corners_mm[used], size)
        sheet = sheet if again is None else again
    sheet, used = _tighten(px, corners_mm, used, sheet)
    if sheet.covariance is None:
        # Corners all on one line fix no plane: the map is that of the markers' own corners.
        sheet = replace(sheet, u_unfitted=_U_OF_MARKERS)
    return sheet, used, px


def _tighten(
    px: Points2, mm: Points2, used: BoolMask, sheet: SheetMap
) -> tuple[SheetMap, BoolMask]:
    """Drop what stands out from the scatter of the others, and fit again."""
    size_px = (round(2 * sheet.middle_px[0]) + 1, round(2 * sheet.middle_px[1]) + 1)
    for _ in range(3):
        off = np.linalg.norm(sheet.to_mm(px) - mm, axis=1)
        limit = max(4.0 * float(np.median(off[used])), 0.03)
        keep = used & (off <= limit)
        if keep.sum() == used.sum() or keep.sum() < _CORNERS_MIN:
            break
        again = fit_sheet_map(px[keep], mm[keep], size_px)
        if again is None:
            break
        sheet, used = again, keep
    return sheet, used


def _tilt_deg(sheet: SheetMap) -> float:
    """Return the angle between the card and the picture plane.

    At the middle of the picture, where the optical axis is taken to be, a plane tilted
    by t is foreshortened to cos t in one direction, whatever the focal length.
    """
    centre = np.array([sheet.middle_px])
    step = np.array([[1.0, 0.0], [0.0, 1.0]])
    jacobian = sheet.to_mm(centre + step) - sheet.to_mm(centre - step)
    large, small = np.linalg.svd(jacobian, compute_uv=False)
    return float(np.degrees(np.arccos(np.clip(small / large, 0.0, 1.0))))


def find_card(photo: Photo, *, check_line_mm: float = CHECK_LINE_MM) -> CardFix:
    """Find the reference card and fit the plane it lies in.

    Parameters
    ----------
    photo : Photo
    check_line_mm : float, mm, within ``CHECK_LINE_RANGE_MM``
        What the card's 100 mm line really measures; every millimetre is scaled by it.

    Returns
    -------
    CardFix
        ``sheet`` gives real millimetres; ``corners_mm`` are the corners in the card's own
        description, ``unit_mm`` times smaller.

    Raises
    ------
    CardNotFound
        Too few markers or corners are readable; the message says how many were.
    CardMismatch
        Markers are seen but stand otherwise than on our cards, or the card is bent.
    ValueError
        If ``check_line_mm`` is out of range.

    Notes
    -----
    Not to be trusted for: things that stand off the paper (a chip 5 mm above a card seen
    from 300 mm looks 1.7 % larger), prints stretched in one direction only, fish-eyes,
    photos cut out of larger ones (bending is taken about the picture's middle).
    """
    low, high = CHECK_LINE_RANGE_MM
    if not low <= check_line_mm <= high:
        raise ValueError(f"check_line_mm must be {low} to {high}, not {check_line_mm}")
    spec, first = _recognise(photo.rgb)
    corners_mm = chess_corners_mm(spec)
    sheet, used, px = _fit(photo.rgb, first, corners_mm)
    if sheet.residual_mm > _RESIDUAL_MAX_MM:
        raise CardMismatch(
            f"The card's corners are off by {sheet.residual_mm:.1f} mm: it is bent, or was not "
            "printed as one flat sheet. Print it again at 100 % and tape it to something flat."
        )
    scale = check_line_mm / CHECK_LINE_MM
    return CardFix(
        card_id=spec.card_id,
        sheet=sheet.printed_at(scale),
        unit_mm=scale,
        corners_px=px[used],
        corners_mm=corners_mm[used],
        residual_mm=sheet.residual_mm * scale,
        tilt_deg=_tilt_deg(sheet),
        corners_seen=int(used.sum()),
        corners_total=len(corners_mm),
    )
