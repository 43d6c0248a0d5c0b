"""How good is the reader: one line per figure and set, on scenes it never learned from.

    python -m vision.training.evaluate --set unseen unseen-families boundary [--json OUT]
    python -m vision.training.evaluate --scenes DIR [DIR ...]

Photos with a card and without one are told apart; without a card chips are only found
and named. On the boundary set some chips may rightly be called two things: ``accepted``
takes either. Intervals resample scenes, not chips.

Found means overlap (IoU) of at least 0.5, one find for one chip. A find of a chip that looks
12 px wide or more on average (``outlines.mean_width_px``) is asked for IoU 0.75 besides, one
of a thinner chip for a boundary F-score of 0.75: precision and recall of the find's
outline pixels against those of the truth mask, holes open, within 2 px by distance
transform. Both shares are of the chips that count, missed ones included. Without a card each
surface has its own line. Sizes are asked of every chip that counts and lies in a photo with a
card, found or not (``score_sizes``). Sets of groups are asked of all photos of a set
together, as their thresholds were set (``score_sets``).
"""

from __future__ import annotations

import argparse
import json
from collections import defaultdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from vision.training.pool import cores, spread
from vision.training.resample import over_scenes, ratio, share_over_scenes, share_text
from vision.training.rows import scene_paths
from vision.training.score import SceneScore, score_file
from vision.training.score_nests import nest_figures, nest_lines
from vision.training.score_sets import (
    set_figures,
    set_lines,
    told_of,
    unlike_figures,
    unlike_lines,
)
from vision.training.score_sizes import size_figures, size_lines
from vision.training.score_sureness import sureness_figures, sureness_lines
from vision.training.sets import SETS, cache_folder

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

__all__ = ["lines_of", "macro_f1", "main", "score_folder", "sets_summary", "summary"]

GROUPS = ("1", "2", "3", "4", "5", "6", "7", "8")
LABELS = (*GROUPS, "nest")
#: A photo shows one main form where a group (or nests) has this share of the chips that count.
_MAIN_FORM = 0.6


def macro_f1(pairs: Sequence[tuple[str, str]], *, end_to_end: bool) -> float:
    """Return the mean F1 over the eight groups; nests are their own line.

    A missed chip is a wrong answer and a false chip (truth ``"none"``) spoils the group
    it was called, unless only chips that were found are asked for. A group that is
    neither there nor called has no score.
    """
    if not end_to_end:
        pairs = [(t, p) for t, p in pairs if p != "missed" and t != "none"]
    scores = []
    for g in GROUPS:
        hit = sum(t == g and p == g for t, p in pairs)
        wanted, called = sum(t == g for t, _ in pairs), sum(p == g for _, p in pairs)
        if wanted + called:
            scores.append(2 * hit / (wanted + called))
    return float(np.mean(scores)) if scores else float("nan")


def _all_pairs(scores: Sequence[SceneScore]) -> list[tuple[str, str]]:
    return [p for s in scores for p in s.pairs]


def summary(scores: Sequence[SceneScore]) -> dict[str, Any]:
    """Return every figure of some scenes as plain data; counts are (hits, of)."""
    out: dict[str, Any] = {
        "scenes": len(scores),
        "chips": sum(s.truth for s in scores),
        "retake": sum(s.usable in ("retake", "") for s in scores),
    }
    out["recall"] = share_over_scenes([(s.hits, s.truth) for s in scores])
    out["precision"] = share_over_scenes([(s.hits, s.hits + s.false) for s in scores])
    wide = [(s.wide_close, s.wide) for s in scores]
    thin = [(s.thin_close, s.thin) for s in scores]
    for key, counts in (("recall_iou_0.75_wide", wide), ("recall_boundary_f_0.75_thin", thin)):
        out[key] = (sum(h for h, _ in counts), sum(n for _, n in counts))
        out[f"{key}_share"] = share_over_scenes(counts)
    bare = [s for s in scores if not s.card]
    if bare:
        out["surfaces"] = _surfaces(bare)
    out["macro_f1_end_to_end"] = over_scenes(
        scores, lambda x: macro_f1(_all_pairs(x), end_to_end=True)
    )
    out["macro_f1_given_found"] = over_scenes(
        scores, lambda x: macro_f1(_all_pairs(x), end_to_end=False)
    )
    out["macro_f1_one_form"], out["macro_f1_mixture"] = (
        over_scenes(some, lambda x: macro_f1(_all_pairs(x), end_to_end=False))
        for some in _by_main_form(scores)
    )
    out |= _naming(scores) | sureness_figures(scores) | nest_figures(scores)
    out["groups"] = {g: _group(scores, g) for g in LABELS}
    counted = [s.grains for s in scores if s.grains is not None]
    near = sum(abs(read - true) <= 0.2 * true for true, read in counted)
    out["grain_counts_within_20_percent"] = (near, len(counted))
    out["false"] = sum(s.false for s in scores)
    out["false_sure"] = sum(s.false_sure for s in scores)
    out["distractors"] = sum(s.distractors for s in scores)
    out["distractors_called"] = sum(s.distractors_called for s in scores)
    out["distractors_sure"] = sum(s.distractors_sure for s in scores)
    if any(s.card for s in scores):
        out |= _lengths(scores)
    confusion: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for t, p in _all_pairs(scores):
        confusion[t][p] += 1
    out["confusion"] = {t: dict(sorted(row.items())) for t, row in sorted(confusion.items())}
    return out


def _by_main_form(scores: Sequence[SceneScore]) -> tuple[list[SceneScore], list[SceneScore]]:
    """Part scenes into those where one group has most of the chips, and the others."""
    parts: tuple[list[SceneScore], list[SceneScore]] = ([], [])
    for s in scores:
        mixed = not s.truth or max(s.present.values()) < _MAIN_FORM * s.truth
        parts[mixed].append(s)
    return parts


def _surfaces(scores: Sequence[SceneScore]) -> dict[str, dict[str, Any]]:
    """Return what is found on each surface that chips lie on without a card, by its name."""
    lines = {}
    for ground in sorted({s.ground for s in scores}):
        mine = [s for s in scores if s.ground == ground]
        found = sum(s.hits for s in mine)
        lines[ground] = {
            "scenes": len(mine),
            "retake": sum(s.usable in ("retake", "") for s in mine),
            "chips": sum(s.truth for s in mine),
            "found": found,
            "called": found + sum(s.false for s in mine),
            "recall": share_over_scenes([(s.hits, s.truth) for s in mine]),
            "precision": share_over_scenes([(s.hits, s.hits + s.false) for s in mine]),
        }
    return lines


def _naming(scores: Sequence[SceneScore]) -> dict[str, Any]:
    named = [n for s in scores for n in s.named]
    sure = [n for n in named if n.sure]
    return {
        "named": len(named),
        "accuracy": ratio(sum(n.true == n.read for n in named), len(named)),
        "accepted": ratio(sum(n.accepted for n in named), len(named)),
        "code": ratio(sum(n.true_form == n.read_form for n in named), len(named)),
        "code_accepted": ratio(sum(n.form_accepted for n in named), len(named)),
        "sure_share": ratio(len(sure), len(named)),
        "sure_accuracy": ratio(sum(n.true == n.read for n in sure), len(sure)),
        "sure_accepted": ratio(sum(n.accepted for n in sure), len(sure)),
    }


def _group(scores: Sequence[SceneScore], group: str) -> dict[str, float]:
    """Return what happens to one group: found, read right, right where it is called."""
    pairs = _all_pairs(scores)
    present = sum(t == group for t, _ in pairs)
    right = sum(t == group and p == group for t, p in pairs)
    called = sum(p == group for _, p in pairs)
    return {
        "present": present,
        "found": ratio(sum(s.found.get(group, 0) for s in scores), present),
        "recall": ratio(right, present),
        "called": called,
        "precision": ratio(right, called),
    }


def _lengths(scores: Sequence[SceneScore]) -> dict[str, Any]:
    """Return the errors of scale and sizes on photos with a card."""
    cards = [s for s in scores if s.card]
    out: dict[str, Any] = {"card_found": (sum(s.card_found for s in cards), len(cards))}
    asked = [s for s in cards if s.scale_asked]
    out["card_found_as_asked"] = (sum(s.card_found for s in asked), len(asked))
    for key, values in (
        ("scale_error_as_asked", [s.scale_rel for s in asked if s.scale_rel is not None]),
        ("scale_error", [s.scale_rel for s in cards if s.scale_rel is not None]),
        ("segment_error", [s.segment_rel for s in cards if s.segment_rel is not None]),
        ("grain_size_error", [s.grain_size_rel for s in cards if s.grain_size_rel is not None]),
    ):
        out[key] = _spread(values)
    return out | size_figures(cards, GROUPS)


def _spread(values: Sequence[float]) -> tuple[float, float, int]:
    """Return median, 95th percentile and count."""
    if not values:
        return float("nan"), float("nan"), 0
    return float(np.median(values)), float(np.percentile(values, 95)), len(values)


def lines_of(out: dict[str, Any]) -> Iterator[str]:
    """Yield the figures of a summary as text, one a line."""
    yield f"scenes {out['scenes']}, chips that count {out['chips']}, retake {out['retake']}"
    if "card_found" in out:
        yield "card found: {} of {}".format(*out["card_found"])
        yield (
            "card found, tilted by at most 30 degrees, two thirds of its corners in view: "
            "{} of {}".format(*out["card_found_as_asked"])
        )
        for key in ("scale_error", "scale_error_as_asked", "segment_error", "grain_size_error"):
            middle, high, n = out[key]
            yield f"{key}: median {100 * middle:.3f} %, 95th {100 * high:.3f} % ({n} photos)"
    keys = ("recall", "precision", "macro_f1_end_to_end", "macro_f1_given_found")
    for key in (*keys, "macro_f1_one_form", "macro_f1_mixture"):
        yield f"{key}: {share_text(out[key])}"
    for key, asked in (
        ("recall_iou_0.75_wide", "IoU 0.75, chips that look 12 px wide or more"),
        ("recall_boundary_f_0.75_thin", "boundary F 0.75 within 2 px, thinner chips"),
    ):
        hits, of = out[key]
        yield f"recall at {asked}: {hits} of {of}, {share_text(out[f'{key}_share'])}"
    for ground, v in out.get("surfaces", {}).items():
        yield (
            f"on {ground}: recall {share_text(v['recall'])}, precision "
            f"{share_text(v['precision'])}; {v['found']} of {v['chips']} chips found, "
            f"{v['called']} called a chip, {v['scenes']} scenes, retake {v['retake']}"
        )
    yield (
        f"group of the found: right {out['accuracy']:.3f}, accepted {out['accepted']:.3f}; "
        f"code right {out['code']:.3f}, accepted {out['code_accepted']:.3f} ({out['named']})"
    )
    yield (
        f"sure: {out['sure_share']:.3f} answered, of those right {out['sure_accuracy']:.3f}, "
        f"accepted {out['sure_accepted']:.3f}"
    )
    yield from sureness_lines(out)
    yield from nest_lines(out)
    yield f"false chips: {out['false']}, called with sureness {out['false_sure']}"
    yield (
        f"distractors: {out['distractors']}, called a chip {out['distractors_called']}, "
        f"with sureness {out['distractors_sure']}"
    )
    yield "crowds of grains counted within 20 %: {} of {} scenes".format(
        *out["grain_counts_within_20_percent"]
    )
    for g, v in out["groups"].items():
        yield (
            f"group {g}: present {v['present']}, found {v['found']:.2f}, "
            f"recognised {v['recall']:.2f}; called {v['called']}, of those right "
            f"{v['precision']:.2f}"
        )
    yield from size_lines(out)
    for t, row in out["confusion"].items():
        yield f"truth {t} read as: " + ", ".join(f"{p} {n}" for p, n in row.items())


def score_folder(folder: Path, *, workers: int = 1, label: str = "") -> list[SceneScore]:
    """Score all scenes of a folder, in the order of their names."""
    return list(spread(score_file, scene_paths(folder), workers=workers, label=label))


def sets_summary(scores: Sequence[SceneScore]) -> dict[str, Any]:
    """Return the figures of the sets of groups and of what is unlike any chip."""
    return set_figures([told_of(s) for s in scores]) | unlike_figures(scores)


def _parts(scores: Sequence[SceneScore]) -> Iterator[tuple[str, list[SceneScore]]]:
    for name, card in (("with card", True), ("without card", False)):
        chosen = [s for s in scores if s.card == card]
        if chosen:
            yield name, chosen


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command; returns the exit code."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    where = parser.add_mutually_exclusive_group(required=True)
    where.add_argument("--set", nargs="+", choices=sorted(SETS))
    where.add_argument("--scenes", nargs="+", type=Path)
    parser.add_argument("--workers", type=int, default=cores())
    parser.add_argument("--json", type=Path)
    args = parser.parse_args(argv)
    if args.set:
        folders = {f"{SETS[s].rung} {s}".strip(): cache_folder(s) for s in args.set}
    else:
        folders = {folder.name: folder for folder in args.scenes}
    every: dict[str, Any] = {}
    for title, folder in folders.items():
        scores = score_folder(folder, workers=args.workers, label=title)
        for part, chosen in _parts(scores):
            out = every[f"{title}, {part}"] = summary(chosen)
            for text in lines_of(out):
                print(f"{title}, {part} | {text}")
        whole = f"{title}, all photos"
        out = every[whole] = sets_summary(scores)
        for text in (*set_lines(out), *unlike_lines(out)):
            print(f"{whole} | {text}")
    if args.json:
        args.json.write_text(json.dumps(every, indent=1), encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
