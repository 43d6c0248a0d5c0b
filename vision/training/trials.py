"""Trials behind design decisions: what finds chips, which measures hold, what falls apart.

    python -m vision.training.trials --scenes DIR ground|density|coils

``ground``: recall per group of a threshold, a gradient, a background model and the
learned decision, each followed by the same grouping. ``density``: how far each measure
moves when the same photo is seen at 6, 9, 12 and 17 px/mm, against the spread between
groups. ``coils``: how often the turns of a coil come out as one thing.
"""

from __future__ import annotations

import argparse
import io
from collections import defaultdict
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np
from PIL import Image

from vision import bundled
from vision.chips.features import FEATURES
from vision.chips.find import find_chips
from vision.chips.ground import FIND_PX_PER_MM, Answer, judge, whole_ground
from vision.chips.look import look_at, sheet_view
from vision.photo.decode import decode_photo
from vision.training.rows import filled, match_iou, open_scene, scenes_in

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from vision.arrays import BoolMask, Float2, Linear3, Points2
    from vision.photo.plane import Plane
    from vision.training.rows import SceneFiles

    Finder = Callable[[Linear3, Float2, BoolMask], Answer]

__all__ = ["coils_trial", "density_trial", "ground_trial", "main"]

_DENSITIES = (6.0, 9.0, 12.0, 17.0)


def _say(text: str) -> None:
    print(text)


def _light_of(linear: Linear3) -> Float2:
    return np.asarray(np.cbrt(np.clip(linear, 0, 2.5)).mean(axis=2), np.float32)


def _threshold(linear: Linear3, expected: Float2, seen: BoolMask) -> Answer:
    del expected
    return Answer.of_metal(((_light_of(linear) < 0.86) & seen).astype(np.float32))


def _gradient(linear: Linear3, expected: Float2, seen: BoolMask) -> Answer:
    light = cv2.GaussianBlur(_light_of(linear), (0, 0), 0.8)
    edge = cv2.magnitude(cv2.Sobel(light, cv2.CV_32F, 1, 0), cv2.Sobel(light, cv2.CV_32F, 0, 1))
    clear = cv2.dilate((np.abs(expected - 1) > 0.05).astype(np.uint8), np.ones((5, 5))) == 0
    strong = ((edge > 0.35) & seen & clear).astype(np.uint8)
    closed = cv2.morphologyEx(strong, cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
    return Answer.of_metal(np.asarray(closed, np.float32))


def _background(linear: Linear3, expected: Float2, seen: BoolMask) -> Answer:
    """Difference in lightness or colour from the sheet as it should look."""
    root = np.cbrt(np.clip(linear, 0, 2.5))
    want = np.cbrt(expected)
    kernel = np.ones((5, 5), np.uint8)
    low, high = cv2.erode(want, kernel), cv2.dilate(want, kernel)
    light = root.mean(axis=2)
    off = np.maximum(light - high, low - light)
    colour = root.max(axis=2) - root.min(axis=2)
    return Answer.of_metal(np.asarray(((off > 0.08) | (colour > 0.1)) & seen, np.float32))


def _learned(linear: Linear3, expected: Float2, seen: BoolMask) -> Answer:
    return judge(whole_ground(linear, expected), bundled.packaged_eye(), where=seen)


def _find_rings(
    answer: Answer, plane: Plane, box: Sequence[float], seen: BoolMask
) -> list[list[Points2]]:
    out = []
    for find in find_chips(answer, px_per_mm=FIND_PX_PER_MM, seen=seen):
        contours, _ = cv2.findContours(
            find.mask.astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE
        )
        rings = [
            plane.to_photo_px(
                (c.reshape(-1, 2) + np.array([find.col + 0.5, find.row + 0.5])) / FIND_PX_PER_MM
                + (box[0], box[1])
            )
            for c in contours
            if len(c) > 3
        ]
        if rings:
            out.append(rings)
    return out


def ground_trial(scenes: Iterable[SceneFiles]) -> None:
    """Print recall at IoU 0.5 per group, and precision, of four ways to find chips."""
    ways: dict[str, Finder] = {
        "threshold": _threshold,
        "gradient": _gradient,
        "background model": _background,
        "learned": _learned,
    }
    hits: dict[str, dict[str, list[bool]]] = {w: defaultdict(list) for w in ways}
    found: dict[str, list[bool]] = {w: [] for w in ways}
    for scene in scenes:
        opened = open_scene(scene)
        box, linear, expected, seen = sheet_view(opened.plane, opened.light)
        if expected is None:
            continue
        counts = {c["number"]: str(c["group"]) for c in scene.truth["chips"] if c["counts"]}
        for way, finder in ways.items():
            best: dict[int, float] = {}
            for rings in _find_rings(finder(linear, expected, seen), opened.plane, box, seen):
                iou, cover = match_iou(rings, scene)
                top = max(((v, k) for k, v in iou.items() if k < 241), default=(0.0, 0))
                best[top[1]] = max(best.get(top[1], 0.0), top[0])
                ignored = sum(v for k, v in cover.items() if k and k not in counts and k != 255)
                if ignored < 0.3:
                    found[way].append(top[0] >= 0.5)
            for number, group in counts.items():
                hits[way][group].append(best.get(number, 0.0) >= 0.5)
    for way in ways:
        per = ", ".join(f"{g} {np.mean(v):.2f}" for g, v in sorted(hits[way].items()))
        every = [h for v in hits[way].values() for h in v]
        _say(f"{way}: recall {np.mean(every):.2f} ({per}); precision {np.mean(found[way]):.2f}")


def _at_density(scene: SceneFiles, px_per_mm: float) -> SceneFiles | None:
    """Return the scene as a camera further away would have seen it."""
    factor = px_per_mm / float(scene.truth["px_per_mm"])
    if factor > 1.02:
        return None
    photo = decode_photo(scene.photo)
    picture = Image.fromarray(photo.rgb)
    small = picture.resize(
        (round(picture.width * factor), round(picture.height * factor)), Image.Resampling.BOX
    )
    out = io.BytesIO()
    small.save(out, "JPEG", quality=92, icc_profile=photo.icc)
    size = (small.width, small.height)
    mask = cv2.resize(scene.mask, size, interpolation=cv2.INTER_NEAREST)
    areas = np.bincount(mask.ravel(), minlength=256)
    return replace(scene, photo=out.getvalue(), mask=np.asarray(mask, np.uint8), areas=areas)


def density_trial(scenes: Iterable[SceneFiles]) -> None:
    """Print, per measure, its movement with density over the spread between groups."""
    table: dict[str, dict[int, dict[float, dict[str, float]]]] = defaultdict(dict)
    groups: dict[tuple[str, int], str] = {}
    for scene in scenes:
        for density in _DENSITIES:
            seen_at = _at_density(scene, density)
            if seen_at is None:
                continue
            opened = open_scene(seen_at)
            chips = {c["number"]: c for c in scene.truth["chips"] if c["counts"]}
            for seen in look_at(opened.plane, opened.light, bundled.packaged_eye()).seen:
                rings = [opened.plane.to_photo_px(r) for r in seen.outline_mm]
                iou = match_iou(rings, seen_at)[0] if rings else {}
                number = max((k for k in iou if k in chips), key=lambda k: iou[k], default=None)
                if number is None or iou[number] < 0.5:
                    continue
                groups[scene.name, number] = str(chips[number]["group"])
                table[scene.name].setdefault(number, {})[density] = seen.features
    for name in FEATURES:
        moves, by_group = [], defaultdict(list)
        for scene_name, chips_seen in table.items():
            for number, at in chips_seen.items():
                values = [f[name] for f in at.values() if np.isfinite(f[name])]
                if len(values) >= 2:
                    moves.append(np.ptp(values))
                if values:
                    by_group[groups[scene_name, number]].append(float(np.median(values)))
        middles = [np.median(v) for v in by_group.values() if len(v) >= 3]
        spread = float(np.std(middles)) if len(middles) > 2 else float("nan")
        move = float(np.median(moves)) if moves else float("nan")
        ratio = move / max(spread, 1e-6)
        _say(f"{name}: moves {move:.3f}, between groups {spread:.3f}, ratio {ratio:.2f}")


def coils_trial(scenes: Iterable[SceneFiles]) -> None:
    """Print how often coils come out as one thing, by how open they are."""
    tally: dict[str, list[bool]] = defaultdict(list)
    for scene in scenes:
        opened = open_scene(scene)
        look = look_at(opened.plane, opened.light, bundled.packaged_eye())
        best: dict[int, float] = {}
        for seen in look.seen:
            rings = [opened.plane.to_photo_px(r) for r in seen.outline_mm]
            if not rings:
                continue
            own, (r, c) = filled(rings, scene.mask.shape)
            under = scene.mask[r : r + own.shape[0], c : c + own.shape[1]]
            counts = np.bincount(under[own[: under.shape[0], : under.shape[1]]], minlength=256)
            for k in np.flatnonzero(counts[1:241]) + 1:
                share = counts[k] / max((scene.mask == k).sum(), 1)
                best[int(k)] = max(best.get(int(k), 0.0), float(share))
        for chip in scene.truth["chips"]:
            if (
                not chip["counts"]
                or chip["group"] not in ("2", "4", "5")
                or not chip["pitch_mm"]
            ):
                continue
            if str(chip["form"]).endswith(".3"):
                continue
            open_by = chip["pitch_mm"] / max(chip["width_mm"], 1e-3)
            how = "open" if open_by > 1.6 else "tight"
            tally[f"group {chip['group']} {how}"].append(best.get(chip["number"], 0.0) >= 0.7)
    for key, whole in sorted(tally.items()):
        _say(f"{key}: {sum(whole)} of {len(whole)} as one thing")


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command; returns the exit code."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=Path, required=True)
    parser.add_argument("--most", type=int, default=10_000)
    parser.add_argument("trial", choices=("ground", "density", "coils"))
    args = parser.parse_args(argv)
    scenes = [s for i, s in enumerate(scenes_in(args.scenes)) if i < args.most]
    {"ground": ground_trial, "density": density_trial, "coils": coils_trial}[args.trial](scenes)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
