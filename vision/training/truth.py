"""What is true of a rendered photo, as the JSON object that lies beside it.

From millimetres on the card to a pixel of the photo: ``px_from_mm`` gives the pixel of
an ideal lens, ``lens`` moves it to where the real one puts it (:func:`photo_px` does
both). Numbers are rounded to what a pixel shows, so that a scene's truth stays small.
"""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np

from vision.training.lens import bend
from vision.training.scenes import GENERATOR
from vision.training.sweep import arc_lengths, unit

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import Float1, Points2
    from vision.training.camera import Development
    from vision.training.render import Rendered
    from vision.training.scenes import Placed, Scene
    from vision.training.shapes import Chip
    from vision.training.sweep import Points3
    from vision.training.view import View

__all__ = ["LEAST_SHARE", "LEAST_VISIBLE_PX", "photo_px", "px_per_mm_at", "truth_of"]

#: A chip counts only with this many pixels in view ...
LEAST_VISIBLE_PX = 150
#: ... and with this share of them not covered by other things.
LEAST_SHARE = 0.5
#: Points kept of a centre line: one for each so many degrees of turning, or mm of way.
_STEP_DEG, _STEP_MM = 12.0, 4.0
_MOST_POINTS = 200
#: Spacing of the points at which the card's frame is looked at.
_GRID_MM = 2.0
#: Points of all lines of a scene together.
_MOST_IN_SCENE = 1000


def truth_of(scene: Scene, rendered: Rendered, plan: Development, photo: str) -> dict[str, Any]:
    """Truth of one photo: plane, card, light, chips, grains and distractors.

    Positions are millimetres on the card (x right, y down from its upper left corner,
    z up); pixels are those of the upright photo.
    """
    coarser = _coarser(scene)
    chips = [_chip(scene, rendered, p, coarser) for p in scene.chips]
    spots = [c["centre_mm"] for c in chips if c["counts"]] or [c["centre_mm"] for c in chips]
    heart = np.mean(spots, axis=0) if spots else np.array(scene.sheet.size_mm) / 2
    view, light = scene.view, scene.light
    return {
        "schema": "bluecurl.truth/1",
        "seed": scene.seed,
        "generator": GENERATOR,
        "set": scene.set_name,
        "kind": scene.kind,
        "photo": photo,
        "size_px": list(view.size_px),
        "px_from_mm": view.px_from_mm().tolist(),
        "lens": {
            "k1": view.distortion[0],
            "k2": view.distortion[1],
            "focal_px": view.focal_px,
            "middle_px": view.middle_px().tolist(),
        },
        "px_per_mm": round(_density(view, heart), 4),
        "tilt_deg": round(view.tilt_deg(), 2),
        "ground": scene.ground,
        "card": scene.sheet.card_id if scene.ground == "card" else None,
        "card_state": _card_state(scene, rendered) if scene.ground == "card" else None,
        "light": _plain(asdict(light)),
        "families": {
            "side": scene.side,
            "light": light.family,
            "camera": scene.camera[0],
            "bench": scene.bench[0],
            "metals": sorted({p.metal for p in scene.chips}),
        },
        "camera": _plain({k: v for k, v in asdict(plan).items() if k != "seed"}),
        "job": scene.job,
        "line_step_deg": round(_STEP_DEG * coarser, 1),
        "chips": chips,
        "grains": _grains(scene, chips),
        "crumbs": {"count": scene.crumb_count, "mask": 250},
        "distractors": [
            {"kind": p.kind, "mask": 255, "centre_mm": _on_card(p.mesh.points.mean(axis=0))[:2]}
            for p in scene.props
        ]
        + [
            {
                "kind": "oil spot",
                "mask": 0,
                "centre_mm": [round(o.x_mm, 2), round(-o.y_mm, 2)],
                "radius_mm": round(o.radius_mm, 2),
            }
            for o in scene.oil
        ],
    }


def _card_state(scene: Scene, rendered: Rendered) -> dict[str, Any]:
    """Wear of the card, and the shares of its printed frame that the photo shows or hides."""
    x0, y0, x1, y1 = scene.sheet.card_area
    fx0, fy0, fx1, fy1 = scene.sheet.field_area
    x, y = np.meshgrid(np.arange(x0, x1, _GRID_MM), np.arange(y0, y1, _GRID_MM))
    frame = (x < fx0) | (x > fx1) | (y < fy0) | (y > fy1)
    world = np.column_stack([x[frame], y[frame], np.zeros(int(frame.sum()))])
    px = np.rint(scene.view.pixels(world)).astype(int)
    width, height = scene.view.size_px
    seen = ((px >= 0) & (px < (width, height))).all(axis=1)
    under = rendered.mask[px[seen, 1], px[seen, 0]]
    return {
        **_plain(asdict(scene.wear)),
        "frame_in_photo": round(float(seen.mean()), 3),
        "frame_covered": round(float((under > 0).mean()), 3) if len(under) else 0.0,
    }


def photo_px(truth: dict[str, Any], points_mm: Points2) -> Points2:
    """Map (N, 2) points on the card, mm, to pixels of the photo, lens included."""
    h = np.column_stack([points_mm, np.ones(len(points_mm))]) @ np.array(truth["px_from_mm"]).T
    ideal = h[:, :2] / h[:, 2:]
    lens = truth.get("lens")
    if lens is None:
        return np.asarray(ideal)
    middle, focal = np.array(lens["middle_px"]), float(lens["focal_px"])
    bent = bend((ideal - middle) / focal, (lens["k1"], lens["k2"]))
    return np.asarray(bent * focal + middle)


def px_per_mm_at(truth: dict[str, Any], points_mm: Points2) -> npt.NDArray[np.float64]:
    """Return true pixels per mm at (N, 2) points on the card, geometric mean of both axes."""
    h = 0.5
    sides = [
        photo_px(truth, points_mm + np.array(d)) for d in ((-h, 0), (h, 0), (0, -h), (0, h))
    ]
    a, b = (sides[1] - sides[0]) / (2 * h), (sides[3] - sides[2]) / (2 * h)
    return np.sqrt(np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]))


def _density(view: View, at_mm: npt.NDArray[np.float64]) -> float:
    h = 0.5
    x, y = float(at_mm[0]), -float(at_mm[1])
    ends = np.array([(x - h, y, 0), (x + h, y, 0), (x, y - h, 0), (x, y + h, 0)])
    left, right, low, high = view.pixels(ends)
    (ax, ay), (bx, by) = right - left, high - low
    return float(np.sqrt(abs(ax * by - ay * bx))) / (2 * h)


def _plain(value: Any) -> Any:  # noqa: ANN401 - whatever JSON can hold
    """Return plain JSON values; numbers to five digits, no long arrays."""
    if isinstance(value, dict):
        return {k: _plain(v) for k, v in value.items()}
    if isinstance(value, np.ndarray):
        value = value.tolist()
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    if isinstance(value, (bool, int, str)) or value is None:
        return value
    return float(f"{float(value):.5g}")


def _on_card(point: Points3) -> list[float]:
    return [round(float(point[0]), 2), round(-float(point[1]), 2), round(float(point[2]), 2)]


def _efforts(chip: Chip) -> list[Float1]:
    """For each strip of a chip, what has been told up to each point of its line, in steps."""
    efforts = []
    for line in np.split(chip.line, chip.ends[:-1]):
        tangents = unit(np.diff(line, axis=0))
        dots = np.clip((tangents[:-1] * tangents[1:]).sum(axis=1), -1, 1)
        effort = arc_lengths(line) / _STEP_MM
        effort[1:-1] += np.cumsum(np.degrees(np.arccos(dots))) / _STEP_DEG
        effort[-1] += effort[-2] - arc_lengths(line)[-2] / _STEP_MM
        efforts.append(effort)
    return efforts


def _kept(chip: Chip, coarser: float) -> tuple[npt.NDArray[np.intp], list[int]]:
    """Return the points that tell a chip's line, close where it turns, and where strips end.

    ``coarser`` is how many steps lie between two points.
    """
    kept, ends, first = [], [], 0
    for effort in _efforts(chip):
        count = int(np.ceil(effort[-1] / coarser)) + 1
        places = np.searchsorted(effort, np.linspace(0, effort[-1], max(count, 2)))
        kept.append(first + np.unique(np.clip(places, 0, len(effort) - 1)))
        ends.append(sum(map(len, kept)))
        first += len(effort)
    return np.concatenate(kept), ends


def _coarser(scene: Scene) -> float:
    """How many steps between two points keep the lines of a scene within the bounds."""
    whole = [sum(float(e[-1]) for e in _efforts(p.chip)) for p in scene.chips]
    return max(1.0, sum(whole) / _MOST_IN_SCENE, max(whole, default=0.0) / (_MOST_POINTS - 8))


def _chip(scene: Scene, rendered: Rendered, placed: Placed, coarser: float) -> dict[str, Any]:
    chip, sizes = placed.chip, placed.chip.sizes
    visible = int(np.count_nonzero(rendered.mask == placed.number))
    alone = rendered.alone_px[placed.number]
    pixels = scene.view.pixels(chip.points)
    width, height = scene.view.size_px
    inside = bool((pixels >= 0).all() and (pixels <= [width - 1, height - 1]).all())
    share = visible / alone if alone else 0.0
    film = np.concatenate([placed.film.at(chip.tool), placed.film.at(chip.free)])
    out: dict[str, Any] = {
        "number": placed.number,
        "group": chip.group,
        "form": chip.form,
        "also": list(chip.also),
        "metal": placed.metal,
        "visible_px": visible,
        "share_unoccluded": round(share, 3),
        "in_frame": inside,
        "counts": inside and visible >= LEAST_VISIBLE_PX and share >= LEAST_SHARE,
        "population": placed.population,
    }
    for name, value in asdict(sizes).items():
        out[name] = (
            [round(v, 3) for v in value]
            if isinstance(value, tuple)
            else (None if value is None else round(value, 4))
        )
    out["dirt"] = round(placed.dirt, 3)
    out["film_nm"] = round(float(film.mean()), 2)
    out["film_spread_nm"] = round(float(film.std()), 2)
    middle = (chip.points.min(axis=0) + chip.points.max(axis=0)) / 2
    out["centre_mm"] = _on_card(middle)[:2]
    kept, ends = _kept(chip, coarser)
    line = chip.line[kept]
    out["centre_line_mm"] = [_on_card(p) for p in line]
    out["centre_line_px"] = np.round(scene.view.pixels(line), 1).tolist()
    out["line_ends"] = ends
    return out


def _grains(scene: Scene, chips: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Elemental chips of one pass, taken together as a population."""
    out = []
    for number in sorted({p.population for p in scene.chips if p.population is not None}):
        members = [c for c in chips if c["population"] == number]
        shown = [c for c in members if c["visible_px"] > 0 and c["in_frame"]]
        out.append(
            {
                "population": number,
                "numbers": [c["number"] for c in members],
                "count": len(shown),
                "median_size_mm": round(float(np.median([c["extent_mm"] for c in shown])), 3)
                if shown
                else None,
                "visible_px": sum(c["visible_px"] for c in members),
            }
        )
    return out
