"""Is the truth true? The files of a set checked against themselves and open libraries.

Each scene: developed length from radius, pitch and turns; the kept points of the centre
line against that length; the centre line inside the chip's own mask; pixels of the line
from its millimetres; the same seed drawn again. Over the set: film colours against
``tmm`` and ``colour-science`` (extra ``test``), and how many chips count.
"""

from __future__ import annotations

import math
import tomllib
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from functools import partial
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from vision.training import shapes
from vision.training.families import families
from vision.training.films import film_colour
from vision.training.pool import spread
from vision.training.rows import load_scene, scene_paths
from vision.training.scenes import GENERATOR
from vision.training.sets import SETS, scene_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    import numpy.typing as npt

    from vision.training.rows import SceneFiles

__all__ = [
    "Findings",
    "check_folder",
    "check_scene",
    "film_gaps",
    "films_of",
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
#: Colour difference, CIEDE2000: eye functions are fits, one nm of film is 3 near purple.
FILM_GAP_MAX = 2.0
_MOST_FILMS = 40


@dataclass(slots=True)
class Findings:
    """What was checked in one scene or a whole set, and every complaint as a line."""

    scenes: int = 0
    lengths: list[float] = field(default_factory=list)
    polylines: list[float] = field(default_factory=list)
    inside: list[float] = field(default_factory=list)
    redrawn: int = 0
    counts: Counter[str] = field(default_factory=Counter)
    forms: Counter[str] = field(default_factory=Counter)
    grounds: Counter[str] = field(default_factory=Counter)
    films: set[tuple[str, str, int]] = field(default_factory=set)
    complaints: list[str] = field(default_factory=list)

    def add(self, other: Findings) -> None:
        """Take over what was found in another scene."""
        self.scenes += other.scenes
        self.redrawn += other.redrawn
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


def _polyline_gap(chip: dict[str, Any]) -> float:
    parts = np.split(np.array(chip["centre_line_mm"]), chip["line_ends"][:-1])
    way = sum(float(np.linalg.norm(np.diff(p, axis=0), axis=1).sum()) for p in parts)
    return way / float(chip["length_mm"]) - 1


def _inside(chip: dict[str, Any], scene: SceneFiles) -> float:
    """Return the share of the line's points that lie on the chip, give half its width."""
    line = np.rint(np.array(chip["centre_line_px"])).astype(int)
    half = 0.5 * chip["width_mm"] * scene.truth["px_per_mm"]
    reach = int(np.ceil(half)) + 2
    (x0, y0), (x1, y1) = line.min(axis=0) - reach, line.max(axis=0) + reach + 1
    x0, y0 = max(int(x0), 0), max(int(y0), 0)
    own = (scene.mask[y0 : int(y1), x0 : int(x1)] == chip["number"]).astype(np.uint8)
    wide = cv2.dilate(own, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1,) * 2))
    x = np.clip(line[:, 0] - x0, 0, wide.shape[1] - 1)
    y = np.clip(line[:, 1] - y0, 0, wide.shape[0] - 1)
    return float(wide[y, x].mean())


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
        out.complaints += [f"{scene.name}: {line}" for line in _redrawn(truth)]
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
        if abs(gap) > LENGTH_GAP_MAX:
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
        out.inside.append(inside)
        if inside < INSIDE_MIN:
            out.complaints.append(f"{who}: {100 * inside:.0f} % of its line lies on it")


def _redrawn(truth: dict[str, Any]) -> Iterator[str]:
    """Draw the scene of a truth again; yield where it is another, or contradicts itself."""
    scene = scene_of(truth["set"], truth["seed"] - SETS[truth["set"]].first)
    there = [(c["number"], c["form"], c["length_mm"], c["film_nm"]) for c in truth["chips"]]
    here = []
    for p in scene.chips:
        film = np.concatenate([p.film.at(p.chip.tool), p.film.at(p.chip.free)])
        length = round(p.chip.sizes.length_mm, 4)
        here.append((p.number, p.chip.form, length, round(float(film.mean()), 2)))
        for line in shapes.self_check(p.chip):
            # a bent card dips under the plane, and its chips with it
            if not (scene.wear.sagitta_mm and line.startswith("reaches")):
                yield f"chip {p.number} ({p.chip.form}): {line}"
    if here != there:
        yield "its seed gives another scene today"


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


def film_gaps(films: Iterable[tuple[str, str, int]]) -> dict[tuple[str, str, int], float]:
    """Return CIEDE2000 between our film colours and those of tmm with colour-science.

    Films whose colour lies outside sRGB are left out: there ours is clipped on purpose.
    """
    import colour  # noqa: PLC0415 - extra "test"

    gaps = {}
    for base, film, nm in films:
        linear = film_colour(base, film, float(nm))
        if (linear <= 0).any():
            continue
        here = colour.XYZ_to_Lab(colour.RGB_to_XYZ(linear, "sRGB"))
        there = _library_lab(base, film, float(nm))
        gaps[base, film, nm] = float(colour.delta_E(here, there, method="CIE 2000"))
    return gaps


def _library_lab(base: str, film: str, film_nm: float) -> Any:  # noqa: ANN401 - untyped
    """CIELAB of a film under D65 as open libraries see it."""
    import colour  # noqa: PLC0415
    import tmm  # type: ignore[import-untyped]  # noqa: PLC0415

    table = tomllib.loads(files("vision.training").joinpath("optical.toml").read_text("utf-8"))
    waves = np.arange(380.0, 781.0, 5.0)

    def index(name: str) -> npt.NDArray[np.complex128]:
        n, k = (np.interp(waves, table["wavelength_nm"], table[name][part]) for part in "nk")
        return np.asarray(n + 1j * k)

    layer, metal = index(film), index(base)
    stack = [np.inf, film_nm, np.inf]
    share = {
        float(w): tmm.coh_tmm("s", [1, f, m], stack, 0, float(w))["R"]
        for w, f, m in zip(waves, layer, metal, strict=True)
    }
    shape = colour.SpectralShape(380, 780, 5)
    eye = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
    xyz = colour.sd_to_XYZ(
        colour.SpectralDistribution(share),
        cmfs=eye,
        illuminant=colour.SDS_ILLUMINANTS["D65"].copy().align(shape),
        method="Integration",
    )
    return colour.XYZ_to_Lab(xyz / 100)


def _some(films: set[tuple[str, str, int]]) -> list[tuple[str, str, int]]:
    """Return films spread evenly over what was met, by metal and thickness."""
    ranked = sorted(films)
    step = max(1, -(-len(ranked) // _MOST_FILMS))
    return ranked[::step]


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
    yield f"scenes {found.scenes}, drawn again {found.redrawn}"
    yield _line("length from radius, pitch, turns, off by", found.lengths, "most 0.03")
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


def films_of(found: Findings) -> dict[tuple[str, str, int], float]:
    """Return the colour gaps of some films of a set; empty where the libraries are missing."""
    try:
        return film_gaps(_some(found.films))
    except ImportError:
        return {}
