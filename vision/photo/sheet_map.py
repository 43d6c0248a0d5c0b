"""From millimetres on a flat sheet to pixels of the photo, through a lens that bends a little.

A flat sheet seen by an ideal lens is a homography; a real lens moves each point along the
ray from the picture's middle by ``bow`` times the cube of its distance, distances counted
in half diagonals: ``bow`` is the shift of the picture's corner as a share, negative for
barrel. Both are fitted together. One term is the larger part of what phones leave after
their own correction; which lens took the photo is not known, so ``bow`` starts from "none,
give or take ``U_BOW``" and corners have to speak against it: where they cannot (one side of
the card in view) it stays near zero and its uncertainty stays in every length.
Source for the uncertainty: JCGM 102:2011 clause 6 (least squares, propagation).
Not in here: finding corners (``find_card``), flattening pictures (``plane``).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from vision._cv import fit_homography, map_points

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import Float1, Matrix3, Points2

    Matrix = npt.NDArray[np.float64]

__all__ = ["BOW_MOST", "U_BOW", "SheetMap", "fit_sheet_map", "map_from_matrix"]

#: Spread of the corner's shift among phones and cameras (common practice, no source).
U_BOW = 0.015
#: More than this no lens of a phone does; the map would not be one to one.
BOW_MOST = 0.1
#: Corners are never better than this, px: the grid of pixels itself.
_SIGMA_LEAST_PX = 0.03
#: Scatter that is guessed before there is one, px.
_SIGMA_FIRST_PX = 0.2
#: In how many ways a sheet of paper bends, roughly.
_BENDS = 4
#: Relative error of lengths per share of the half sheet that corners are off, and per bow:
#: set on 26 rendered training scenes, ten with bent cards, of which 25 then lie within 2 u.
_U_SHAPE, _U_LENS = 1.5, 0.01
#: Relative error of lengths where nothing of the ring of corners was seen, in proportion where
#: some was, since paper bends where no corner tells: set on 210 rendered development scenes, a
#: third with bent cards, of which 96 % then lie within 2 u.
_U_UNSEEN = 0.008
#: A bow counts from so many of its standard uncertainties on.
_SURE = 2.0
#: Weight that holds bow at zero.
_STRAIGHT = 1e3
#: Steps of a fit; the third moves nothing by a hundredth of a pixel any more.
_STEPS = 3
_NEWTON_STEPS = 5
_PARAMETERS = 9
#: Half the length that a change of scale is taken over, half sizes of the sheet.
_STEP = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetMap:
    """The map of one sheet into one photo.

    Attributes
    ----------
    ideal : (3, 3) float64
        Sheet to picture by an ideal lens, both counted from their middles in their own
        units; ``ideal[2, 2]`` is 1.
    bow : float, share
        Shift of the picture's corner.
    middle_mm, half_mm, middle_px, half_px
        Middles and units of sheet and picture. The picture's unit is half its diagonal.
    covariance : (9, 9) float64 or None
        Of the first eight numbers of ``ideal``, row by row, and ``bow``; ``None`` where
        nothing was fitted.
    residual_mm : float
        Root mean square of what the fit leaves of the corners.
    shape_mm : float
        The part of it that neighbours have in common.
    unseen : float, share 0 to 1
        Of the sheet's ring of corners that the fit does not rest on.
    """

    ideal: Matrix3
    bow: float
    middle_mm: tuple[float, float]
    half_mm: float
    middle_px: tuple[float, float]
    half_px: float
    covariance: Matrix | None = None
    residual_mm: float = 0.0
    shape_mm: float = 0.0
    unseen: float = 0.0

    @property
    def u_bow(self) -> float:
        """Standard uncertainty of ``bow``."""
        return U_BOW if self.covariance is None else float(np.sqrt(self.covariance[-1, -1]))

    def to_px(self, points_mm: Points2) -> Points2:
        """Map (N, 2) points on the sheet, mm, to photo pixels, pixel centres at integers."""
        at = map_points(self.ideal, (np.asarray(points_mm) - self.middle_mm) / self.half_mm)
        return np.asarray(_bent(at, self.bow) * self.half_px + self.middle_px)

    def to_mm(self, points_px: Points2) -> Points2:
        """Map (N, 2) photo pixels to millimetres on the sheet."""
        at = _straight((np.asarray(points_px) - self.middle_px) / self.half_px, self.bow)
        back = np.asarray(np.linalg.inv(self.ideal), np.float64)
        return np.asarray(map_points(back, at) * self.half_mm + self.middle_mm)

    def straight_px(self, points_px: Points2) -> Points2:
        """Return where (N, 2) photo pixels would lie had the lens no bow."""
        at = _straight((np.asarray(points_px) - self.middle_px) / self.half_px, self.bow)
        return np.asarray(at * self.half_px + self.middle_px)

    def px_per_mm_at(self, x_mm: float, y_mm: float) -> float:
        """Return photo pixels per mm at a point, the geometric mean of both axes."""
        h = 0.5
        ends = [(x_mm - h, y_mm), (x_mm + h, y_mm), (x_mm, y_mm - h), (x_mm, y_mm + h)]
        left, right, up, down = self.to_px(np.array(ends))
        (ax, ay), (bx, by) = right - left, down - up
        return float(np.sqrt(abs(ax * by - ay * bx)))

    def u_rel_at(self, points_mm: Points2) -> Float1:
        """Return (N,) relative standard uncertainties of short lengths at (N, 2) points, mm.

        What corners and their scatter leave open, bow included, and what no corner can
        tell: paper between and beyond them that is not flat, and a lens's second term.
        Zero where nothing was fitted.
        """
        if self.covariance is None:
            return np.zeros(len(points_mm))
        at = (np.asarray(points_mm, np.float64) - self.middle_mm) / self.half_mm
        steps = _STEP * np.array([(-1, 0), (1, 0), (0, -1), (0, 1)])
        ends = (at[:, None] + steps).reshape(-1, 2)
        numbers = _numbers(self.ideal, self.bow)
        moved, slopes = _pictured(numbers, ends)
        moved, slopes = moved.reshape(-1, 2, 2, 2), slopes.reshape(-1, 2, 2, 2, _PARAMETERS)
        along = moved[:, :, 1] - moved[:, :, 0]
        # of the logarithm of each short length, (points, two directions, parameters)
        change = slopes[:, :, 1] - slopes[:, :, 0]
        change = (along[..., None] * change).sum(axis=2) / (along**2).sum(axis=2)[..., None]
        variance = np.einsum("pdi,ij,pdj->pd", change, self.covariance, change)
        shares = (self.shape_mm / self.half_mm, self.bow, self.unseen)
        unknown = np.multiply((_U_SHAPE, _U_LENS, _U_UNSEEN), shares)
        return np.asarray(np.sqrt(np.maximum(variance.mean(axis=1), 0) + (unknown**2).sum()))

    def printed_at(self, scale: float) -> SheetMap:
        """Return the same map in real mm for a sheet printed ``scale`` times its size."""
        x, y = self.middle_mm
        return replace(
            self,
            middle_mm=(x * scale, y * scale),
            half_mm=self.half_mm * scale,
            residual_mm=self.residual_mm * scale,
            shape_mm=self.shape_mm * scale,
        )


def _numbers(ideal: Matrix3, bow: float) -> Float1:
    return np.append(ideal.ravel()[:8], bow)


def _bent(at: Points2, bow: float) -> Points2:
    if bow == 0:
        return at
    with np.errstate(invalid="ignore", over="ignore"):
        return np.asarray(at * (1 + bow * (at**2).sum(axis=-1, keepdims=True)))


def _straight(at: Points2, bow: float) -> Points2:
    """Undo the lens: (N, 2) points in half diagonals from the picture's middle.

    Newton's steps for the distance; exact to 1e-12 within two half diagonals.
    """
    if bow == 0:
        return at
    far = np.sqrt((at**2).sum(axis=-1, keepdims=True))
    ideal = far
    for _ in range(_NEWTON_STEPS):
        slope = np.maximum(1 + 3 * bow * ideal**2, 0.1)
        ideal = ideal - (ideal * (1 + bow * ideal**2) - far) / slope
    return np.asarray(at * np.divide(ideal, far, out=np.ones_like(far), where=far > 0))


def _pictured(numbers: Float1, at: Points2) -> tuple[Points2, Matrix]:
    """Return where points come to lie, (N, 2), and the slopes by each number, (N, 2, 9)."""
    bow = numbers[-1]
    rays = np.ones((len(at), 3))
    rays[:, :2] = at
    down = rays[:, :2] @ numbers[6:8] + 1
    rays /= down[:, None]
    ideal = rays @ numbers[:6].reshape(2, 3).T
    r2 = (ideal**2).sum(axis=1)
    by_ideal = np.zeros((len(at), 2, 8))
    by_ideal[:, 0, :3] = by_ideal[:, 1, 3:6] = rays
    by_ideal[:, :, 6:] = -ideal[:, :, None] * rays[:, None, :2]
    stretch = (1 + bow * r2)[:, None]
    slopes = np.empty((len(at), 2, _PARAMETERS))
    # along the ray and across it: d(p (1 + b p.p)) = (1 + b p.p) dp + 2 b p (p.dp)
    radial = (ideal[:, None, :] @ by_ideal) * (2 * bow * ideal)[:, :, None]
    slopes[:, :, :8] = stretch[:, :, None] * by_ideal + radial
    slopes[:, :, 8] = ideal * r2[:, None]
    return ideal * stretch, slopes


def _solved(
    seen: Points2, at: Points2, numbers: Float1, prior: float, steps: int
) -> tuple[Float1, Matrix]:
    """Fit all nine numbers by Gauss and Newton's steps from a good start.

    ``prior`` is how much a bow weighs against a residual. Returns numbers and the matrix
    of the normal equations. Lenses bend so little that a step leaves a thousandth.
    """
    normal = np.zeros((_PARAMETERS, _PARAMETERS))
    for _ in range(steps):
        there, slopes = _pictured(numbers, at)
        rows, off = slopes.reshape(-1, _PARAMETERS), (seen - there).ravel()
        normal, pull = rows.T @ rows, rows.T @ off
        normal[-1, -1] += prior**2
        pull[-1] -= prior**2 * numbers[-1]
        numbers = numbers + np.linalg.lstsq(normal, pull, rcond=None)[0]
    return numbers, normal


def _shared(off: Points2, at: Points2) -> float:
    """Return the share of the corners' scatter, 0 to 1, that neighbours have in common.

    Blur and noise hit each corner for itself; paper that is not flat, and what a lens does
    beyond one term, moves neighbours alike.
    """
    apart = ((at[:, None] - at[None]) ** 2).sum(axis=2)
    np.fill_diagonal(apart, np.inf)
    common = float((off * off[apart.argmin(axis=1)]).sum())
    return float(np.clip(common / max(float((off**2).sum()), 1e-30), 0.0, 1.0))


def fit_sheet_map(
    points_px: Points2, points_mm: Points2, size_px: tuple[int, int]
) -> SheetMap | None:
    """Fit homography and bow together by least squares in the photo.

    Parameters
    ----------
    points_px, points_mm : (N, 2) float64
        N >= 5 pairs without blunders, not all on one line.
    size_px : (width, height)
        Of the photo; its middle is taken for the lens's axis.

    Returns
    -------
    SheetMap or None
        ``None`` where the points allow no map, or only a senseless one.

    Notes
    -----
    Not to be trusted for: cut-out photos, whose middle is not the lens's; fish-eyes.
    """
    width, height = size_px
    middle_px = ((width - 1) / 2, (height - 1) / 2)
    half_px = float(np.hypot(width, height)) / 2
    low, high = points_mm.min(axis=0), points_mm.max(axis=0)
    x_mm, y_mm = (low + high) / 2
    half_mm = float(np.hypot(*(high - low))) / 2
    at, seen = (points_mm - (x_mm, y_mm)) / half_mm, (points_px - middle_px) / half_px
    first = fit_homography(at, seen)
    if first is None or abs(first[0][2, 2]) < 1e-9:  # noqa: PLR2004 - the middle at infinity
        return None
    numbers = _numbers(np.asarray(first[0] / first[0][2, 2]), 0.0)
    sigma = _SIGMA_FIRST_PX / half_px
    normal = np.zeros((_PARAMETERS, _PARAMETERS))
    for steps in (_STEPS, 1):
        numbers, normal = _solved(seen, at, numbers, sigma / U_BOW, steps)
        off = _pictured(numbers, at)[0] - seen
        freedom = max(2 * len(at) - _PARAMETERS, 1)
        sigma = max(float(np.sqrt((off**2).sum() / freedom)), _SIGMA_LEAST_PX / half_px)
        # Corners that err together count as few: in some _BENDS independent ways.
        shared = _shared(off, at)
        sigma *= float(np.sqrt(1 + shared * (2 * len(at) / _BENDS - 1)))
    covariance = np.asarray(sigma**2 * np.linalg.pinv(normal, hermitian=True))
    if abs(numbers[-1]) < _SURE * np.sqrt(covariance[-1, -1]):
        # No bow to be seen: a straight photo is not bent by the scatter of its corners.
        numbers, _ = _solved(seen, at, numbers, _STRAIGHT, _STEPS)
        numbers[-1] = 0.0
    if not np.isfinite(numbers).all() or abs(numbers[-1]) > BOW_MOST:
        return None
    found = SheetMap(
        ideal=np.append(numbers[:8], 1.0).reshape(3, 3),
        bow=float(numbers[-1]),
        middle_mm=(float(x_mm), float(y_mm)),
        half_mm=half_mm,
        middle_px=middle_px,
        half_px=half_px,
        covariance=covariance,
    )
    left = found.to_mm(points_px) - points_mm
    residual_mm = float(np.sqrt((left**2).sum(axis=1).mean()))
    shape_mm = residual_mm * float(np.sqrt(_shared(left, points_mm)))
    return replace(found, residual_mm=residual_mm, shape_mm=shape_mm)


def map_from_matrix(px_from_mm: Matrix3, size_px: tuple[int, int]) -> SheetMap:
    """Return the map of an ideal lens, from a (3, 3) matrix that takes mm to pixels."""
    width, height = size_px
    middle, half = ((width - 1) / 2, (height - 1) / 2), float(np.hypot(width, height)) / 2
    unit = np.array(
        [[1 / half, 0, -middle[0] / half], [0, 1 / half, -middle[1] / half], [0, 0, 1]]
    )
    ideal = unit @ px_from_mm
    return SheetMap(
        ideal=np.asarray(ideal / ideal[2, 2]),
        bow=0.0,
        middle_mm=(0.0, 0.0),
        half_mm=1.0,
        middle_px=middle,
        half_px=half,
    )
