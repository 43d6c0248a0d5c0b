"""Finding the reference card in a photo and fitting the plane it lies in.

Not in here: corners at full size (``card_corners``), the fit (``card_fit``), using it
(``plane``). Markers tell which corner is which.
"""

from __future__ import annotations

from math import ceil
from typing import TYPE_CHECKING

import numpy as np

from vision._cv import detect_markers, fit_homography, grey, map_points, shrink
from vision.errors import CardMismatch, CardNotFound
from vision.photo.card import (
    CARDS,
    CHECK_LINE_MM,
    CardSpec,
    marker_dictionary,
    markers_mm,
)
from vision.photo.card_fit import fit_card
from vision.records import CardFix

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import Matrix3, Rgb8
    from vision.photo.sheet_map import SheetMap
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
#: Chips hide markers but do not move them: if many are off, the sheet is not flat.
_AGREE_MIN = 0.6
#: Marker corners are good to a module (1.5 mm) when the picture is reduced.
_MARKER_TOLERANCE_MM = 1.0
_CENTRE_TOLERANCE_MM = 2.0
_RESIDUAL_MAX_MM = 0.35


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
        ways = [
            layout[a] - layout[b]
            for a, b in zip(ids.tolist(), neighbour.tolist(), strict=True)
            if a in layout and b in layout
        ]
        middles_apart = np.linalg.norm(np.reshape(ways, (-1, 4, 2)).mean(axis=1), axis=1)
        return int((middles_apart < 2.1 * spec.square_mm).sum())

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
        description, ``unit_mm`` times smaller; ``corners_seen`` counts those of the chessboard.

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
    fit = fit_card(photo.rgb, first, spec)
    sheet = fit.sheet
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
        corners_px=fit.px,
        corners_mm=fit.mm,
        residual_mm=sheet.residual_mm * scale,
        tilt_deg=_tilt_deg(sheet),
        corners_seen=fit.saddles_seen,
        corners_total=fit.saddles_total,
    )
