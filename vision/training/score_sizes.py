"""How right sizes are, and whether their uncertainties can be believed.

An error is relative to the true size; ``u`` is the standard uncertainty that the reading
gives, and ``u / value`` its share of the value that was read. A chip is answered where it was
found and got a value; "at least" is no value. Chips that count but were not found, or got
no value, are in the denominator of the share answered and in no error.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from vision.training.resample import ratio, share_over_scenes, share_text
from vision.training.score import SIZES

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from vision.training.score import SceneScore

__all__ = ["size_figures", "size_lines"]

#: True widths, mm, that the table of widths is split at.
_WIDTH_EDGES_MM = (0.0, 0.3, 0.6, 1.0, float("inf"))
#: Width is asked for within this share or this length, whichever is larger.
_WIDTH_REL, _WIDTH_MM = 0.04, 0.03
#: Coverage is believed from so many chips of so many scenes on.
_CHIPS, _SCENES = 300, 60
#: The median of u / value may be this much of the median error: more is only inflated.
_TIGHT = 1.2
#: The third with the largest u / value has so many times the error of the third with the
#: smallest: less says that u does not know which chips are hard.
_TELLS = 2.0
_SAID = {True: "yes", False: "no", None: "too few to say"}

Value = tuple[str, float, float, float]


def size_figures(scores: Sequence[SceneScore], groups: Sequence[str]) -> dict[str, Any]:
    """Return ``sizes`` by group, ``uncertainty`` by size and ``widths`` as plain data."""
    return {
        "sizes": {name: _by_group(scores, name, groups) for name in SIZES},
        "uncertainty": {name: _belief(scores, name) for name in SIZES},
        "widths": _width_table(scores),
    }


def _median(values: Sequence[float]) -> float:
    return float(np.median(values)) if len(values) else float("nan")


def _rel(value: Value) -> float:
    _, true, got, _ = value
    return abs(got / true - 1)


def _u_rel(value: Value) -> float:
    _, _, got, u = value
    return u / got


def _inside(value: Value) -> bool:
    _, true, got, u = value
    return abs(got - true) <= 2 * u


def _by_group(
    scores: Sequence[SceneScore], name: str, groups: Sequence[str]
) -> dict[str, dict[str, float]]:
    """Return median relative error, share answered and share within 2 u, by group."""
    lines = {}
    values = [v for s in scores for v in s.sizes[name]]
    asked = [a for s in scores for a in s.answered[name]]
    for g in (*groups, "all"):
        mine = [v for v in values if g in ("all", v[0])]
        wanted = [answered for group, _, answered in asked if g in ("all", group)]
        if not wanted:
            continue
        lines[g] = {
            "n": len(wanted),
            "answered": ratio(sum(wanted), len(wanted)),
            "median_rel": _median([_rel(v) for v in mine]),
            "within_2u": ratio(sum(_inside(v) for v in mine), len(mine)),
            "median_u_rel": _median([_u_rel(v) for v in mine]),
        }
    return lines


def _belief(scores: Sequence[SceneScore], name: str) -> dict[str, Any]:
    """Return what speaks for the uncertainties of one size, and what against.

    ``tight`` and ``tells`` are ``None`` where there are too few values to say.
    """
    by_scene = [s.sizes[name] for s in scores if s.sizes[name]]
    values = sorted((v for some in by_scene for v in some), key=_u_rel)
    third = len(values) // 3
    small = _median([_rel(v) for v in values[:third]])
    large = _median([_rel(v) for v in values[len(values) - third :]])
    error, u = _median([_rel(v) for v in values]), _median([_u_rel(v) for v in values])
    inside = [(sum(map(_inside, some)), len(some)) for some in by_scene]
    return {
        "values": len(values),
        "scenes": len(by_scene),
        "enough": len(values) >= _CHIPS and len(by_scene) >= _SCENES,
        "within_2u": share_over_scenes(inside),
        "median_u_rel": u,
        "median_rel": error,
        "tight": bool(u <= _TIGHT * error) if values else None,
        "median_rel_small_u": small,
        "median_rel_large_u": large,
        "tells": bool(large >= _TELLS * small) if third else None,
    }


def _width_table(scores: Sequence[SceneScore]) -> list[dict[str, Any]]:
    """Return errors of the width by true width; ``to_mm`` is ``None`` for the last row."""
    values = [v for s in scores for v in s.sizes["width_mm"]]
    asked = [true for s in scores for _, true, _ in s.answered["width_mm"]]
    table = []
    for low, high in pairwise(_WIDTH_EDGES_MM):
        mine = [v for v in values if low <= v[1] < high]
        off = [abs(got - true) for _, true, got, _ in mine]
        near = sum(
            o <= max(_WIDTH_REL * v[1], _WIDTH_MM) for o, v in zip(off, mine, strict=True)
        )
        n = sum(low <= w < high for w in asked)
        table.append(
            {
                "from_mm": low,
                "to_mm": high if np.isfinite(high) else None,
                "n": n,
                "answered": ratio(len(mine), n),
                "median_rel": _median([_rel(v) for v in mine]),
                "median_off_mm": _median(off),
                "near": (near, len(mine)),
                "within_2u": ratio(sum(map(_inside, mine)), len(mine)),
            }
        )
    return table


def size_lines(out: dict[str, Any]) -> Iterator[str]:
    """Yield what :func:`size_figures` returned as text, one line a figure."""
    for name, groups in out.get("sizes", {}).items():
        for g, v in groups.items():
            yield (
                f"{name}, group {g}: n {v['n']}, answered {v['answered']:.2f}, median error "
                f"{100 * v['median_rel']:.1f} %, within 2 u {v['within_2u']:.2f}, "
                f"median u {100 * v['median_u_rel']:.1f} %"
            )
    for name, v in out.get("uncertainty", {}).items():
        yield from _belief_lines(name, v)
    for row in out.get("widths", ()):
        yield _width_line(row)


def _belief_lines(name: str, v: dict[str, Any]) -> Iterator[str]:
    few = "" if v["enough"] else f", fewer than {_CHIPS} from {_SCENES}"
    yield (
        f"{name}, within 2 u: {share_text(v['within_2u'])} "
        f"({v['values']} values, {v['scenes']} scenes{few})"
    )
    yield (
        f"{name}, median u / value {100 * v['median_u_rel']:.1f} %, median error "
        f"{100 * v['median_rel']:.1f} %; u at most {_TIGHT} x error: {_SAID[v['tight']]}"
    )
    yield (
        f"{name}, median error of the third with the smallest u / value "
        f"{100 * v['median_rel_small_u']:.1f} %, with the largest "
        f"{100 * v['median_rel_large_u']:.1f} %; at least twice: {_SAID[v['tells']]}"
    )


def _width_line(row: dict[str, Any]) -> str:
    low, high = row["from_mm"], row["to_mm"]
    span = f"{low:g} mm and more" if high is None else f"{low:g} to {high:g} mm"
    near, of = row["near"]
    return (
        f"true width {span}: n {row['n']}, answered {row['answered']:.2f}, median error "
        f"{100 * row['median_rel']:.1f} % or {row['median_off_mm']:.3f} mm, within 4 % or "
        f"0.03 mm {near} of {of} ({ratio(near, of):.2f}), within 2 u {row['within_2u']:.2f}"
    )
