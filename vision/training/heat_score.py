"""How well is heat read: film, tint name and "bright or tinted" on rendered scenes.

    python -m vision.training.heat_score --set heat unseen [--json OUT]
    python -m vision.training.heat_score --scenes DIR [DIR ...] [--true-outlines]

Colours of the scenes come from another model than the reader's table: characteristic
matrices, n and k off by up to 10 %, mixed films, lamp spectra, drawn sensors. The chips of
each photo are named once for every metal in it, as for a person who names the metal; a chip
counts where it is found (IoU 0.5) and its true metal is the one named. The set ``heat`` has
no bright chips: those come from other sets. With ``--true-outlines`` no chip is looked for:
the pixels that truth gives it are read, which tests colour and film alone and is cheap.

The first name of an answer is scored, also of "A or B"; how often the true one is among those
given is a line of its own. Beside the names stands what they could be at best: for a reader
whose film errors are normal with the median asked for, and for one that errs by nothing but
the film's unknown index.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import defaultdict
from dataclasses import asdict, dataclass
from functools import partial
from math import erf
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from vision import bundled
from vision.chips.features import CROP_PX_PER_MM
from vision.chips.look import look_at
from vision.errors import VisionError
from vision.forms.name import name_chips
from vision.heat.chip_tint import colour_doubt, tint_of
from vision.heat.names import TINT_FILM_NM, tint_band_nm, tint_name
from vision.records import ChipTint
from vision.terms import TINTS
from vision.training.pool import cores, spread
from vision.training.rows import load_scene, match_iou, open_scene, scene_paths
from vision.training.sets import SETS, cache_folder

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    import numpy.typing as npt

    from vision.arrays import BoolMask
    from vision.photo.opened import OpenedPhoto
    from vision.records import ChipReading
    from vision.training.rows import SceneFiles

__all__ = ["HeatRow", "lines_of", "main", "rows_of"]

#: Metals of the scenes by the ladder they follow, and a name that the reader knows.
_FAMILY = {
    "steel": "steel",
    "tool steel": "steel",
    "free-cutting steel": "steel",
    "grey iron": "steel",
    "stainless": "stainless",
    "titanium": "titanium",
}
_SAME = 0.5
#: A view of a chip reaches so far beyond it.
_RIM_MM = 0.5
_NOT_READ = ChipTint(
    name=None, sure=False, candidates=(), film_nm=None, lab=None, share_tinted=None
)
#: The films that the figures are asked for, nm.
_FROM_NM, _TO_NM, _TINTED_NM = 12.0, 90.0, 20.0
#: Median film error that is asked for, nm, and how far n of the films of a set is off.
_ASKED_NM, _N_OFF = 5.0, 0.1
#: Median of the size of a normal error, in standard deviations.
_NORMAL_MEDIAN = 0.6745
#: Light warmer than this is a warm lamp, K.
_WARM_K = 3500.0


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatRow:
    """One chip that was found: truth, reading, and what there was to mislead."""

    scene: str
    family: str
    true_nm: float
    film_nm: float | None
    u_nm: float | None
    bound: bool
    name: str | None
    candidates: tuple[str, ...]
    sure: bool
    misled_by: tuple[str, ...]
    """Of "dark oil", "warm lamp", "coloured wall" and "hand"; empty for clean chips."""


def _misled_by(scene: SceneFiles, chip: dict[str, Any]) -> tuple[str, ...]:
    light, kinds = scene.truth["light"], {d["kind"] for d in scene.truth["distractors"]}
    lamps = [light["kelvin"], *(lamp["kelvin"] for lamp in light["lamps"])]
    there = {
        "dark oil": bool(chip["dirt"]),
        "warm lamp": min(lamps) < _WARM_K,
        "coloured wall": light["wall"] is not None,
        "hand": bool(kinds & {"hand", "finger", "fingers"}),
    }
    return tuple(word for word, true in there.items() if true)


def _match(found: ChipReading, scene: SceneFiles) -> dict[str, Any] | None:
    if found.kind == "grains" or not found.outline_px:
        return None
    iou, _ = match_iou(list(found.outline_px), scene)
    chips = {int(c["number"]): c for c in scene.truth["chips"] if c["counts"]}
    best = max((k for k in iou if k in chips), key=lambda k: iou[k], default=None)
    return chips[best] if best is not None and iou[best] >= _SAME else None


def _outlined(
    scene: SceneFiles, opened: OpenedPhoto
) -> Iterator[tuple[dict[str, Any], ChipTint]]:
    """Yield every single chip that counts and tints, with the tint of its true pixels."""
    plane, light = opened.plane, opened.light
    u_colour = colour_doubt(light.neutral_de00) if light.neutral else None
    for chip in scene.truth["chips"]:
        if not chip["counts"] or chip["population"] or chip["metal"] not in _FAMILY:
            continue
        if u_colour is None:
            yield chip, _NOT_READ
            continue
        rows, columns = np.nonzero(scene.mask == chip["number"])
        reach = plane.to_mm(np.column_stack([columns, rows]).astype(np.float64))
        low, high = reach.min(axis=0) - _RIM_MM, reach.max(axis=0) + _RIM_MM
        size = np.ceil((high - low) * CROP_PX_PER_MM)
        x0, y0, x1, y1 = (float(v) for v in (*low, *(low + size / CROP_PX_PER_MM)))
        box = (x0, y0, x1, y1)
        view = light.apply(plane.linear_view(box, CROP_PX_PER_MM), box)
        top = light.apply(np.ones((1, 1, 3), np.float32), box)[0, 0]
        yield (
            chip,
            tint_of(
                view,
                _mask_on(view.shape[:2], low, scene, opened, int(chip["number"])),
                family=_FAMILY[chip["metal"]],
                u_colour=u_colour,
                clip_level=np.asarray(top, np.float64),
            ),
        )


def _mask_on(
    shape: tuple[int, ...],
    low_mm: npt.NDArray[np.float64],
    scene: SceneFiles,
    opened: OpenedPhoto,
    number: int,
) -> BoolMask:
    """Return a chip's true mask in a view that begins at ``low_mm``."""
    y, x = np.indices(shape[:2])
    at = np.column_stack([x.ravel(), y.ravel()]) + 0.5
    px = opened.plane.to_photo_px(low_mm + at / CROP_PX_PER_MM)
    px = np.rint(px).astype(int)
    last = np.array(scene.mask.shape[::-1]) - 1
    inside = ((px >= 0) & (px <= last)).all(axis=1)
    px = np.clip(px, 0, last)
    return np.asarray(
        ((scene.mask[px[:, 1], px[:, 0]] == number) & inside).reshape(shape[:2]), np.bool_
    )


def rows_of(path: Path, *, true_outlines: bool = False) -> list[HeatRow]:
    """Read the photo that belongs to a truth file, its tints for every metal that has any."""
    scene = load_scene(path)
    metals = {c["metal"] for c in scene.truth["chips"] if c["counts"]}
    families = sorted({_FAMILY[m] for m in metals if m in _FAMILY})
    if not families:
        return []
    try:
        opened = open_scene(scene)
    except VisionError:
        return []
    if true_outlines:
        outlined = _outlined(scene, opened)
        return [_row(scene, _FAMILY[c["metal"]], c, tint) for c, tint in outlined]
    look = look_at(opened.plane, opened.light, bundled.packaged_eye())
    rows = []
    for family in families:
        for found in name_chips(look, opened.plane, opened.light, family=family):
            chip = _match(found, scene)
            if chip is not None and _FAMILY.get(chip["metal"]) == family:
                rows.append(_row(scene, family, chip, found.tint or _NOT_READ))
    return rows


def _row(scene: SceneFiles, family: str, chip: dict[str, Any], tint: ChipTint) -> HeatRow:
    film = tint.film_nm
    return HeatRow(
        scene=scene.name,
        family=family,
        true_nm=float(chip["film_nm"]),
        film_nm=None if film is None else film.value,
        u_nm=None if film is None else film.u,
        bound=film is not None and film.bound is not None,
        name=tint.name,
        candidates=tint.candidates,
        sure=tint.sure,
        misled_by=_misled_by(scene, chip),
    )


def _share(hits: Sequence[bool]) -> str:
    return f"{np.mean(hits):.3f} of {len(hits)}" if len(hits) else "none there"


def _film_lines(rows: Sequence[HeatRow]) -> Iterator[str]:
    """Yield error, doubt and names of films of 12 to 90 nm."""
    asked = [r for r in rows if _FROM_NM <= r.true_nm <= _TO_NM]
    got = [r for r in asked if r.film_nm is not None and not r.bound]
    if not got:
        yield f"films of 12-90 nm: {len(asked)} chips, none answered"
        return
    errors = np.array([abs((r.film_nm or 0.0) - r.true_nm) for r in got])
    us = np.array([r.u_nm or 0.0 for r in got])
    yield (
        f"film 12-90 nm: median error {np.median(errors):.1f} nm, answered with one value "
        f"{len(got) / len(asked):.2f} of {len(asked)} chips in {len({r.scene for r in asked})} "
        f"scenes; within 2 u {np.mean(errors <= 2 * us):.3f}; median u {np.median(us):.1f} nm"
    )
    order = np.argsort(us)
    third = max(1, len(got) // 3)
    yield (
        f"film, third with the smallest u: median error {np.median(errors[order[:third]]):.1f} "
        f"nm; with the largest {np.median(errors[order[-third:]]):.1f} nm"
    )
    named = [r for r in asked if r.name is not None]
    steps = [_steps(r) for r in named]
    yield (
        f"name: right {_share([s == 0 for s in steps])}, or neighbour "
        f"{_share([s <= 1 for s in steps])}"
    )
    told = [min(_apart(name, r) for name in (r.candidates or (r.name or "",))) for r in named]
    count = np.mean([max(len(r.candidates), 1) for r in named]) if named else 0.0
    yield (
        f"name, of all that are told ({count:.1f} on the mean): the true one among them "
        f"{_share([s == 0 for s in told])}, or a neighbour {_share([s <= 1 for s in told])}"
    )
    yield f"name, at best: {_at_best(asked)}"
    sure = [s for s, r in zip(steps, named, strict=True) if r.sure]
    yield (
        f"name, where sure ({len(sure)}): right {_share([s == 0 for s in sure])}, or neighbour "
        f"{_share([s <= 1 for s in sure])}"
    )


def _normal(film_nm: float, true_nm: float) -> float:
    """Return how likely a reading stays below a film if its error has the median asked for."""
    sigma = _ASKED_NM / _NORMAL_MEDIAN
    return 0.5 * (1.0 + erf((film_nm - true_nm) / (sigma * 2**0.5)))


def _evenly(film_nm: float, true_nm: float) -> float:
    """Return the same for a reading that takes n for the tabled one, off by up to a tenth."""
    low, high = true_nm * (1.0 - _N_OFF), true_nm * (1.0 + _N_OFF)
    return float(np.clip((film_nm - low) / (high - low), 0.0, 1.0))


def _at_best(rows: Sequence[HeatRow]) -> str:
    """Return the share of these films that two ideal readers would name, as text."""
    found = []
    for word, below in (("normal error of median 5 nm", _normal), ("n alone", _evenly)):
        right, near = [], []
        for row in rows:
            names = TINTS[: len(TINT_FILM_NM[row.family])]
            k = names.index(tint_name(row.true_nm, row.family))
            bands = [tint_band_nm(name, row.family) for name in names]
            right.append(_between(below, bands[k], bands[k], row.true_nm))
            last = bands[min(k + 1, len(bands) - 1)]
            near.append(_between(below, bands[max(k - 1, 0)], last, row.true_nm))
        found.append(f"{word} right {np.mean(right):.2f}, or neighbour {np.mean(near):.2f}")
    return "; ".join(found)


def _between(
    below: Callable[[float, float], float],
    first: tuple[float, float],
    last: tuple[float, float],
    true_nm: float,
) -> float:
    """Return how likely a reading lies from the lower end of one band to the upper of another.

    Readings below 0 count as bright.
    """
    low = below(first[0], true_nm) if first[0] > 0 else 0.0
    high = below(last[1], true_nm) if np.isfinite(last[1]) else 1.0
    return high - low


def _steps(row: HeatRow) -> int:
    """Return how many names the first one told is from the true one."""
    return _apart(row.name or "", row)


def _apart(name: str, row: HeatRow) -> int:
    return abs(TINTS.index(name) - TINTS.index(tint_name(row.true_nm, row.family)))


def _bright_line(word: str, rows: Sequence[HeatRow]) -> str:
    """Return how often bare chips are called tinted: named so, bright ruled out, surely."""
    read = [r for r in rows if r.name is not None]
    ruled_out = _share(["bright" not in r.candidates for r in read])
    return (
        f"bright, {word}: called tinted (bright ruled out) {ruled_out}, with sureness "
        f"{_share([r.name != 'bright' and r.sure for r in read])}; a tint named before bright "
        f"{_share([r.name != 'bright' for r in read])}"
    )


def lines_of(rows: Sequence[HeatRow]) -> Iterator[str]:
    """Yield the figures as text, one a line."""
    by_family: dict[str, list[HeatRow]] = defaultdict(list)
    for row in rows:
        by_family[row.family].append(row)
    both = [r for r in rows if r.family in ("steel", "titanium")]
    for title, chosen in (("steel and titanium", both), *sorted(by_family.items())):
        for text in _film_lines(chosen):
            yield f"{title} | {text}"
    bare = [r for r in rows if r.true_nm <= 0.0]
    clean = [r for r in bare if not r.misled_by]
    yield _bright_line("clean", clean)
    yield _bright_line(
        "dark oil, warm lamp, coloured wall or hand", [r for r in bare if r.misled_by]
    )
    for word in ("dark oil", "warm lamp", "coloured wall", "hand"):
        yield _bright_line(word, [r for r in bare if word in r.misled_by])
    deep = [r for r in rows if r.true_nm >= _TINTED_NM]
    yield (
        "tinted 20 nm and more: called bright with sureness "
        f"{_share([r.name == 'bright' and r.sure for r in deep])}"
    )


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command; returns the exit code."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    where = parser.add_mutually_exclusive_group(required=True)
    where.add_argument("--set", nargs="+", choices=sorted(SETS))
    where.add_argument("--scenes", nargs="+", type=Path)
    parser.add_argument("--true-outlines", action="store_true")
    parser.add_argument("--most", type=int, help="read only so many scenes of each set")
    parser.add_argument("--workers", type=int, default=cores())
    parser.add_argument("--json", type=Path)
    args = parser.parse_args(argv)
    folders = args.scenes or [cache_folder(name) for name in args.set]
    rows: list[HeatRow] = []
    for folder in folders:
        paths = scene_paths(folder)[: args.most]
        work = partial(rows_of, true_outlines=args.true_outlines)
        for some in spread(work, paths, workers=args.workers, label=folder.name):
            rows += some
    for text in lines_of(rows):
        sys.stdout.write(text + "\n")
    if args.json:
        args.json.write_text(json.dumps([asdict(r) for r in rows], indent=1), encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
