"""Errors of the card's scale against the whole true map of a scene, lens included."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from vision.errors import CardError
from vision.photo.card import CARDS, chess_corners_mm, field_mm
from vision.photo.decode import decode_photo
from vision.photo.find_card import find_card
from vision.training.rows import check_line_mm
from vision.training.truth import photo_px, px_per_mm_at

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import Points2
    from vision.training.rows import SceneFiles

__all__ = ["CORNERS_ASKED", "TILT_ASKED_DEG", "corners_shown", "draw_segments", "scale_errors"]

#: The scale is asked for where the card is tilted by no more than this,
TILT_ASKED_DEG = 30.0
#: and at least this share of its corners shows.
CORNERS_ASKED = 2 / 3
_SEGMENT_MM, _SEGMENTS, _TRIES = 20.0, 20, 400


def draw_segments(truth: dict[str, Any], rng: np.random.Generator) -> npt.NDArray[np.float64]:
    """Draw segments of 20 mm in the field that the photo shows; (N, 2, 2) mm on the card."""
    x0, y0, x1, y1 = field_mm(CARDS[truth["card"]])
    start = rng.uniform((x0, y0), (x1, y1), (_TRIES, 2))
    angle = rng.uniform(0, 2 * np.pi, _TRIES)
    end = start + _SEGMENT_MM * np.column_stack([np.cos(angle), np.sin(angle)])
    px = np.stack([photo_px(truth, start), photo_px(truth, end)], axis=1)
    last = np.array(truth["size_px"]) - 1
    fits = ((end >= (x0, y0)) & (end <= (x1, y1))).all(axis=1)
    fits &= ((px >= 0) & (px <= last)).all(axis=(1, 2))
    return np.stack([start, end], axis=1)[fits][:_SEGMENTS]


def _heart(truth: dict[str, Any]) -> Points2:
    """Return the middle of the chips that count, (1, 2) mm, or that of the field."""
    spots = [c["centre_mm"] for c in truth["chips"] if c["counts"]]
    if not spots:
        x0, y0, x1, y1 = field_mm(CARDS[truth["card"]])
        spots = [((x0 + x1) / 2, (y0 + y1) / 2)]
    return np.asarray(np.mean(spots, axis=0, keepdims=True))


def corners_shown(scene: SceneFiles) -> float:
    """Return the true share of the card's corners that the photo shows with nothing on them."""
    px = np.rint(photo_px(scene.truth, chess_corners_mm(CARDS[scene.truth["card"]])))
    height, width = scene.mask.shape
    inside = ((px >= 0) & (px < (width, height))).all(axis=1)
    x, y = px[inside].astype(int).T
    return float(np.count_nonzero(scene.mask[y, x] == 0) / len(px))


def scale_errors(scene: SceneFiles) -> tuple[float, float | None] | None:
    """Return relative errors of the density amid the chips and of 20 mm segments (median).

    No segment error where no segment fits in; ``None`` where the card is not found.
    """
    truth = scene.truth
    photo = decode_photo(scene.photo)
    try:
        fix = find_card(photo, check_line_mm=check_line_mm(truth))
    except CardError:
        return None
    segment_rel = None
    segments = draw_segments(truth, np.random.default_rng(int(truth["seed"])))
    if len(segments):
        px = photo_px(truth, segments.reshape(-1, 2))
        mm = fix.sheet.to_mm(px).reshape(-1, 2, 2)
        read = np.hypot(*(mm[:, 1] - mm[:, 0]).T)
        segment_rel = float(np.median(np.abs(read / _SEGMENT_MM - 1)))
    heart = _heart(truth)
    x, y = fix.sheet.to_mm(photo_px(truth, heart))[0]
    density = fix.sheet.px_per_mm_at(float(x), float(y))
    return abs(density / float(px_per_mm_at(truth, heart)[0]) - 1), segment_rel
