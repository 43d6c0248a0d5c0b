"""How much of a chip would show were it alone in the world."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from vision.training.trace import rays_through

if TYPE_CHECKING:
    from vision.training.sweep import Points3
    from vision.training.view import View

__all__ = ["count_alone"]


def count_alone(mi: Any, shapes: list[Any], points: Points3, view: View) -> int:  # noqa: ANN401
    """Count the pixels that some shapes would cover were nothing else in the world.

    Only the part inside the frame counts.
    """
    import drjit as dr  # noqa: PLC0415

    world = {"type": "scene", **{f"part{k}": shape for k, shape in enumerate(shapes)}}
    last = np.array(view.size_px) - 1
    pixels = view.pixels(points)
    low = np.floor(pixels.min(axis=0)).clip(0, last)
    high = np.ceil(pixels.max(axis=0)).clip(0, last)
    x, y = np.meshgrid(np.arange(low[0], high[0] + 1), np.arange(low[1], high[1] + 1))
    ray = rays_through(mi, view, x.ravel().astype(np.float32), y.ravel().astype(np.float32))
    hit = mi.load_dict(world).ray_intersect_preliminary(ray)
    return int(np.count_nonzero(np.asarray(dr.isfinite(hit.t))))
