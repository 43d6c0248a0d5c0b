"""The tables of README, from what ``evaluate --json`` wrote.

    python -m vision.training.evaluate --set unseen unseen-families boundary --json OUT
    python -m vision.training.readme_tables OUT

Prints the tables row by row, in README's words; they are pasted there by hand, so that somebody
has looked at them. A set that was not evaluated has no column.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from vision.terms import GROUP_NAMES

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    Figures = dict[str, Any]
    Row = tuple[str, Callable[[Figures], str]]

__all__ = ["main", "tables"]

#: Groups in README's words.
_GROUPS = GROUP_NAMES | {"7": "grain"}
#: Sets by the name that ``evaluate`` gives them, and by what README calls them.
_SETS_OF = {
    "unseen": "unseen seeds",
    "unseen-families": "unseen families",
    "boundary": "between two forms",
}
#: The dash between the ends of an interval.
_TO = "\N{EN DASH}"
#: Sizes and the groups they are told of, as README shows them.
_SIZES = (
    ("length_mm", "developed length", "1234568"),
    ("curl_radius_mm", "curl radius", "23456"),
    ("pitch_mm", "pitch", "245"),
    ("coil_length_mm", "length of the coil", "245"),
    ("width_mm", "width seen", "168"),
)


def _share(v: Sequence[float]) -> str:
    value, low, high = v
    return f"{value:.2f} ({low:.2f}{_TO}{high:.2f})" if np.isfinite(low) else f"{value:.2f}"


def _part(v: Figures, counts: str, share: str) -> str:
    hits, of = v[counts]
    return f"{hits} of {of}, {_share(v[share])}"


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _nests(v: Figures) -> str:
    nest = v["groups"]["nest"]
    return f"{round(nest['recall'] * nest['present'])} of {nest['present']}"


def _nests_told(v: Figures) -> str:
    right, told = v["nests_right"], v["nests_told"]
    return f"{told} of {v['nests']}; {_share(right)}" if told else f"none of {v['nests']}"


def _crowds(v: Figures) -> str:
    near, of = v["grain_counts_within_20_percent"]
    return f"{near} of {of} scenes" if of else "there is none"


def _scale(v: Figures, key: str = "scale_error") -> str:
    middle, high, _ = v[key]
    return f"{100 * middle:.2f} %; {100 * high:.2f} %"


def _scale_as_asked(v: Figures) -> str:
    found, of = v["card_found_as_asked"]
    return f"{_scale(v, 'scale_error_as_asked')}; found {found} of {of}"


def _card(v: Figures, text: Callable[[Figures], str]) -> str:
    return text(v) if "card_found" in v else ""


#: Rows of the first table: what is found, and how it is named.
_FOUND: tuple[Row, ...] = (
    ("card found", lambda v: _card(v, lambda w: "{} of {}".format(*w["card_found"]))),
    ("scale error, median; 95th percentile", lambda v: _card(v, _scale)),
    (
        "the same, tilted by at most 30°, two thirds of the card's corners in view",
        lambda v: _card(v, _scale_as_asked),
    ),
    ("found at IoU 0.5: recall", lambda v: _share(v["recall"])),
    ("found at IoU 0.5: precision", lambda v: _share(v["precision"])),
    (
        "chips that look 12 px wide or more: found at IoU 0.75",
        lambda v: _part(v, "recall_iou_0.75_wide", "recall_iou_0.75_wide_share"),
    ),
    (
        "thinner chips: found with a boundary F of 0.75 within 2 px",
        lambda v: _part(v, "recall_boundary_f_0.75_thin", "recall_boundary_f_0.75_thin_share"),
    ),
    ("group, macro-F1 over 8, given found", lambda v: _share(v["macro_f1_given_found"])),
    (
        "the same, photos of which one group has most chips",
        lambda v: _share(v["macro_f1_one_form"]),
    ),
    ("the same, photos of a mixture", lambda v: _share(v["macro_f1_mixture"])),
    ("group, macro-F1 over 8, end to end", lambda v: _share(v["macro_f1_end_to_end"])),
    ("full code right, of the found", lambda v: f"{v['code']:.2f}"),
    ("nests recognised", _nests),
    ("nests whose group is told; of those right", _nests_told),
    (
        "called sure; of those right, either form counted",
        lambda v: f"{_percent(v['sure_share'])}; {_percent(v['sure_accepted'])}",
    ),
    ("group right for the surest 80 %", lambda v: _share(v["right_at_0.8"])),
    ("calibration error of the group's probability", lambda v: _share(v["calibration_error"])),
    (
        "long or snarled chips called short or loose with sureness",
        lambda v: "{} of {} found".format(*v["long_or_snarled_played_down"]),
    ),
    ("crowds of five and more grains counted within 20 %", _crowds),
    (
        "things that are no chips, called a chip; with sureness",
        lambda v: f"{v['distractors_called']} of {v['distractors']}; {v['distractors_sure']}",
    ),
    ("false chips; called with sureness", lambda v: f"{v['false']}; {v['false_sure']}"),
)


def _of_group(group: str) -> Callable[[Figures], str]:
    def text(v: Figures) -> str:
        mine = v["set_groups"].get(group)
        if mine is None or not mine["chips"]:
            return "there is none"
        return f"{_share(mine['coverage'])}, {mine['chips']} chips"

    return text


_SETS: tuple[Row, ...] = (
    (
        "hold the true group, or one that is right as well (90 % asked)",
        lambda v: _share(v["set_coverage"]),
    ),
    ("the same, of chips that are not sure", lambda v: _share(v["set_coverage_unsure"])),
    *((f"the same, all of group: {name}", _of_group(g)) for g, name in _GROUPS.items()),
    ("groups in a set, mean", lambda v: _share(v["set_size"])),
    (
        "groups in a set, mean, of chips that are not sure",
        lambda v: _share(v["set_size_unsure"]),
    ),
    (
        "told as unlike any chip: of found chips",
        lambda v: f"{v['unlike_chips']['told']} of {v['unlike_chips']['of']}",
    ),
    (
        "of things called a chip that are none",
        lambda v: f"{v['unlike_false']['told']} of {v['unlike_false']['of']}",
    ),
)


def _table(title: str, columns: dict[str, Figures], rows: Sequence[Row]) -> Iterator[str]:
    yield f"| {title} | {' | '.join(columns)} |"
    yield f"|{'---|' * (len(columns) + 1)}"
    for label, text in rows:
        yield f"| {label} | {' | '.join(text(v) for v in columns.values())} |"
    yield ""


def _size_table(columns: dict[str, Figures]) -> Iterator[str]:
    def text(size: str, group: str) -> Callable[[Figures], str]:
        def of(v: Figures) -> str:
            w = v["sizes"][size].get(group)
            if w is None:
                return "there is none"
            shares = f"{_percent(w['within_2u'])}, {_percent(w['answered'])}, {w['n']}"
            return f"{100 * w['median_rel']:.1f} %, {shares}"

        return of

    rows = [("greatest extent, all forms", text("extent_mm", "all"))]
    rows += [
        (f"{name}, {_GROUPS[g]}", text(size, g))
        for size, name, groups in _SIZES
        for g in groups
    ]
    yield from _table("size, by form, card in view", columns, rows)


def _doubt_table(v: Figures) -> Iterator[str]:
    yield (
        "| size, all forms | values | median error | median u | median error of the third "
        "told with the least u; with the most | within 2 u |"
    )
    yield "|---|---|---|---|---|---|"
    for size, name, _ in _SIZES:
        w = v["uncertainty"][size]
        thirds = f"{100 * w['median_rel_small_u']:.1f} %; {100 * w['median_rel_large_u']:.1f} %"
        yield (
            f"| {name} | {w['values']} | {100 * w['median_rel']:.1f} % | "
            f"{100 * w['median_u_rel']:.1f} % | {thirds} | {_percent(w['within_2u'][0])} |"
        )
    yield ""


def _grounds(parts: Sequence[Figures]) -> Iterator[str]:
    yield "| no card, ground | scenes | chips | recall | precision |"
    yield "|---|---|---|---|---|"
    for part in parts:
        for ground, w in part["surfaces"].items():
            shares = f"{w['recall'][0]:.2f} | {w['precision'][0]:.2f}"
            yield f"| {ground.replace('_', ' ')} | {w['scenes']} | {w['chips']} | {shares} |"
        both = f"{_share(part['recall'])} | {_share(part['precision'])}"
        yield f"| all of these | {part['scenes']} | {part['chips']} | {both} |"
    yield ""


def _called(title: str) -> str:
    name, _, part = title.partition(", ")
    name = name.split()[-1]
    plain = {"with card": "card in view", "without card": "no card"}.get(part, part)
    return f"{_SETS_OF.get(name, name)}, {plain}"


def tables(figures: Figures) -> Iterator[str]:
    """Yield the lines of all tables from what ``evaluate`` wrote, by set and part of it."""
    card, bare, whole = (
        {_called(k): v for k, v in figures.items() if k.endswith(part)}
        for part in (", with card", ", without card", ", all photos")
    )

    def headed(parts: dict[str, Figures]) -> dict[str, Figures]:
        return {
            f"{k} ({v['scenes']} scenes, {v['chips']:,} chips)": v for k, v in parts.items()
        }

    yield from _table("what", headed(card | bare), _FOUND)
    yield from _table("sets of groups", whole, _SETS)
    yield from _grounds(list(bare.values()))
    yield from _size_table(card)
    for name, part in card.items():
        yield name
        yield from _doubt_table(part)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command; returns the exit code."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("figures", type=Path, help="what evaluate --json wrote")
    args = parser.parse_args(argv)
    for line in tables(json.loads(args.figures.read_text(encoding="utf-8"))):
        print(line)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
