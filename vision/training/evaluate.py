"""How good is the reader: one line per figure and set, on scenes it never learned from.

    python -m vision.training.evaluate --set unseen unseen-families boundary [--json OUT]
    python -m vision.training.evaluate --scenes DIR [DIR ...]

Photos with a card and without one are told apart; without a card chips are only found
and named. On the boundary set some chips may rightly be called two things: ``accepted``
takes either. Intervals resample scenes, not chips.
"""

from __future__ import annotations

import argparse
import json
from collections import defaultdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from vision.training.pool import cores, spread
from vision.training.rows import scene_paths
from vision.training.score import SIZES, SceneScore, score_file
from vision.training.sets import SETS, cache_folder

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

__all__ = ["lines_of", "macro_f1", "main", "score_folder", "summary"]

GROUPS = ("1", "2", "3", "4", "5", "6", "7", "8")
LABELS = (*GROUPS, "nest")
_DRAWS = 300


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


def _interval(
    scores: Sequence[SceneScore], value: Callable[[Sequence[SceneScore]], float]
) -> tuple[float, float, float]:
    """Return a figure with its 95 % interval from resampling scenes."""
    rng = np.random.default_rng(0)
    draws = [
        value([scores[i] for i in rng.integers(0, len(scores), len(scores))])
        for _ in range(_DRAWS)
    ]
    known = [d for d in draws if np.isfinite(d)]
    if not known:
        return value(scores), float("nan"), float("nan")
    low, high = np.percentile(known, [2.5, 97.5])
    return value(scores), float(low), float(high)


def _ratio(hits: float, of: float) -> float:
    return hits / of if of else float("nan")


def _all_pairs(scores: Sequence[SceneScore]) -> list[tuple[str, str]]:
    return [p for s in scores for p in s.pairs]


def summary(scores: Sequence[SceneScore]) -> dict[str, Any]:
    """Return every figure of some scenes as plain data; counts are (hits, of)."""
    out: dict[str, Any] = {
        "scenes": len(scores),
        "chips": sum(s.truth for s in scores),
        "retake": sum(s.usable in ("retake", "") for s in scores),
    }
    out["recall"] = _interval(
        scores, lambda x: _ratio(sum(s.hits for s in x), sum(s.truth for s in x))
    )
    out["precision"] = _interval(
        scores, lambda x: _ratio(sum(s.hits for s in x), sum(s.hits + s.false for s in x))
    )
    out["recall_iou_0.75_wide"] = (
        sum(s.wide_close for s in scores),
        sum(s.wide for s in scores),
    )
    out["macro_f1_end_to_end"] = _interval(
        scores, lambda x: macro_f1(_all_pairs(x), end_to_end=True)
    )
    out["macro_f1_given_found"] = _interval(
        scores, lambda x: macro_f1(_all_pairs(x), end_to_end=False)
    )
    out |= _naming(scores)
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


def _naming(scores: Sequence[SceneScore]) -> dict[str, Any]:
    named = [n for s in scores for n in s.named]
    sure = [n for n in named if n.sure]
    return {
        "named": len(named),
        "accuracy": _ratio(sum(n.true == n.read for n in named), len(named)),
        "accepted": _ratio(sum(n.accepted for n in named), len(named)),
        "code": _ratio(sum(n.true_form == n.read_form for n in named), len(named)),
        "code_accepted": _ratio(sum(n.form_accepted for n in named), len(named)),
        "sure_share": _ratio(len(sure), len(named)),
        "sure_accuracy": _ratio(sum(n.true == n.read for n in sure), len(sure)),
        "sure_accepted": _ratio(sum(n.accepted for n in sure), len(sure)),
    }


def _group(scores: Sequence[SceneScore], group: str) -> dict[str, float]:
    """Return what happens to one group: found, read right, right where it is called."""
    pairs = _all_pairs(scores)
    present = sum(t == group for t, _ in pairs)
    right = sum(t == group and p == group for t, p in pairs)
    called = sum(p == group for _, p in pairs)
    return {
        "present": present,
        "found": _ratio(sum(s.found.get(group, 0) for s in scores), present),
        "recall": _ratio(right, present),
        "called": called,
        "precision": _ratio(right, called),
    }


def _lengths(scores: Sequence[SceneScore]) -> dict[str, Any]:
    """Return the errors of scale and sizes on photos with a card."""
    cards = [s for s in scores if s.card]
    out: dict[str, Any] = {"card_found": (sum(s.card_found for s in cards), len(cards))}
    for key, values in (
        ("scale_error", [s.scale_rel for s in cards if s.scale_rel is not None]),
        ("segment_error", [s.segment_rel for s in cards if s.segment_rel is not None]),
        ("grain_size_error", [s.grain_size_rel for s in cards if s.grain_size_rel is not None]),
    ):
        out[key] = _spread(values)
    out["sizes"] = {name: _size_lines(cards, name) for name in SIZES}
    return out


def _spread(values: Sequence[float]) -> tuple[float, float, int]:
    """Return median, 95th percentile and count."""
    if not values:
        return float("nan"), float("nan"), 0
    return float(np.median(values)), float(np.percentile(values, 95)), len(values)


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
            "median_u_rel": float(np.median([u / got for _, _, got, u in mine]))
            if mine
            else float("nan"),
        }
    return lines


def lines_of(out: dict[str, Any]) -> Iterator[str]:
    """Yield the figures of a summary as text, one a line."""
    yield f"scenes {out['scenes']}, chips that count {out['chips']}, retake {out['retake']}"
    if "card_found" in out:
        yield "card found: {} of {}".format(*out["card_found"])
        for key in ("scale_error", "segment_error", "grain_size_error"):
            middle, high, n = out[key]
            yield f"{key}: median {100 * middle:.3f} %, 95th {100 * high:.3f} % ({n} photos)"
    for key in ("recall", "precision", "macro_f1_end_to_end", "macro_f1_given_found"):
        value, low, high = out[key]
        yield f"{key}: {value:.3f} (95 % {low:.3f}-{high:.3f})"
    yield "recall at IoU 0.75, chips 12 px wide or more: {} of {}".format(
        *out["recall_iou_0.75_wide"]
    )
    yield (
        f"group of the found: right {out['accuracy']:.3f}, accepted {out['accepted']:.3f}; "
        f"code right {out['code']:.3f}, accepted {out['code_accepted']:.3f} ({out['named']})"
    )
    yield (
        f"sure: {out['sure_share']:.3f} answered, of those right {out['sure_accuracy']:.3f}, "
        f"accepted {out['sure_accepted']:.3f}"
    )
    yield f"false chips: {out['false']}, called with sureness {out['false_sure']}"
    yield (
        f"distractors: {out['distractors']}, called a chip {out['distractors_called']}, "
        f"with sureness {out['distractors_sure']}"
    )
    yield "grains counted within 20 %: {} of {} scenes".format(
        *out["grain_counts_within_20_percent"]
    )
    for g, v in out["groups"].items():
        yield (
            f"group {g}: present {v['present']}, found {v['found']:.2f}, "
            f"recognised {v['recall']:.2f}; called {v['called']}, of those right "
            f"{v['precision']:.2f}"
        )
    for name, groups in out.get("sizes", {}).items():
        for g, v in groups.items():
            yield (
                f"{name}, group {g}: n {v['n']}, answered {v['answered']:.2f}, median error "
                f"{100 * v['median_rel']:.1f} %, within 2 u {v['within_2u']:.2f}, "
                f"median u {100 * v['median_u_rel']:.1f} %"
            )
    for t, row in out["confusion"].items():
        yield f"truth {t} read as: " + ", ".join(f"{p} {n}" for p, n in row.items())


def score_folder(folder: Path, *, workers: int = 1, label: str = "") -> list[SceneScore]:
    """Score all scenes of a folder, in the order of their names."""
    return list(spread(score_file, scene_paths(folder), workers=workers, label=label))


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
    if args.json:
        args.json.write_text(json.dumps(every, indent=1), encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
