"""Balancing colours by the bare paper: the sheet's white becomes 1.0 everywhere.

Not in here: colour spaces (``colour``), sharpness (``sharpness``). White is looked for in
blocks of the sheet that carry no print; a low-order surface through the brightest of
them leaves chips and shadows below it. Printed greys only show how straight the tone
curve is, because no two printers mix the same grey. Source for the colour difference:
CIE 142-2001 (CIEDE2000).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
from skimage.color import deltaE_ciede2000

from vision._cv import take_off
from vision.photo.card import CARDS, patches_mm
from vision.photo.colour import lab_from_linear
from vision.photo.paper import LUMA, PaperBlocks, paper_blocks, plain_ground
from vision.photo.sharpness import edge_width_px
from vision.terms import Flag

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import BoolMask, Float1, Linear3
    from vision.photo.card import Rect
    from vision.photo.plane import Plane

__all__ = ["Light", "measure_light"]

#: Brightness must rank a white block in the fit's upper fifth: shadows only darken.
_UPPER = 0.8
_BLOCKS_MIN = 12
_PATCH_VIEW_PX_PER_MM = 8.0
#: Printed black still reflects this share of paper white (common practice, no source);
#: what is measured above it is light scattered in the lens.
_INK = 0.05
#: Over-exposed from this share of the sheet on. On rendered scenes with a card (calibration and
#: the first 30 to learn from) photos with up to a tenth of it white to the top were read as
#: well as others (three photos); with most of it white a quarter of the chips was missed, half
#: misnamed (five; a trial outside the project's commands).
_CLIPPED_MAX = 0.25
_UNEVEN_MAX = 1.6
#: An edge wider than both: in pixels it is not the sensor's doing, in mm it hurts chips.
_BLUR_MAX_PX, _BLUR_MAX_MM = 5.0, 0.3
#: Without a card, this share of the photo must be plain white ground.
_LARGE = 0.1


#: Spacing of the grid that white is worked out on, px of the view.
_GRID_PX = 16


@dataclass(frozen=True, slots=True)
class Light:
    """The light on the sheet; ``apply`` balances any view of the same plane.

    Attributes
    ----------
    terms : (6, 3) float64
        Natural logarithm of white, per channel, over 1, x, y, x², xy, y² in ``frame``.
    frame : (middle x, middle y, half size) in mm
    veil : (3,) float64
        Scattered light, linear, per channel; the same everywhere.
    neutral : bool
        Whether white was found; otherwise only brightness is set.
    neutral_de00 : float or None
        How far the balanced paper is from neutral, CIEDE2000, 95th percentile of blocks.
    clipped_share : float
        Share of bare paper at the top of the encoding.
    uneven : float
        Brightest over darkest white within the field.
    blur_px : float or None
        10-90 % width of the card's edges, photo pixels.
    tone_exponent : float or None
        Exponent between nominal and measured greys; 1.0 is a straight tone curve.
    flags : tuple of Flag
    tapped : (3,) float64 or None
        Colour, luminance 1, of a neutral that a person pointed at (``neutral``); only where
        ``neutral`` is false. ``apply`` leaves it alone.
    """

    terms: npt.NDArray[np.float64]
    frame: tuple[float, float, float]
    veil: Float1
    neutral: bool
    neutral_de00: float | None
    clipped_share: float
    uneven: float
    blur_px: float | None
    tone_exponent: float | None
    flags: tuple[Flag, ...]
    tapped: Float1 | None = None

    def apply(self, linear_view: Linear3, box_mm: Rect) -> Linear3:
        """Balance a view.

        Parameters
        ----------
        linear_view : (H, W, 3) float32
            As ``Plane.linear_view`` gave it.
        box_mm : (x0, y0, x1, y1)
            The box it shows.

        Returns
        -------
        (H, W, 3) float32
            The sheet's white is 1.0; glare is above, the darkest may be just below 0.
        """
        height, width = linear_view.shape[:2]
        # White changes over centimetres: a grid of every 16th pixel carries it.
        rows, columns = -(-height // _GRID_PX), -(-width // _GRID_PX)
        veil = self.veil.astype(np.float32)
        gain = 1 / (self._white(box_mm, rows, columns) - veil)
        fine = cv2.resize(gain, (width, height), interpolation=cv2.INTER_LINEAR)
        clear = take_off(linear_view, (float(veil[0]), float(veil[1]), float(veil[2])))
        return np.asarray(cv2.multiply(clear, fine, dst=clear), np.float32)

    def _white(self, box_mm: Rect, height: int, width: int) -> Linear3:
        """Return the unbalanced white over a box, (height, width, 3) float32."""
        x0, y0, x1, y1 = box_mm
        x = (x0 + (np.arange(width, dtype=np.float32) + 0.5) * ((x1 - x0) / width)).astype(
            np.float32
        )
        y = (y0 + (np.arange(height, dtype=np.float32) + 0.5) * ((y1 - y0) / height)).astype(
            np.float32
        )
        u, v = (x - self.frame[0]) / self.frame[2], (y - self.frame[1]) / self.frame[2]
        t = self.terms.astype(np.float32)
        u, v = u[:, None], v[:, None]
        along = t[0] + t[1] * u + t[3] * u * u
        down = t[2] * v + t[5] * v * v
        log_white = along[None] + down[:, None] + t[4] * (v[:, None] * u)
        return np.asarray(np.exp(log_white), np.float32)


def _basis(
    x_mm: npt.NDArray[np.floating],
    y_mm: npt.NDArray[np.floating],
    frame: tuple[float, float, float],
) -> npt.NDArray[np.float32]:
    u = (np.asarray(x_mm, dtype=np.float32) - frame[0]) / frame[2]
    v = (np.asarray(y_mm, dtype=np.float32) - frame[1]) / frame[2]
    return np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=-1).astype(np.float32)


def _upper_surface(basis: npt.NDArray[np.float64], log_luma: Float1) -> BoolMask:
    """Fit a surface that four fifths of the blocks lie below, then keep what lies on it.

    Least asymmetric absolute deviations (quantile regression) by reweighting.
    """
    weight = np.ones(len(log_luma))
    terms: npt.NDArray[np.floating] = np.zeros(basis.shape[1])
    for _ in range(12):
        root = np.sqrt(weight)
        terms = np.linalg.lstsq(basis * root[:, None], log_luma * root, rcond=None)[0]
        off = log_luma - basis @ terms
        weight = np.where(off > 0, _UPPER, 1 - _UPPER) / np.maximum(np.abs(off), 0.004)
    off = log_luma - basis @ terms
    scatter = 1.4826 * float(np.median(np.abs(off)))
    return np.asarray(np.abs(off) <= np.clip(2 * scatter, 0.02, 0.08), dtype=np.bool_)


def _fit_white(
    blocks: PaperBlocks, frame: tuple[float, float, float]
) -> tuple[npt.NDArray[np.float64], BoolMask]:
    """Fit log white per channel over the blocks of bare paper; return terms and blocks used."""
    luma = np.maximum(blocks.linear @ LUMA, 1e-4)
    basis = _basis(blocks.x_mm, blocks.y_mm, frame).astype(np.float64)
    basis[:, 3:] *= len(luma) >= 2 * _BLOCKS_MIN  # too few blocks carry no curvature
    near = _upper_surface(basis, np.log(luma))
    terms = np.zeros((6, 3))
    for c in range(3):
        log_white = np.log(np.maximum(blocks.linear[near, c], 1e-4))
        terms[:, c] = np.linalg.lstsq(basis[near], log_white, rcond=None)[0]
    return terms, near


def _patch_values(plane: Plane) -> tuple[Float1, npt.NDArray[np.float64]]:
    """Return nominal reflectance and unbalanced linear colour of each printed grey."""
    if plane.card is None:
        return np.zeros(0), np.zeros((0, 3))
    k, patches = plane.unit_mm, patches_mm(CARDS[plane.card.card_id])
    inset = 0.25 * (patches[0].rect_mm[2] - patches[0].rect_mm[0])
    values = []
    for patch in patches:
        x0, y0, x1, y1 = patch.rect_mm
        box = ((x0 + inset) * k, (y0 + inset) * k, (x1 - inset) * k, (y1 - inset) * k)
        view = plane.linear_view(box, _PATCH_VIEW_PX_PER_MM)
        values.append(np.median(view.reshape(-1, 3), axis=0))
    return np.array([p.reflectance for p in patches]), np.array(values, dtype=np.float64)


def _tone_exponent(nominal: Float1, relative: Float1) -> float | None:
    """Fit log measured = exponent * log nominal; ``None`` if the greys are out of order."""
    grey = nominal > 0
    measured = relative[grey]
    if not grey.any() or measured.min() <= 0 or (np.diff(measured) >= 0).any():
        return None
    x, y = np.log(nominal[grey]), np.log(measured)
    return float((x @ y) / (x @ x))


def measure_light(plane: Plane) -> Light:
    """Measure the light on the sheet and how far the photo can be trusted in colour.

    Parameters
    ----------
    plane : Plane

    Returns
    -------
    Light
        With a card, white is its bare paper. Without one, a large, bright, smooth,
        nearly grey ground serves; if there is none ``Flag.NO_NEUTRAL`` is set and only
        brightness is scaled.

    Notes
    -----
    Not to be trusted for: coloured paper, a sheet mostly hidden by chips, hard shadows
    over more than half of the sheet.
    """
    x0, y0, x1, y1 = plane.sheet_mm
    frame = ((x0 + x1) / 2, (y0 + y1) / 2, max(x1 - x0, y1 - y0, 1.0) / 2)
    blocks = paper_blocks(plane)
    paper = blocks if plane.card is not None else blocks.take(plain_ground(blocks))
    large = len(paper) >= max(_BLOCKS_MIN, _LARGE * len(blocks) * (plane.card is None))
    if not large:
        return _unknown(blocks, frame, edge_width_px(plane))
    terms, near = _fit_white(paper, frame)
    return _judge(plane, paper.take(near), terms, frame)


def _unknown(
    blocks: PaperBlocks, frame: tuple[float, float, float], blur: float | None
) -> Light:
    """Return a light that only scales brightness, because nothing white was found."""
    luma = blocks.linear @ LUMA
    level = float(np.quantile(luma, 0.95)) if len(luma) else 1.0
    terms = np.zeros((6, 3))
    terms[0] = np.log(max(level, 1e-3))
    return Light(
        terms=terms,
        frame=frame,
        veil=np.zeros(3),
        neutral=False,
        neutral_de00=None,
        clipped_share=float(blocks.clipped.mean()) if len(luma) else 0.0,
        uneven=1.0,
        blur_px=blur,
        tone_exponent=None,
        flags=(Flag.NO_NEUTRAL,),
    )


def _judge(
    plane: Plane,
    paper: PaperBlocks,
    terms: npt.NDArray[np.float64],
    frame: tuple[float, float, float],
) -> Light:
    """Add veil, tone and the judgement of the photo to a fitted white."""
    white = np.exp(_basis(paper.x_mm, paper.y_mm, frame).astype(np.float64) @ terms)
    level = white.mean(axis=0)
    nominal, greys = _patch_values(plane)
    veil = np.zeros(3)
    if len(greys):
        black = greys[-1] / level
        veil = level * float(np.clip((black @ LUMA - _INK) / (1 - _INK), 0.0, 0.3))
    relative = ((greys - veil) / (level - veil)) @ LUMA if len(greys) else np.zeros(0)
    lab = lab_from_linear((paper.linear / white).astype(np.float32)).astype(np.float64)
    neutral = lab * np.array([1.0, 0.0, 0.0])
    x0, y0, x1, y1 = plane.field_mm
    x, y = np.meshgrid(np.linspace(x0, x1, 9), np.linspace(y0, y1, 9))
    brightness = np.exp(_basis(x, y, frame).astype(np.float64) @ terms) @ LUMA
    uneven = float(brightness.max() / brightness.min())
    clipped = float(paper.clipped.mean())
    blur = edge_width_px(plane)
    blurred = blur is not None and blur > max(
        _BLUR_MAX_PX, _BLUR_MAX_MM * plane.px_per_mm_native
    )
    signs = {
        Flag.UNEVEN_LIGHT: uneven > _UNEVEN_MAX,
        Flag.CLIPPED: clipped > _CLIPPED_MAX,
        Flag.BLURRED: blurred,
    }
    return Light(
        terms=terms,
        frame=frame,
        veil=veil,
        neutral=True,
        neutral_de00=float(np.quantile(deltaE_ciede2000(lab, neutral), 0.95)),
        clipped_share=clipped,
        uneven=uneven,
        blur_px=blur,
        tone_exponent=_tone_exponent(nominal, relative) if len(nominal) else None,
        flags=tuple(flag for flag, there in signs.items() if there),
    )
