"""How good is the reader: one line per figure, on scenes it never learned from.

    python -m vision.training.evaluate --scenes DIR [--json OUT]

Chips that count: at least 150 visible pixels, at least half unoccluded, wholly in
the frame. Others are neither hit nor false alarm. Intervals resample scenes.
"""

from __future__ import annotations

import argparse
import json
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from vision.errors import NoChips
from vision.photo.decode import decode_photo
from vision.photo.find_card import find_card
from vision.reading import read_photo
from vision.training.rows import NO_CHIP, match_iou, scenes_in

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from vision.records import ChipReading, Measured, PhotoReading
    from vision.training.rows import SceneFiles

__all__ = ["SceneScore", "macro_f1", "main", "score_scene", "summary"]

GROUPS = ("1", "2", "3", "4", "5", "6", "7", "8")
SIZES = ("width_mm", "curl_radius_mm", "length_mm", "pitch_mm", "extent_mm", "coil_length_mm")
_SAME = 0.5


@dataclass(slots=True)
class SceneScore:
    """Everything counted on one scene."""

    name: str
    truth: int = 0
    hits: int = 0
    false: int = 0
    false_sure: int = 0
    distractors: int = 0
    pairs: list[tuple[str, str]] = field(default_factory=list)
    sure_pairs: list[tuple[str, str, bool]] = field(default_factory=list)
    forms: list[tuple[str, str | None, bool]] = field(default_factory=list)
    sizes: dict[str, list[tuple[str, float, float, float]]] = field(
        default_factory=lambda: defaultdict(list)
    )
    answered: dict[str, list[tuple[str, bool]]] = field(
        default_factory=lambda: defaultdict(list)
    )
    scale_rel: list[float] = field(default_factory=list)
    segment_rel: list[float] = field(default_factory=list)
    usable: str = ""
    grains: tuple[int, int] | None = None


def _scale_errors(
    scene: SceneFiles, rng: np.random.Generator
) -> tuple[list[float], list[float]]:
    """Return relative errors of px/mm at the chips' middle and of 20 random 20 mm segments."""
    truth = np.array(scene.truth["px_from_mm"])
    fix = find_card(decode_photo(scene.photo))

    def to(matrix: np.ndarray, points: np.ndarray) -> np.ndarray:
        h = np.column_stack([points, np.ones(len(points))]) @ matrix.T
        return np.asarray(h[:, :2] / h[:, 2:])

    size = {"a5": (210, 148), "a4": (297, 210), "letter": (279.4, 215.9)}[fix.card_id]
    errors = []
    for _ in range(20):
        a = rng.uniform((35, 35), (size[0] - 35, size[1] - 40))
        angle = rng.uniform(0, 2 * np.pi)
        b = a + 20 * np.array([np.cos(angle), np.sin(angle)])
        mm = to(fix.mm_from_px, to(truth, np.stack([a, b])))
        errors.append(abs(float(np.hypot(*(mm[1] - mm[0]))) / 20 - 1))
    return errors, [float(np.median(errors))]


def _truth_label(chip: dict[str, Any]) -> str:
    return "nest" if str(chip["form"]).endswith(".3") else str(chip["group"])


def _read_label(chip: ChipReading) -> str:
    return "nest" if chip.kind == "nest" else str(chip.group)


def _sized(chip: ChipReading, name: str) -> Measured | None:
    return getattr(chip.geometry, name)  # type: ignore[no-any-return]


def _rings_of(chip: ChipReading, size: tuple[int, int]) -> list[list[np.ndarray]]:
    """Return the rings of each single thing: grains are scored crumb by crumb."""
    del size
    if chip.kind == "grains":
        return [[r] for r in chip.outline_px]
    return [list(chip.outline_px)]


def _pair(
    things: Sequence[tuple[ChipReading, list[np.ndarray]]], scene: SceneFiles
) -> tuple[dict[int, int], list[dict[int, float]], list[dict[int, float]]]:
    """Match things to truth numbers greedily by IoU; return thing -> number, IoUs, covers."""
    found = [match_iou(rings, scene.mask) for _, rings in things]
    rank = sorted(
        ((v, i, k) for i, (iou, _) in enumerate(found) for k, v in iou.items() if k < 241),
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
    return matched, [f[0] for f in found], [f[1] for f in found]


def score_scene(scene: SceneFiles) -> SceneScore:
    """Read one rendered photo and compare with its truth."""
    score = SceneScore(scene.name)
    rng = np.random.default_rng(1)
    score.segment_rel, score.scale_rel = _scale_errors(scene, rng)
    metals = scene.truth["families"]["metals"]
    try:
        reading: PhotoReading | None = read_photo(scene.photo, metal=None)
    except NoChips:
        reading = None
    del metals
    chips = {int(c["number"]): c for c in scene.truth["chips"]}
    counts = {k for k, c in chips.items() if c["counts"]}
    score.truth = len(counts)
    score.distractors = sum(d.get("mask") == NO_CHIP for d in scene.truth["distractors"])
    if reading is None:
        score.pairs = [(_truth_label(chips[k]), "missed") for k in counts]
        return score
    score.usable = reading.usable
    things = [
        (c, rings) for c in reading.chips for rings in _rings_of(c, reading.size_px) if rings
    ]
    matched, _, covers = _pair(things, scene)
    for i, (chip, _) in enumerate(things):
        number = matched.get(i)
        if number is None:
            on_ignored = sum(
                v for k, v in covers[i].items() if k and k not in counts and k != NO_CHIP
            )
            # Specks of a population are counted there, not as chips.
            if on_ignored < 0.3 and chip.kind != "grains":
                score.false += 1
                score.false_sure += chip.sure
                score.pairs.append(("none", _read_label(chip)))
            continue
        if number not in counts:
            continue
        _score_pair(score, chip, chips[number])
    found = {matched[i] for i in matched} & counts
    score.hits = len(found)
    _score_grains(score, reading, scene)
    score.pairs += [(_truth_label(chips[k]), "missed") for k in counts - found]
    return score


def _score_grains(score: SceneScore, reading: PhotoReading, scene: SceneFiles) -> None:
    """Compare the count of crumbs with the truth, where the scene holds a population."""
    grains = [c for c in scene.truth["chips"] if c["group"] == "7"]
    if not grains:
        return
    crumbs = int(scene.truth.get("crumbs", {}).get("count", 0))
    read = sum(c.count or 1 for c in reading.chips if c.group == "7")
    score.grains = (len(grains) + crumbs, read)


def _score_pair(score: SceneScore, chip: ChipReading, truth: dict[str, Any]) -> None:
    label, want = _read_label(chip), _truth_label(truth)
    score.pairs.append((want, label))
    score.sure_pairs.append((want, label, chip.sure))
    score.forms.append((str(truth["form"]), chip.form, chip.sure))
    if chip.kind == "grains":
        return
    for name in SIZES:
        true = truth.get(name)
        if true is None or want == "nest":
            continue
        got = _sized(chip, name)
        score.answered[name].append((want, got is not None))
        if got is not None and got.bound is None:
            score.sizes[name].append((want, float(true), got.value, got.u))


def macro_f1(pairs: Sequence[tuple[str, str]], *, end_to_end: bool) -> float:
    """Return the mean F1 over the eight groups; nests are their own line.

    A missed chip is a wrong answer and a false chip (truth ``"none"``) spoils the group
    it was called, unless only chips that were found are asked for.
    """
    if not end_to_end:
        pairs = [(t, p) for t, p in pairs if p != "missed" and t != "none"]
    scores = []
    for g in GROUPS:
        hit = sum(t == g and p == g for t, p in pairs)
        wanted, called = sum(t == g for t, _ in pairs), sum(p == g for _, p in pairs)
        scores.append(2 * hit / max(wanted + called, 1))
    return float(np.mean(scores))


def _interval(
    scores: Sequence[SceneScore], value: Callable[[Sequence[SceneScore]], float]
) -> tuple[float, float, float]:
    """Return a figure with its 95 % interval from resampling scenes."""
    rng = np.random.default_rng(0)
    draws = [
        value([scores[i] for i in rng.integers(0, len(scores), len(scores))])
        for _ in range(300)
    ]
    low, high = np.percentile(draws, [2.5, 97.5])
    return value(scores), float(low), float(high)


def _all_pairs(scores: Sequence[SceneScore]) -> list[tuple[str, str]]:
    return [p for s in scores for p in s.pairs]


def summary(scores: Sequence[SceneScore]) -> dict[str, Any]:
    """Return every figure of a set as plain data."""
    out: dict[str, Any] = {"scenes": len(scores), "chips": sum(s.truth for s in scores)}
    medians = [s.scale_rel[0] for s in scores if s.scale_rel]
    out["scale_error_median"] = float(np.median(medians))
    out["scale_error_p95"] = float(np.percentile(medians, 95))
    out["recall"] = _interval(
        scores, lambda x: sum(s.hits for s in x) / max(sum(s.truth for s in x), 1)
    )
    out["precision"] = _interval(
        scores,
        lambda x: sum(s.hits for s in x) / max(sum(s.hits + s.false for s in x), 1),
    )
    out["macro_f1_end_to_end"] = _interval(
        scores,
        lambda x: macro_f1(_all_pairs(x), end_to_end=True),
    )
    out["macro_f1_given_found"] = _interval(
        scores, lambda x: macro_f1(_all_pairs(x), end_to_end=False)
    )
    sure = [p for s in scores for p in s.sure_pairs]
    answered = [p for p in sure if p[2]]
    out["sure_share"] = len(answered) / max(len(sure), 1)
    out["sure_accuracy"] = sum(t == p for t, p, _ in answered) / max(len(answered), 1)
    nests = [p for p in _all_pairs(scores) if p[0] == "nest"]
    out["nest_recall"] = (sum(p == "nest" for _, p in nests), len(nests))
    out["group_recall"] = {
        g: (
            sum(t == g and p == g for t, p in _all_pairs(scores)),
            sum(t == g for t, _ in _all_pairs(scores)),
        )
        for g in GROUPS
    }
    counted = [s.grains for s in scores if s.grains is not None]
    near = sum(abs(read - true) <= 0.2 * true for true, read in counted)
    out["grain_counts_within_20_percent"] = (near, len(counted))
    out["false"] = (sum(s.false for s in scores), sum(s.false_sure for s in scores))
    out["sizes"] = {name: _size_lines(scores, name) for name in SIZES}
    confusion: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for t, p in _all_pairs(scores):
        confusion[t][p] += 1
    out["confusion"] = {t: dict(sorted(row.items())) for t, row in sorted(confusion.items())}
    return out


def _size_lines(scores: Sequence[SceneScore], name: str) -> dict[str, dict[str, float]]:
    """Return median relative error, share answered and share within 2 u, by group."""
    lines = {}
    values = [v for s in scores for v in s.sizes[name]]
    asked = [a for s in scores for a in s.answered[name]]
    for g in (*GROUPS, "all"):
        mine = [v for v in values if g in ("all", v[0])]
        wanted = [a for a in asked if g in ("all", a[0])]
        if not wanted:
            continue
        rel = [abs(got / true - 1) for _, true, got, _ in mine]
        inside = [abs(got - true) <= 2 * u for _, true, got, u in mine]
        lines[g] = {
            "n": len(wanted),
            "answered": sum(a for _, a in wanted) / len(wanted),
            "median_rel": float(np.median(rel)) if rel else float("nan"),
            "within_2u": float(np.mean(inside)) if inside else float("nan"),
        }
    return lines


def _print(out: dict[str, Any]) -> None:
    def line(text: str) -> None:
        print(text)

    line(f"scenes {out['scenes']}, chips that count {out['chips']}")
    line(
        f"scale error: median {100 * out['scale_error_median']:.3f} %, "
        f"95th percentile {100 * out['scale_error_p95']:.3f} %"
    )
    for key in ("recall", "precision", "macro_f1_end_to_end", "macro_f1_given_found"):
        value, low, high = out[key]
        line(f"{key}: {value:.3f} (95 % {low:.3f}-{high:.3f})")
    line(f"sure: {out['sure_share']:.2f} answered, {out['sure_accuracy']:.3f} of those right")
    line(f"nests recognised: {out['nest_recall'][0]} of {out['nest_recall'][1]}")
    near, of = out["grain_counts_within_20_percent"]
    line(f"grains counted within 20 %: {near} of {of} scenes")
    line(f"false chips: {out['false'][0]}, called with sureness {out['false'][1]}")
    line("group: recognised of present (missed count as wrong)")
    for g, (hit, n) in out["group_recall"].items():
        line(f"  {g}: {hit} of {n}")
    for name, groups in out["sizes"].items():
        line(f"{name}: group, n, answered, median relative error, within 2 u")
        for g, v in groups.items():
            line(
                f"  {g}: {v['n']}, {v['answered']:.2f}, {100 * v['median_rel']:.1f} %, "
                f"{v['within_2u']:.2f}"
            )
    line("confusion (truth: read as)")
    for t, row in out["confusion"].items():
        line(f"  {t}: {row}")


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command; returns the exit code."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=Path, required=True)
    parser.add_argument("--json", type=Path)
    args = parser.parse_args(argv)
    cv2.setNumThreads(1)
    scores = [score_scene(scene) for scene in scenes_in(args.scenes)]
    out = summary(scores)
    _print(out)
    if args.json:
        args.json.write_text(json.dumps(out, indent=1))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
