"""What is true of a rendered photo, as the JSON object that lies beside it."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np

from vision.training.scenes import GENERATOR

if TYPE_CHECKING:
    from vision.training.camera import Development
    from vision.training.render import Rendered
    from vision.training.scenes import Placed, Scene
    from vision.training.sweep import Points3

__all__ = ["LEAST_SHARE", "LEAST_VISIBLE_PX", "truth_of"]

#: A chip counts only with this many pixels in view ...
LEAST_VISIBLE_PX = 150
#: ... and with this share of them not covered by other things.
LEAST_SHARE = 0.5


def truth_of(scene: Scene, rendered: Rendered, plan: Development, photo: str) -> dict[str, Any]:
    """Truth of one photo: plane, chips, grains and distractors.

    Positions are millimetres on the card (x right, y down from its upper left corner,
    z up); pixels are those of the upright photo.
    """
    chips = [_chip(scene, rendered, p) for p in scene.chips]
    spots = [c["centre_mm"] for c in chips if c["counts"]] or [c["centre_mm"] for c in chips]
    heart = np.mean(spots, axis=0) if spots else np.array(scene.sheet.size_mm) / 2
    view, light = scene.view, scene.light
    return {
        "schema": "bluecurl.truth/1",
        "seed": scene.seed,
        "generator": GENERATOR,
        "set": scene.set_name,
        "photo": photo,
        "size_px": list(view.size_px),
        "px_from_mm": view.px_from_mm().tolist(),
        "px_per_mm": round(view.px_per_mm(float(heart[0]), float(heart[1])), 4),
        "tilt_deg": round(view.tilt_deg(), 2),
        "card": scene.sheet.card_id,
        "light": {
            "family": light.family,
            "kelvin": round(light.kelvin),
            "lamps": len(light.lamps),
            "gradient_per_100mm": [round(g, 3) for g in light.gradient],
        },
        "families": {
            "side": scene.side,
            "light": light.family,
            "camera": scene.camera[0],
            "bench": scene.bench[0],
            "metals": sorted({p.metal for p in scene.chips}),
        },
        "camera": {k: v for k, v in asdict(plan).items() if k != "seed"},
        "job": scene.job,
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


def _on_card(point: Points3) -> list[float]:
    return [round(float(point[0]), 2), round(-float(point[1]), 2), round(float(point[2]), 2)]


def _chip(scene: Scene, rendered: Rendered, placed: Placed) -> dict[str, Any]:
    chip, sizes = placed.chip, placed.chip.sizes
    visible = int(np.count_nonzero(rendered.mask == placed.number))
    alone = rendered.alone_px[placed.number]
    pixels = scene.view.pixels(chip.points)
    width, height = scene.view.size_px
    inside = bool((pixels >= 0).all() and (pixels <= [width - 1, height - 1]).all())
    share = visible / alone if alone else 0.0
    film = np.concatenate([placed.film.at(chip.tool), placed.film.at(chip.free)])
    step = max(1, len(chip.line) // 500)
    out: dict[str, Any] = {
        "number": placed.number,
        "group": chip.group,
        "form": chip.form,
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
            else (None if value is None else round(value, 3))
        )
    out["film_nm"] = round(float(film.mean()), 2)
    out["film_spread_nm"] = round(float(film.std()), 2)
    middle = (chip.points.min(axis=0) + chip.points.max(axis=0)) / 2
    out["centre_mm"] = _on_card(middle)[:2]
    out["centre_line_mm"] = [_on_card(p) for p in chip.line[::step]]
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
