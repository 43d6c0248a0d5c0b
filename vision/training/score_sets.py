"""How well sets of groups hold the true one, how large they are, and what is unlike any chip.

    python -m vision.training.score_sets [--table TABLE] [--model MODEL] [--shuffles N]

prints what the calibration scenes of a feature table show by themselves: thresholds from some
of these scenes, sets for the others, many times over. The model's one temperature was
set on all of them. ``evaluate`` prints the same figures for scenes that set nothing.

A chip is covered where its set holds its group or one that is right as well. Nests are left
out: their set is every group that snarls. Intervals resample scenes.
"""

from __future__ import annotations

import argparse
import csv
import gzip
import io
import logging
from collections import defaultdict
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from vision.forms.company import in_company_by
from vision.forms.fitting import read_table
from vision.forms.model import GROUPS, load_model
from vision.forms.sets import joins_from, kept_at, sets_of
from vision.training.resample import over_scenes, ratio, share_over_scenes, share_text

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import numpy.typing as npt

    from vision.training.score import Named, SceneScore

__all__ = [
    "Told",
    "crossed",
    "main",
    "set_figures",
    "set_lines",
    "told_of",
    "unlike_figures",
    "unlike_lines",
]

_LOG = logging.getLogger(__name__)
_DATA = Path(__file__).parent.parent / "data"
_SHUFFLES = 200


class Told(NamedTuple):
    """A chip's true group, whether its set holds it, its size, and whether it was sure."""

    group: str
    covered: bool
    size: int
    sure: bool = False


def told_of(score: SceneScore) -> list[Told]:
    """Return what was told of the found chips of a scene, nests left out."""
    return [
        Told(n.true, _covered(n), len(n.group_set), n.sure)
        for n in score.named
        if n.true in GROUPS
    ]


def _covered(chip: Named) -> bool:
    return bool({chip.true, *(form[0] for form in chip.also)} & set(chip.group_set))


def _coverage(scenes: Sequence[Sequence[Told]]) -> tuple[float, float, float]:
    return share_over_scenes([(sum(t.covered for t in s), len(s)) for s in scenes])


def _mean_size(scenes: Sequence[Sequence[Told]]) -> float:
    return ratio(sum(t.size for s in scenes for t in s), sum(map(len, scenes)))


def set_figures(scenes: Sequence[Sequence[Told]]) -> dict[str, Any]:
    """Return coverage and mean size for all chips and for those not sure, and by group.

    Shares come with their 95 % interval over scenes; each group with its chips and with the
    scenes that hold one. Only these are drawn again for it. Where chips were sure, the others
    are told of apart.
    """
    groups = {}
    for g in GROUPS:
        own = [[t for t in s if t.group == g] for s in scenes]
        own = [s for s in own if s]
        groups[g] = {
            "coverage": _coverage(own),
            "chips": sum(map(len, own)),
            "scenes": len(own),
        }
    out = {
        "set_coverage": _coverage(scenes),
        "set_size": over_scenes(scenes, _mean_size),
        "set_groups": groups,
    }
    if any(t.sure for s in scenes for t in s):
        unsure = [[t for t in s if not t.sure] for s in scenes]
        out["set_coverage_unsure"] = _coverage(unsure)
        out["set_size_unsure"] = over_scenes(unsure, _mean_size)
    return out


def set_lines(out: dict[str, Any]) -> Iterator[str]:
    """Yield the figures of :func:`set_figures` as text, one a line."""
    yield f"sets of groups, 90 % asked: hold the true group {share_text(out['set_coverage'])}"
    for g, v in out["set_groups"].items():
        yield (
            f"sets of group {g}: hold it {share_text(v['coverage'])}, "
            f"{v['chips']} chips in {v['scenes']} scenes"
        )
    yield f"groups in a set, mean: {share_text(out['set_size'])}"
    if "set_coverage_unsure" in out:
        unsure = share_text(out["set_coverage_unsure"])
        yield f"sets of chips that are not sure: hold the true group {unsure}"
        size = share_text(out["set_size_unsure"])
        yield f"groups in a set, mean, of chips that are not sure: {size}"


def unlike_figures(scores: Sequence[SceneScore]) -> dict[str, Any]:
    """Return how many of the chips, false finds and distractors were told as unlike any chip.

    Of chips that were found, of things called a chip that are none, and of those among
    the latter that are distractors.
    """
    counts = {
        "unlike_chips": [(sum(n.unlike for n in s.named), len(s.named)) for s in scores],
        "unlike_false": [(s.false_unlike, s.false) for s in scores],
        "unlike_distractors": [(s.distractors_unlike, s.distractors_called) for s in scores],
    }
    return {
        key: {
            "share": share_over_scenes(pairs),
            "told": sum(k for k, _ in pairs),
            "of": sum(n for _, n in pairs),
        }
        for key, pairs in counts.items()
    }


def unlike_lines(out: dict[str, Any]) -> Iterator[str]:
    """Yield the figures of :func:`unlike_figures` as text, one a line."""
    for key, words in (
        ("unlike_chips", "found chips"),
        ("unlike_false", "things called a chip that are none"),
        ("unlike_distractors", "distractors called a chip"),
    ):
        v = out[key]
        yield f"unlike any chip, of {words}: {v['told']} of {v['of']}, {share_text(v['share'])}"


def crossed(
    p: npt.NDArray[np.float64],
    groups: npt.NDArray[np.str_],
    scenes: npt.NDArray[np.str_],
    *,
    parts: int,
    rng: np.random.Generator,
) -> Iterator[list[list[Told]]]:
    """Yield each part's scenes, told of by thresholds from the scenes of all other parts.

    Parameters
    ----------
    p, groups, scenes : (N, C), (N,), (N,)
        Probabilities, true groups and scenes of chips that were not learned from.
    parts : int
        Into how many parts the scenes are dealt by lot.
    rng : Generator
        The lot.
    """
    names = rng.permutation(np.unique(scenes))
    for own in np.array_split(names, parts):
        inside = np.isin(scenes, own)
        joins = joins_from(p[~inside], groups[~inside])
        told: dict[str, list[Told]] = defaultdict(list)
        sets = sets_of(p[inside], joins)
        for g, scene, may_be in zip(groups[inside], scenes[inside], sets, strict=True):
            told[str(scene)].append(Told(str(g), str(g) in may_be, len(may_be)))
        yield list(told.values())


def _halves(rounds: Sequence[dict[str, Any]]) -> Iterator[str]:
    """Yield the mean over many halves, and between what 95 % of the halves lie."""

    def text(values: Sequence[float]) -> str:
        low, high = np.nanpercentile(values, [2.5, 97.5])
        return f"{np.nanmean(values):.3f} (95 % of the halves {low:.3f}-{high:.3f})"

    yield f"halves: hold the true group {text([r['all'] for r in rounds])}"
    for g in GROUPS:
        yield f"halves: sets of group {g} hold it {text([r[g] for r in rounds])}"
    yield f"halves: least covered group {text([min(r[g] for g in GROUPS) for r in rounds])}"
    yield f"halves: groups in a set, mean {text([r['size'] for r in rounds])}"


def _round(scenes: Sequence[Sequence[Told]]) -> dict[str, float]:
    chips = [t for s in scenes for t in s]
    out = {g: ratio(*_hits([t for t in chips if t.group == g])) for g in GROUPS}
    return out | {"all": ratio(*_hits(chips)), "size": _mean_size(scenes)}


def _hits(chips: Sequence[Told]) -> tuple[int, int]:
    return sum(t.covered for t in chips), len(chips)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command; returns the exit code."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--table", type=Path, default=_DATA / "features.csv.gz")
    parser.add_argument("--model", type=Path, default=_DATA / "forms.model")
    parser.add_argument("--shuffles", type=int, default=_SHUFFLES)
    args = parser.parse_args(argv)
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    data = args.table.read_bytes()
    table, model = read_table(data), load_model(args.model.read_bytes())
    # Crumbs are no chips that count: they have no form in the truth.
    records = csv.DictReader(io.StringIO(gzip.decompress(data).decode()))
    counts = np.array([bool(r["form"]) for r in records])[table.held]
    p = model.probabilities(table.rows[table.held])
    p = in_company_by(p, table.scenes[table.held], kept_at(p))
    groups = np.array([str(c)[:1] for c in table.labels[table.held]])
    use = counts & kept_at(p) & np.isin(groups, GROUPS)
    p, groups, scenes = p[use], groups[use], table.scenes[table.held][use]
    rng = np.random.default_rng(0)
    rounds = [
        _round(half)
        for _ in range(args.shuffles)
        for half in crossed(p, groups, scenes, parts=2, rng=rng)
    ]
    tenths = [s for part in crossed(p, groups, scenes, parts=10, rng=rng) for s in part]
    _LOG.info("%d chips in %d calibration scenes", len(groups), len(np.unique(scenes)))
    for line in (*_halves(rounds), *(f"tenths: {x}" for x in set_lines(set_figures(tenths)))):
        _LOG.info("%s", line)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
