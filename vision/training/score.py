"""Read one rendered photo and compare the reading with its truth.

Chips that count: at least 150 visible pixels, at least half unoccluded, wholly in
the frame. Others are neither hit nor false alarm. Found is a greedy one-to-one match by
overlap of the visible pixels, holes open. How close the outlines of the found come is told
apart for chips that look wide and thin (``outlines``).
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from vision.errors import NoChips
from vision.reading import read_photo
from vision.terms import Flag
from vision.training.outlines import WIDE_PX, boundary_f_of, chip_boxes, mean_width_px
from vision.training.rows import MOST_CHIPS, NO_CHIP, check_line_mm, load_scene, match_iou
from vision.training.score_scale import (
    CORNERS_ASKED,
    TILT_ASKED_DEG,
    corners_shown,
    scale_errors,
)
from vision.training.truth import LEAST_SHARE

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from vision.arrays import Points2
    from vision.records import ChipReading, Measured, PhotoReading
    from vision.training.rows import SceneFiles

    #: What was read, and its outline.
    Thing = tuple[ChipReading, list[Points2]]

__all__ = ["SIZES", "Named", "SceneScore", "score_file", "score_scene"]

SIZES = ("width_mm", "curl_radius_mm", "length_mm", "pitch_mm", "extent_mm", "coil_length_mm")
#: Overlap from which on a find is that chip.
_SAME = 0.5
#: Overlap asked of the outline of a chip that looks wide, boundary F of a thin one.
_CLOSE = 0.75
#: From this share of a find on, what lies under it is what it is about.
_TOUCHES = 0.3
#: So many grains are a crowd; of one grain so many pixels must show.
_CROWD, _GRAIN_PX = 5, 40


@dataclass(frozen=True, slots=True)
class Named:
    """A chip that was found: what it is, what it was called, what else is right.

    ``probability`` is that of the group it was called, given that it is a chip; ``None`` for
    what was called a nest. ``group_set`` are the groups it may be of, ``unlike`` says that it
    was told as unlike any chip.
    """

    true: str
    read: str
    sure: bool
    true_form: str
    read_form: str | None
    also: tuple[str, ...]
    probability: float | None = None
    group_set: tuple[str, ...] = ()
    unlike: bool = False

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
    and ``false_by`` count by group; errors of lengths are relative. ``wide`` and ``thin``
    are the chips that count by how wide they look, ``_close`` those of them whose outline
    is close. ``scale_asked`` marks a card that is seen as well as the scale is asked for.
    ``sizes`` holds (group, true, read, u) in mm, ``answered`` (group, true,
    whether a value was read) of every chip that counts, populations and nests left out.
    """

    name: str
    card: bool
    ground: str = ""
    card_found: bool = False
    usable: str = ""
    present: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    found: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    false_by: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    false_sure: int = 0
    false_unlike: int = 0
    wide: int = 0
    wide_close: int = 0
    thin: int = 0
    thin_close: int = 0
    distractors: int = 0
    distractors_called: int = 0
    distractors_sure: int = 0
    distractors_unlike: int = 0
    pairs: list[tuple[str, str]] = field(default_factory=list)
    named: list[Named] = field(default_factory=list)
    sizes: dict[str, list[tuple[str, float, float, float]]] = field(
        default_factory=lambda: defaultdict(list)
    )
    answered: dict[str, list[tuple[str, float, bool]]] = field(
        default_factory=lambda: defaultdict(list)
    )
    scale_asked: bool = False
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


def _things_of(chip: ChipReading) -> list[Thing]:
    """Return each single thing with its rings: grains are scored crumb by crumb."""
    if chip.kind != "grains":
        return [(chip, list(chip.outline_px))] if chip.outline_px else []
    own = zip(chip.outline_px, chip.group_sets, strict=True)
    return [(replace(chip, group_set=may_be), [ring]) for ring, may_be in own]


def _pair(
    things: Sequence[Thing], scene: SceneFiles
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
    score = SceneScore(
        scene.name, card=truth.get("card") is not None, ground=str(truth["ground"])
    )
    if score.card:
        flat = float(truth["tilt_deg"]) <= TILT_ASKED_DEG
        score.scale_asked = flat and corners_shown(scene) >= CORNERS_ASKED
    if score.card and (errors := scale_errors(scene)) is not None:
        score.card_found = True
        score.scale_rel, score.segment_rel = errors
    chips = {int(c["number"]): c for c in truth["chips"]}
    counts = {k for k, c in chips.items() if c["counts"]}
    for k in counts:
        score.present[_truth_label(chips[k])] += 1
    score.distractors = sum(d.get("mask") == NO_CHIP for d in truth["distractors"])
    reading = _read(scene)
    things: list[Thing] = []
    if reading is not None:
        score.usable = reading.usable
        things = [thing for chip in reading.chips for thing in _things_of(chip)]
    matched, ious, covers = _pair(things, scene)
    _score_grains(score, things, covers, truth)
    for i, (chip, _) in enumerate(things):
        number = matched.get(i)
        if number is None:
            _score_false(score, chip, covers[i], counts)
        elif number in counts:
            score.found[_truth_label(chips[number])] += 1
            _score_named(score, chip, chips[number])
    finds = {k: i for i, k in matched.items() if k in counts}
    missed = sorted(counts - set(finds))
    score.pairs += [(_truth_label(chips[k]), "missed") for k in missed]
    _score_outlines(
        score, scene, counts, {k: (things[i][1], ious[i][k]) for k, i in finds.items()}
    )
    if score.card:
        for k in sorted(counts):
            _score_sizes(score, chips[k], things[finds[k]][0] if k in finds else None)
    return score


def score_file(path: Path) -> SceneScore:
    """Score the scene that belongs to a truth file."""
    return score_scene(load_scene(path))


def _score_false(
    score: SceneScore, chip: ChipReading, cover: dict[int, float], counts: set[int]
) -> None:
    """Count what was called a chip and is none; specks of a population count there."""
    if _ignored(cover, counts) >= _TOUCHES or chip.kind == "grains":
        return
    label = _read_label(chip)
    score.false_by[label] += 1
    score.false_sure += chip.sure
    unlike = Flag.UNLIKE in chip.flags
    score.false_unlike += unlike
    score.pairs.append(("none", label))
    if cover.get(NO_CHIP, 0.0) > _TOUCHES:
        score.distractors_called += 1
        score.distractors_sure += chip.sure
        score.distractors_unlike += unlike


def _score_named(score: SceneScore, chip: ChipReading, truth: dict[str, Any]) -> None:
    label, want = _read_label(chip), _truth_label(truth)
    score.pairs.append((want, label))
    also = tuple(truth.get("also", ()))
    probability = None if chip.kind == "nest" else chip.probability[label]
    score.named.append(
        Named(
            want,
            label,
            chip.sure,
            str(truth["form"]),
            chip.form,
            also,
            probability,
            group_set=chip.group_set,
            unlike=Flag.UNLIKE in chip.flags,
        )
    )


def _score_outlines(
    score: SceneScore,
    scene: SceneFiles,
    counts: set[int],
    finds: dict[int, tuple[list[Points2], float]],
) -> None:
    """Count chips whose outline is close: overlap of wide ones, boundary F of thin ones.

    ``finds`` holds rings and IoU of the chips that were found; a missed one is not close.
    """
    for k, box in chip_boxes(scene, counts).items():
        rings, iou = finds.get(k, ([], 0.0))
        if mean_width_px(scene.mask[box] == k) >= WIDE_PX:
            score.wide += 1
            score.wide_close += iou >= _CLOSE
        else:
            score.thin += 1
            score.thin_close += bool(rings) and boundary_f_of(rings, scene, k, box) >= _CLOSE


def _score_sizes(score: SceneScore, truth: dict[str, Any], chip: ChipReading | None) -> None:
    """Set sizes beside true ones; ``chip`` is ``None`` where it was missed.

    Nests and grains of a population are not asked for sizes of their own; "at least" and
    what is read as a population give none.
    """
    label = _truth_label(truth)
    if label == "nest" or truth.get("population") is not None:
        return
    for name in SIZES:
        true = truth.get(name)
        if true is None:
            continue
        got: Measured | None = None
        if chip is not None and chip.kind != "grains":
            got = getattr(chip.geometry, name)
        valued = got is not None and got.bound is None
        score.answered[name].append((label, float(true), valued))
        if got is not None and valued:
            score.sizes[name].append((label, float(true), got.value, got.u))


def _score_grains(
    score: SceneScore,
    things: Sequence[Thing],
    covers: Sequence[dict[int, float]],
    truth: dict[str, Any],
) -> None:
    """Compare count and size of grains with the truth, where a crowd of them shows.

    As for chips, those too small, hidden or cut off are neither asked for nor held against a
    reading that tells them, though a grain may show less than a chip must; of fewer than
    five a fifth is no whole grain.
    """
    shows = {int(c["number"]) for c in truth["chips"] if c["group"] == "7" and _shows(c)}
    if len(shows) < _CROWD:
        return
    asked = shows | {int(c["number"]) for c in truth["chips"] if c["counts"]}
    read = [
        chip
        for (chip, _), cover in zip(things, covers, strict=True)
        if chip.group == "7" and _ignored(cover, asked) < _TOUCHES
    ]
    score.grains = (len(shows), len(read))
    crumbs = int(truth.get("crumbs", {}).get("count", 0))
    size = next((c.median_size_mm for c in read if c.median_size_mm), None)
    populations = [g for g in truth["grains"] if g["median_size_mm"]]
    if score.card and size and len(populations) == 1 and not crumbs:
        score.grain_size_rel = abs(size.value / populations[0]["median_size_mm"] - 1)


def _shows(grain: dict[str, Any]) -> bool:
    """Say whether enough of a grain shows to be counted."""
    enough = grain["visible_px"] >= _GRAIN_PX and grain["share_unoccluded"] >= LEAST_SHARE
    return bool(grain["in_frame"] and enough)


def _ignored(cover: dict[int, float], counts: set[int]) -> float:
    """Return how much of a thing is chips that do not count, and crumbs."""
    return sum(v for k, v in cover.items() if k and k not in counts and k != NO_CHIP)
