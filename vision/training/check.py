"""Is the truth true? The files of a set checked against themselves and open libraries.

Each scene: developed length from radius, pitch and turns; the kept points of the centre
line against that length; the centre line inside the chip's own mask; the same seed drawn
again. Over the set: film colours against ``tmm`` and ``colour-science`` (extra ``test``),
and how many chips count.

A seed gives the same scene again on the same kind of processor. On another one, scenes with
nests and long coils come out otherwise now and then: thousands of steps that let a line
settle make the last bit of a sum visible. The checksums of the manifest tell such pictures.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from vision.training import shapes
from vision.training.families import families
from vision.training.film_check import FILM_GAP_MAX
from vision.training.pool import spread
from vision.training.rows import load_scene, scene_paths
from vision.training.scenes import GENERATOR
from vision.training.sets import SETS, scene_of
from vision.training.sweep import arc_lengths

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from vision.arrays import Float1
    from vision.training.rows import SceneFiles
    from vision.training.scenes import Scene
    from vision.training.sweep import Points3

__all__ = [
    "Findings",
    "check_folder",
    "check_scene",
    "length_gap",
    "report",
]

#: Share of a length by which rounding and drifting radius may move it.
LENGTH_GAP_MAX = 0.03
#: Chords are shorter than the line; 24 degrees a step take 0.7 %. Lines that crowded scenes
#: tell more coarsely are not compared.
POLYLINE_GAP_MAX = 0.03
_FINE_DEG = 24.0
INSIDE_MIN = 0.97
_CLEAR_SHARE = 0.9
#: Ends run out into tips that are thinner than a pixel and show in no mask: so much of a
#: strip's length, and so many mm at most, may be missing there.
_TIP_SHARE, _TIP_MM = 0.15, 2.5
#: What a curl told without a pitch may climb, in widths: an arc in all, a spiral each turn.
_ARC_CLIMB, _SPIRAL_CLIMB = 0.5, 1.0
#: Smallest and largest radius of an arc that opens, in mean ones.
_ARC_OPENS = (0.82, 1.19)


@dataclass(slots=True)
class Findings:
    """What was checked in one scene or a whole set, and every complaint as a line."""

    scenes: int = 0
    lengths: list[float] = field(default_factory=list)
    climbing: int = 0
    """Arcs and spirals longer than their curl by more than rounding, because they climb."""
    polylines: list[float] = field(default_factory=list)
    inside: list[float] = field(default_factory=list)
    redrawn: int = 0
    otherwise: int = 0
    """Seeds that give another scene on this processor."""
    counts: Counter[str] = field(default_factory=Counter)
    forms: Counter[str] = field(default_factory=Counter)
    grounds: Counter[str] = field(default_factory=Counter)
    films: set[tuple[str, str, int]] = field(default_factory=set)
    complaints: list[str] = field(default_factory=list)

    def add(self, other: Findings) -> None:
        """Take over what was found in another scene."""
        self.scenes += other.scenes
        self.redrawn += other.redrawn
        self.otherwise += other.otherwise
        self.climbing += other.climbing
        self.lengths += other.lengths
        self.polylines += other.polylines
        self.inside += other.inside
        self.counts += other.counts
        self.forms += other.forms
        self.grounds += other.grounds
        self.films |= other.films
        self.complaints += other.complaints


def length_gap(chip: dict[str, Any]) -> float | None:
    """Return by which share the length from radius, pitch and turns is off the stated one.

    A helix of radius rho and pitch p is turns * hypot(2 pi rho, p) long; flat curls have
    no pitch. ``None`` for chips without turns.
    """
    rho, turns = chip["curl_radius_mm"], chip["turns"]
    if not rho or not turns or str(chip["form"]).endswith(".3"):
        return None
    length = turns * math.hypot(2 * math.pi * rho, chip["pitch_mm"] or 0.0)
    return float(length / chip["length_mm"] - 1)


def _strips(chip: dict[str, Any]) -> list[Points3]:
    """Kept points of each strip of a chip, mm."""
    return np.split(np.array(chip["centre_line_mm"]), chip["line_ends"][:-1])


def _left_of_tip(strip: Points3) -> Float1:
    """For each point of a strip, how far a tip that shows in no mask may go on, mm."""
    way = arc_lengths(strip)
    tip = min(_TIP_SHARE * float(way[-1]), _TIP_MM)
    return np.asarray(np.maximum(tip - np.minimum(way, way[-1] - way), 0.0))


def _polyline_gap(chip: dict[str, Any]) -> float:
    way = sum(float(arc_lengths(strip)[-1]) for strip in _strips(chip))
    return way / float(chip["length_mm"]) - 1


def _longest_gap(chip: dict[str, Any]) -> float:
    """Like :func:`length_gap`, for the longest line that fits radius, turns and pitch.

    Arcs and spirals are told without a pitch, yet they climb a little and open outwards:
    their line is the hypotenuse of girth, climb and opening.
    """
    gap = length_gap(chip)
    if gap is None or chip["pitch_mm"]:
        return gap or 0.0
    rho, turns, width = chip["curl_radius_mm"], chip["turns"], chip["width_mm"]
    low, high = chip.get("curl_radius_range_mm") or (rho * share for share in _ARC_OPENS)
    climb = width * max(_ARC_CLIMB, _SPIRAL_CLIMB * turns)
    girth = (1 + gap) * chip["length_mm"]
    return float(math.hypot(girth, climb, high - low) / chip["length_mm"] - 1)


def _inside(chip: dict[str, Any], scene: SceneFiles) -> float | None:
    """Return the share of the line's points that lie on the chip, give half its width.

    Points under other things are left out (``None`` when that is all of them), and those
    near an end of a strip may lie in a tip too thin for the mask.
    """
    height, width = scene.mask.shape
    line = np.rint(np.array(chip["centre_line_px"])).astype(int)
    x, y = line[:, 0].clip(0, width - 1), line[:, 1].clip(0, height - 1)
    density = scene.truth["px_per_mm"]
    tips = np.concatenate([_left_of_tip(part) for part in _strips(chip)])
    reach = np.ceil(0.5 * chip["width_mm"] * density) + 2 + tips * density
    most = int(reach.max()) + 1
    x0, y0 = max(x.min() - most, 0), max(y.min() - most, 0)
    near = scene.mask[y0 : y.max() + most + 1, x0 : x.max() + most + 1]
    other = (near != chip["number"]).astype(np.uint8)
    away = cv2.distanceTransform(other, cv2.DIST_L2, 5)[y - y0, x - x0]
    open_to_view = np.isin(scene.mask[y, x], (0, chip["number"]))
    if not open_to_view.any():
        return None
    return float((away <= reach)[open_to_view].mean())


def check_scene(scene: SceneFiles, *, redraw: bool = True) -> Findings:
    """Check one scene; ``redraw`` also draws its seed again and compares."""
    truth, out = scene.truth, Findings(scenes=1)
    if truth["generator"] != GENERATOR:
        out.complaints.append(f"{scene.name}: made by {truth['generator']}, not {GENERATOR}")
    out.grounds[truth["ground"]] += 1
    for chip in truth["chips"]:
        _check_chip(chip, scene, out)
    if redraw and truth["set"] in SETS:
        out.redrawn = 1
        again = scene_of(truth["set"], truth["seed"] - SETS[truth["set"]].first)
        if not _same(again, truth):
            out.otherwise = 1
            out.complaints.append(f"{scene.name}: its seed gives another scene here")
        out.complaints += [f"{scene.name}: {line}" for line in _faults(again)]
    return out


def _check_chip(chip: dict[str, Any], scene: SceneFiles, out: Findings) -> None:
    who = f"{scene.name}: chip {chip['number']} ({chip['form']})"
    if chip["counts"]:
        out.counts[str(chip["group"])] += 1
        out.forms[str(chip["form"])] += 1
    metal = families("metals", scene.truth["families"]["side"])[chip["metal"]]
    if "film" in metal and chip["film_nm"] > 0:
        out.films.add((metal["base"], metal["film"], round(chip["film_nm"])))
    gap = length_gap(chip)
    if gap is not None:
        out.lengths.append(abs(gap))
        climbs = gap < -LENGTH_GAP_MAX <= _longest_gap(chip)
        out.climbing += climbs
        if abs(gap) > LENGTH_GAP_MAX and not climbs:
            out.complaints.append(f"{who}: length from its curl is off by {100 * gap:.1f} %")
    if scene.truth["line_step_deg"] <= _FINE_DEG:
        gap = _polyline_gap(chip)
        out.polylines.append(abs(gap))
        if abs(gap) > POLYLINE_GAP_MAX:
            out.complaints.append(
                f"{who}: its centre line is off its length by {100 * gap:.1f} %"
            )
    if chip["counts"] and chip["share_unoccluded"] >= _CLEAR_SHARE:
        inside = _inside(chip, scene)
        if inside is not None:
            out.inside.append(inside)
            if inside < INSIDE_MIN:
                out.complaints.append(f"{who}: {100 * inside:.0f} % of its line lies on it")


def _same(again: Scene, truth: dict[str, Any]) -> bool:
    """Tell whether a scene has the chips, lengths and films that a truth tells."""
    there = [(c["number"], c["form"], c["length_mm"], c["film_nm"]) for c in truth["chips"]]
    here = []
    for p in again.chips:
        film = np.concatenate([p.film.at(p.chip.tool), p.film.at(p.chip.free)])
        length = round(p.chip.sizes.length_mm, 4)
        here.append((p.number, p.chip.form, length, round(float(film.mean()), 2)))
    return here == there


def _faults(scene: Scene) -> Iterator[str]:
    """Yield where the chips of a scene contradict themselves."""
    for p in scene.chips:
        for line in shapes.self_check(p.chip):
            # a bent card dips under the plane, and its chips with it
            if not (scene.wear.sagitta_mm and line.startswith("reaches")):
                yield f"chip {p.number} ({p.chip.form}): {line}"


def _check_file(path: Path, *, every: int) -> Findings:
    scene = load_scene(path)
    return check_scene(scene, redraw=int(scene.truth["seed"]) % every == 0)


def check_folder(
    folder: Path, *, workers: int = 1, every: int = 1, label: str = ""
) -> Findings:
    """Check all scenes of a folder; every so many-th is drawn again."""
    total = Findings()
    work = partial(_check_file, every=every)
    for found in spread(work, scene_paths(folder), workers=workers, label=label):
        total.add(found)
    return total


def _line(title: str, values: Sequence[float], limit: str) -> str:
    if not values:
        return f"{title}: none"
    middle, worst = float(np.median(values)), float(np.max(values))
    return (
        f"{title}: {len(values)} chips, median {middle:.4f}, "
        f"99 % {np.percentile(values, 99):.4f}, most {worst:.4f} ({limit})"
    )


def report(found: Findings, gaps: dict[tuple[str, str, int], float]) -> Iterator[str]:
    """Yield what a person reads: figures, counts, complaints by kind with examples."""
    same = found.redrawn - found.otherwise
    yield f"scenes {found.scenes}, drawn again {found.redrawn}, of these the same {same}"
    yield _line("length from radius, pitch, turns, off by", found.lengths, "most 0.03")
    yield f"  off by more because arcs and spirals climb, as far as they may: {found.climbing}"
    yield _line("kept centre line, off its length by", found.polylines, "most 0.03")
    outside = [1 - share for share in found.inside]
    yield _line("centre line outside its own mask", outside, "most 0.03")
    if gaps:
        worst = max(gaps, key=lambda k: gaps[k])
        middle = float(np.median(list(gaps.values())))
        yield (
            f"film colours against tmm and colour-science: {len(gaps)} films, median "
            f"CIEDE2000 {middle:.2f}, most {gaps[worst]:.2f} ({worst}; limit {FILM_GAP_MAX})"
        )
    yield "chips that count, by group: " + _tally(found.counts)
    yield "chips that count, by form: " + _tally(found.forms)
    yield "grounds: " + _tally(found.grounds)
    kinds: dict[str, list[str]] = defaultdict(list)
    for line in found.complaints:
        kinds["".join(c for c in line.rpartition(": ")[2] if not c.isdigit())].append(line)
    yield f"complaints: {len(found.complaints)}"
    for lines in sorted(kinds.values(), key=len, reverse=True)[:20]:
        yield f"  {len(lines)} like: {lines[0]}"


def _tally(counts: Counter[str]) -> str:
    whole = sum(counts.values())
    return ", ".join(f"{k} {n}" for k, n in sorted(counts.items())) + f"; together {whole}"
