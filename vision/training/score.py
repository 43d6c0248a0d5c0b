"""Read one rendered photo and compare the reading with its truth.

Chips that count: at least 150 visible pixels, at least half unoccluded, wholly in
the frame. Others are neither hit nor false alarm. Found is a greedy one-to-one match by
overlap of the visible pixels, holes open.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from vision.errors import CardError, NoChips
from vision.photo.card import CARDS, field_mm
from vision.photo.decode import decode_photo
from vision.photo.find_card import find_card
from vision.reading import read_photo
from vision.training.rows import MOST_CHIPS, NO_CHIP, check_line_mm, load_scene, match_iou
from vision.training.truth import photo_px, px_per_mm_at

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    import numpy.typing as npt

    from vision.arrays import Points2
    from vision.records import ChipReading, Measured, PhotoReading
    from vision.training.rows import SceneFiles

__all__ = ["SIZES", "Named", "SceneScore", "score_file", "score_scene"]

SIZES = ("width_mm", "curl_radius_mm", "length_mm", "pitch_mm", "extent_mm", "coil_length_mm")
_SAME, _CLOSE = 0.5, 0.75
#: From this share of a find on, what lies under it is what it is about.
_TOUCHES = 0.3
#: Overlap 0.75 is asked only of chips at least this wide.
_WIDE_PX = 12.0
_SEGMENT_MM, _SEGMENTS, _TRIES = 20.0, 20, 400


@dataclass(frozen=True, slots=True)
class Named:
    """A chip that was found: what it is, what it was called, what else is right."""

    true: str
    read: str
    sure: bool
    true_form: str
    read_form: str | None
    also: tuple[str, ...]

    @property
    def accepted(self) -> bool:
        """Whether the group is right, or one of those that are right as well."""
        return self.read in {self.true, *(_label_of(f) for f in self.also)}

    @property
    def form_accepted(self) -> bool:
        """Whether the whole code is right, or one of those that are right as well."""
        return self.read_form in {self.true_form, *self.also}


@dataclass(slots=True)
class SceneScore:
    """Everything counted on one scene.

    ``pairs`` are (true, read) labels with "missed" and "none" on either side; ``present``
    and ``false_by`` count by group; errors of lengths are relative.
    """

    name: str
    card: bool
    card_found: bool = False
    usable: str = ""
    present: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    found: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    false_by: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    false_sure: int = 0
    wide: int = 0
    wide_close: int = 0
    distractors: int = 0
    distractors_called: int = 0
    distractors_sure: int = 0
    pairs: list[tuple[str, str]] = field(default_factory=list)
    named: list[Named] = field(default_factory=list)
    sizes: dict[str, list[tuple[str, float, float, float]]] = field(
        default_factory=lambda: defaultdict(list)
    )
    answered: dict[str, list[tuple[str, bool]]] = field(
        default_factory=lambda: defaultdict(list)
    )
    scale_rel: float | None = None
    segment_rel: float | None = None
    grains: tuple[int, int] | None = None
    grain_size_rel: float | None = None

    @property
    def hits(self) -> int:
        """Chips found."""
        return sum(self.found.values())

    @property
    def truth(self) -> int:
        """Chips that count."""
        return sum(self.present.values())

    @property
    def false(self) -> int:
        """Things called a chip that are none."""
        return sum(self.false_by.values())


def _label_of(form: str) -> str:
    return "nest" if form.endswith(".3") else form[0]


def _truth_label(chip: dict[str, Any]) -> str:
    return _label_of(str(chip["form"]))


def _read_label(chip: ChipReading) -> str:
    return "nest" if chip.kind == "nest" else str(chip.group)


def _segments(truth: dict[str, Any], rng: np.random.Generator) -> npt.NDArray[np.float64]:
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


def _scale_errors(score: SceneScore, scene: SceneFiles) -> None:
    """Compare lengths on the card's plane with the whole true map, lens included."""
    truth = scene.truth
    photo = decode_photo(scene.photo)
    try:
        fix = find_card(photo, check_line_mm=check_line_mm(truth))
    except CardError:
        return
    score.card_found = True
    segments = _segments(truth, np.random.default_rng(int(truth["seed"])))
    if len(segments):
        px = photo_px(truth, segments.reshape(-1, 2))
        mm = fix.sheet.to_mm(px).reshape(-1, 2, 2)
        read = np.hypot(*(mm[:, 1] - mm[:, 0]).T)
        score.segment_rel = float(np.median(np.abs(read / _SEGMENT_MM - 1)))
    heart = _heart(truth)
    x, y = fix.sheet.to_mm(photo_px(truth, heart))[0]
    density = fix.sheet.px_per_mm_at(float(x), float(y))
    score.scale_rel = abs(density / float(px_per_mm_at(truth, heart)[0]) - 1)


def _rings_of(chip: ChipReading) -> list[list[Points2]]:
    """Return the rings of each single thing: grains are scored crumb by crumb."""
    if chip.kind == "grains":
        return [[r] for r in chip.outline_px]
    return [list(chip.outline_px)]


def _pair(
    things: Sequence[tuple[ChipReading, list[Points2]]], scene: SceneFiles
) -> tuple[dict[int, int], list[dict[int, float]], list[dict[int, float]]]:
    """Match things to truth numbers greedily by IoU; return thing -> number, IoUs, covers."""
    seen = [match_iou(rings, scene) for _, rings in things]
    rank = sorted(
        (
            (v, i, k)
            for i, (iou, _) in enumerate(seen)
            for k, v in iou.items()
            if k <= MOST_CHIPS
        ),
        reverse=True,
    )
    matched: dict[int, int] = {}
    used: set[int] = set()
    for v, i, k in rank:
        if v < _SAME:
            break
        if i in matched or k in used:
            continue
        matched[i] = k
        used.add(k)
    return matched, [s[0] for s in seen], [s[1] for s in seen]


def _read(scene: SceneFiles) -> PhotoReading | None:
    try:
        return read_photo(scene.photo, check_line_mm=check_line_mm(scene.truth))
    except NoChips:
        return None


def score_scene(scene: SceneFiles) -> SceneScore:
    """Read one rendered photo and compare with its truth."""
    truth = scene.truth
    score = SceneScore(scene.name, card=truth.get("card") is not None)
    if score.card:
        _scale_errors(score, scene)
    chips = {int(c["number"]): c for c in truth["chips"]}
    counts = {k for k, c in chips.items() if c["counts"]}
    wide = {k for k in counts if chips[k]["width_mm"] * truth["px_per_mm"] >= _WIDE_PX}
    for k in counts:
        score.present[_truth_label(chips[k])] += 1
    score.wide = len(wide)
    score.distractors = sum(d.get("mask") == NO_CHIP for d in truth["distractors"])
    reading = _read(scene)
    if reading is None:
        score.pairs = [(_truth_label(chips[k]), "missed") for k in sorted(counts)]
        return score
    score.usable = reading.usable
    things = [(c, rings) for c in reading.chips for rings in _rings_of(c) if rings]
    matched, ious, covers = _pair(things, scene)
    for i, (chip, _) in enumerate(things):
        number = matched.get(i)
        if number is None:
            _score_false(score, chip, covers[i], counts)
        elif number in counts:
            score.found[_truth_label(chips[number])] += 1
            score.wide_close += number in wide and ious[i][number] >= _CLOSE
            _score_named(score, chip, chips[number])
    missed = sorted(counts - set(matched.values()))
    score.pairs += [(_truth_label(chips[k]), "missed") for k in missed]
    _score_grains(score, reading, truth)
    return score


def score_file(path: Path) -> SceneScore:
    """Score the scene that belongs to a truth file."""
    return score_scene(load_scene(path))


def _score_false(
    score: SceneScore, chip: ChipReading, cover: dict[int, float], counts: set[int]
) -> None:
    """Count what was called a chip and is none; specks of a population count there."""
    ignored = sum(v for k, v in cover.items() if k and k not in counts and k != NO_CHIP)
    if ignored >= _TOUCHES or chip.kind == "grains":
        return
    label = _read_label(chip)
    score.false_by[label] += 1
    score.false_sure += chip.sure
    score.pairs.append(("none", label))
    if cover.get(NO_CHIP, 0.0) > _TOUCHES:
        score.distractors_called += 1
        score.distractors_sure += chip.sure


def _score_named(score: SceneScore, chip: ChipReading, truth: dict[str, Any]) -> None:
    label, want = _read_label(chip), _truth_label(truth)
    score.pairs.append((want, label))
    also = tuple(truth.get("also", ()))
    score.named.append(Named(want, label, chip.sure, str(truth["form"]), chip.form, also))
    if chip.kind == "grains" or not score.card:
        return
    for name in SIZES:
        true = truth.get(name)
        if true is None or want == "nest":
            continue
        got: Measured | None = getattr(chip.geometry, name)
        score.answered[name].append((want, got is not None))
        if got is not None and got.bound is None:
            score.sizes[name].append((want, float(true), got.value, got.u))


def _score_grains(score: SceneScore, reading: PhotoReading, truth: dict[str, Any]) -> None:
    """Compare count and size of grains with the truth, where the scene holds a population."""
    grains = [c for c in truth["chips"] if c["group"] == "7" and c["visible_px"] > 0]
    if not grains:
        return
    crumbs = int(truth.get("crumbs", {}).get("count", 0))
    mine = [c for c in reading.chips if c.group == "7"]
    score.grains = (len(grains) + crumbs, sum(c.count or 1 for c in mine))
    size = next((c.median_size_mm for c in mine if c.median_size_mm), None)
    populations = [g for g in truth["grains"] if g["median_size_mm"]]
    if score.card and size and len(populations) == 1 and not crumbs:
        score.grain_size_rel = abs(size.value / populations[0]["median_size_mm"] - 1)
