"""The named measures a chip's form is judged by, all from one crop of fixed density.

Every crop is flattened to :data:`CROP_PX_PER_MM` whatever the camera, so that the
same chip gives the same numbers near and far. A measure that cannot be taken is
NaN, never a guess. Tint is left out on purpose: it would teach the model the metal.
Not in here: millimetre results for people (``measure``), the model (``forms``).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import log, nan
from typing import TYPE_CHECKING

import cv2
import numpy as np

from vision.chips.coil import Coil, Straight, coil_of, straighten
from vision.chips.curl import Bend, Circle, bend_of, fit_circle
from vision.chips.lie import LIE_DEG
from vision.chips.trace import Trace, trace_mask
from vision.ranks import median, percentile

if TYPE_CHECKING:
    from vision.arrays import BoolMask, Float2, Points2
    from vision.chips.glance import Glance
    from vision.chips.lie import Lie

__all__ = ["CROP_PX_PER_MM", "FEATURES", "Shape", "feature_row", "shape_of"]

#: Density of the crop that is measured, px per mm of the sheet.
CROP_PX_PER_MM = 10.5

#: Below 0.7 mm2 of metal nothing is asked of a line, below 1.5 mm2 nothing of turns.
#: In the training scenes 1 in 100 of the smallest needles and arcs is below the first,
#: 1 in 100 of the smallest strips and coils below 2.2 mm2.
_CRUMB_PX = round(0.7 * CROP_PX_PER_MM**2)
_COIL_PX = round(1.5 * CROP_PX_PER_MM**2)
#: Directions of the rays that rings are counted along, (x and y, rays, 1).
_RAYS = np.stack([f(np.arange(48)[:, None] * (2 * np.pi / 48)) for f in (np.cos, np.sin)])
#: Name: what a high value looks like. The order is the order of the model's columns.
FEATURES: dict[str, str] = {
    "log_area": "much metal in view",
    "log_extent": "reaches far from end to end",
    "log_path": "a long line can be followed through it",
    "log_width": "the strip is broad",
    "slender": "much longer than broad",
    "solidity": "fills its own outline, few bays",
    "box_aspect": "its box is long and narrow",
    "box_fill": "fills its box",
    "roundness": "its outline is round",
    "net_to_path": "much of its line lies off the main way: branched, tangled or walled",
    "straightness": "its ends are as far apart as the line is long",
    "turning": "the line turns round more than once",
    "arc": "lies along much of one circle",
    "circle_misfit": "does not lie on one circle",
    "curvature_cv": "bends unevenly",
    "taper": "thins towards its ends",
    "repeat": "the same pattern comes again along the axis",
    "repeat_agree": "outline and shading repeat alike",
    "pitch_to_diameter": "the turns are far apart",
    "diameter_cv": "thick and thin along the axis",
    "notch": "the outline is deeply toothed",
    "slant_coherence": "streaks all run one way",
    "coil_fill": "no daylight between the turns",
    "strip_to_diameter": "the strip is broad for the coil",
    "edge_to_middle": "more metal at the rims than in the middle",
    "bow": "the axis is bent",
    "eye": "open in the very middle",
    "light_spread": "glints and dark places side by side",
    "dark_share": "much of it is darker than mid grey",
    "confidence": "the reader is sure this is metal",
    "curls": "looks curled",
    "winds": "looks as if it winds along an axis",
    "lie": "the strip stands on edge on its coil, as a washer does",
    "lie_doubt": "how the strip lies on its coil cannot be made out",
    "glance_lie": "the strip looks as if it stood on edge on its coil",
    "glance_taper": "looks wide at one end and narrow at the other",
    "glance_turns": "looks like many turns",
    "glance_radius": "looks widely curled",
    "glance_pitch": "looks as if the turns were far apart",
    "glance_length": "looks long, unrolled",
    "glance_width": "looks cut with much depth",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """Everything measured on one crop, in its pixels; features and sizes come from here.

    ``corner`` is the pixel (x, y) of the crop at which everything else counts from; ``strip``
    is the breadth of the broadest tenth of the strip; ``lie`` how the strip lies on its coil,
    where asked.
    """

    area: float
    hull: Points2
    hull_area: float
    extent: float
    box: tuple[float, float]
    half: Float2
    trace: Trace | None
    bend: Bend | None
    circle: Circle | None
    straight: Straight | None
    coil: Coil | None
    strip: float
    corner: tuple[int, int]
    rings: float
    eye: float
    light_spread: float
    dark_share: float
    confidence: float
    glance: Glance | None
    lie: Lie | None = None

    @property
    def width(self) -> float:
        """Width of the strip: twice the median half-width along the traced line."""
        if self.trace is None:
            return float(min(self.box))
        n = len(self.trace.half_px)
        inner = self.trace.half_px[n // 10 : n - n // 10] if n > 10 else self.trace.half_px
        return 2 * median(inner)


def _rings(mask: BoolMask, centre: Points2, reach: float) -> tuple[float, float]:
    """Return median count of metal runs along rays from the centre, and openness there."""
    radius = np.arange(0, max(reach, 4.0), 0.7)
    h, w = mask.shape
    # Beyond the crop lies what lies at its edge: nothing.
    x = np.clip(np.rint(centre[0] + radius * _RAYS[0]), 0, w - 1).astype(np.intp)
    y = np.clip(np.rint(centre[1] + radius * _RAYS[1]), 0, h - 1).astype(np.intp)
    ray = mask.ravel()[y * w + x]
    starts = (np.diff(ray.astype(np.int8), axis=1, prepend=0) == 1).sum(axis=1)
    first = np.where(ray.any(axis=1), ray.argmax(axis=1) * 0.7, reach)
    return median(starts), median(first) / max(reach, 1.0)


def _inner_path(path: Points2, cut: float) -> Points2:
    """Return the path without ``cut`` at each end, where it runs into a corner."""
    along = np.r_[0.0, np.cumsum(np.hypot(*np.diff(path, axis=0).T))]
    cut = min(cut, along[-1] / 5)
    return np.asarray(path[(along >= cut) & (along <= along[-1] - cut)])


def _tight(
    mask: BoolMask, light: Float2, margin: int = 5
) -> tuple[BoolMask, Float2, tuple[int, int]]:
    """Cut a crop down to the chip and a few pixels round it; return also its corner (x, y)."""
    used_rows, used_cols = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    part = (
        slice(max(used_rows[0] - margin, 0), used_rows[-1] + margin + 1),
        slice(max(used_cols[0] - margin, 0), used_cols[-1] + margin + 1),
    )
    corner = (int(part[1].start), int(part[0].start))
    return np.ascontiguousarray(mask[part]), np.ascontiguousarray(light[part]), corner


def shape_of(
    mask: BoolMask,
    light: Float2,
    *,
    confidence: float = 1.0,
    glance: Glance | None = None,
) -> Shape | None:
    """Measure one chip on its crop.

    Parameters
    ----------
    mask : (H, W) bool
        The chip, with at least two empty pixels all round.
    light : (H, W) float32
        Cube-root lightness of the crop, white sheet = 1.
    confidence : float
        Mean probability of metal over the mask, 0..1.
    glance : Glance, optional
        What its sizes looked like before it was measured.

    Returns
    -------
    Shape or None
        ``None`` when fewer than 12 pixels are set.
    """
    area = float(mask.sum())
    if area < 12:
        return None
    mask, light, corner = _tight(mask, light)
    contours, tree = cv2.findContours(
        mask.astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE
    )
    is_hole = (tree.reshape(-1, 4)[:, 3] >= 0).tolist()
    rim = cv2.convexHull(
        np.concatenate([c for c, hole in zip(contours, is_hole, strict=True) if not hole])
    )
    hull = rim.reshape(-1, 2).astype(np.float64)
    _, (bw, bh), _ = cv2.minAreaRect(rim)
    box = (max(bw, bh) + 1.0, min(bw, bh) + 1.0)
    gaps = hull[:, None, :] - hull[None, :, :]
    extent = float(np.hypot(gaps[..., 0], gaps[..., 1]).max()) + 1.0
    half = cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    # Its last bits move with the memory's place; a thousandth of a pixel does not.
    half = np.rint(half * np.float32(1024)) / np.float32(1024)
    trace = bend = circle = straight = None
    # A crumb has neither a line nor turns; its outline says all there is.
    if area >= _CRUMB_PX:
        trace = trace_mask(mask, half)
    if area >= _COIL_PX:
        straight = straighten(mask, light)
    if trace is not None and len(trace.path_px) >= 6:
        width = 2 * median(trace.half_px)
        line = _inner_path(trace.path_px, width / 2)
        bend = bend_of(line, step=max(1.9, width * 0.75))
        circle = fit_circle(line)
        if circle is not None:
            whole = circle.arc_deg + float(np.degrees(width / circle.radius))
            circle = replace(circle, arc_deg=min(whole, 360.0))
    inside = light[mask]
    sums = cv2.moments(mask.astype(np.uint8), binaryImage=True)
    centre = np.array([sums["m10"], sums["m01"]]) / sums["m00"]
    rings, eye = _rings(mask, centre, extent / 2 + 2)
    return Shape(
        area=area,
        hull=hull,
        hull_area=max(float(cv2.contourArea(hull.astype(np.float32))), area),
        extent=extent,
        box=box,
        half=np.asarray(half, np.float32),
        trace=trace,
        bend=bend,
        circle=circle,
        straight=straight,
        coil=coil_of(straight) if straight is not None else None,
        strip=2 * percentile(half[mask], 90)[0],
        corner=corner,
        rings=rings,
        eye=eye,
        light_spread=float(np.std(inside)),
        dark_share=float((inside < 0.55).mean()),
        confidence=confidence,
        glance=glance,
    )


def _line_features(s: Shape) -> dict[str, float]:
    t, b, c = s.trace, s.bend, s.circle
    out: dict[str, float] = {}
    if t is not None:
        k = len(t.half_px) // 5
        mid = t.half_px[k : len(t.half_px) - k] if k else t.half_px
        tip = np.r_[t.half_px[: max(k // 2, 1)], t.half_px[-max(k // 2, 1) :]]
        gap = float(np.hypot(*(t.path_px[0] - t.path_px[-1])))
        out = {
            "log_path": log(t.length_px / CROP_PX_PER_MM),
            "slender": log(t.length_px / max(s.width, 1.0)),
            "net_to_path": log(max(t.net_px / max(t.length_px, 1.0), 0.2)),
            "straightness": gap / max(t.length_px, 1.0),
            "taper": float(1 - tip.mean() / max(mid.mean(), 0.5)),
        }
    if b is not None:
        out |= {
            "turning": b.turning_deg / 360,
            "curvature_cv": min(b.curvature_cv, 20.0),
        }
    if c is not None:
        out |= {"arc": c.arc_deg / 360, "circle_misfit": min(c.rms / max(c.radius, 1.0), 2.0)}
    return out


def _coil_features(s: Shape) -> dict[str, float]:
    c = s.coil
    if c is None:
        return {}
    found = c.pitch_px > 0
    return {
        "repeat": c.score,
        "repeat_agree": c.agree,
        "pitch_to_diameter": min(c.pitch_px / max(c.diameter_px, 1.0), 5.0) if found else nan,
        "diameter_cv": c.diameter_cv,
        "notch": c.notch,
        "slant_coherence": c.slant_coherence,
        "coil_fill": c.fill,
        "strip_to_diameter": s.strip / max(c.diameter_px, 1.0),
        "edge_to_middle": min(c.edge_to_middle, 8.0),
        "bow": c.bow,
    }


def _glance_features(s: Shape) -> dict[str, float]:
    g = s.glance
    if g is None:
        return {}
    # A crumb has no turns for a strip to lie on.
    lie = {} if s.trace is None else {"glance_lie": g.log_size["lie"] * LIE_DEG}
    return lie | {
        "curls": g.curls,
        "winds": g.winds,
        "glance_taper": g.log_size["taper"],
        "glance_turns": g.log_size["turns"],
        "glance_radius": g.log_size["curl_radius"],
        "glance_pitch": g.log_size["pitch"],
        "glance_length": g.log_size["length"],
        "glance_width": g.log_size["width"],
    }


def feature_row(shape: Shape) -> dict[str, float]:
    """Return every measure of :data:`FEATURES` for one chip, NaN where it has no meaning."""
    s = shape
    rim = float(cv2.arcLength(s.hull.astype(np.float32), closed=True))
    row = {
        "log_area": log(s.area / CROP_PX_PER_MM**2),
        "log_extent": log(s.extent / CROP_PX_PER_MM),
        "log_width": log(max(s.width, 0.5) / CROP_PX_PER_MM),
        "solidity": s.area / s.hull_area,
        "box_aspect": log(s.box[0] / s.box[1]),
        "box_fill": s.area / (s.box[0] * s.box[1]),
        "roundness": 4 * np.pi * s.hull_area / max(rim * rim, 1.0),
        "eye": s.eye,
        "light_spread": s.light_spread,
        "dark_share": s.dark_share,
        "confidence": s.confidence,
    }
    row |= _line_features(s) | _coil_features(s) | _glance_features(s)
    if s.lie is not None:
        row |= {"lie": s.lie.deg, "lie_doubt": log(s.lie.spread_deg)}
    return {name: float(row.get(name, nan)) for name in FEATURES}
