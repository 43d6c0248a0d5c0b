"""Which thing lies behind each pixel's centre, and how much of a chip would show alone.

Rays are cast with our own camera model, not the renderer's: so mask and truth share
one projection, and the printed card in the picture proves that both agree with it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.training.sweep import Points3
    from vision.training.view import View

__all__ = ["count_alone", "label_picture"]


def label_picture(
    mi: Any,  # noqa: ANN401 - the renderer has no types
    loaded: Any,  # noqa: ANN401
    label_of_shape: dict[str, int],
    view: View,
) -> npt.NDArray[np.uint8]:
    """Cast one ray through each pixel's centre and note the label of what it meets."""
    import drjit as dr  # noqa: PLC0415 - comes with the renderer

    width, height = view.size_px
    y, x = np.mgrid[:height, :width].reshape(2, -1).astype(float)
    hit = loaded.ray_intersect_preliminary(_rays(mi, view, x, y))
    seen = np.asarray(dr.reinterpret_array(mi.UInt32, hit.shape))
    table = np.zeros(int(seen.max()) + 1, dtype=np.uint8)
    for shape in loaded.shapes():
        place = int(np.asarray(dr.reinterpret_array(mi.UInt32, mi.ShapePtr(shape)))[0])
        if place < len(table):
            table[place] = label_of_shape.get(shape.id(), 0)
    return np.asarray(table[seen].reshape(height, width))


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
    hit = mi.load_dict(world).ray_intersect_preliminary(_rays(mi, view, x.ravel(), y.ravel()))
    return int(np.count_nonzero(np.asarray(dr.isfinite(hit.t))))


def _rays(
    mi: Any,  # noqa: ANN401
    view: View,
    x_px: npt.NDArray[np.float64],
    y_px: npt.NDArray[np.float64],
) -> Any:  # noqa: ANN401
    directions = view.rays(x_px, y_px)
    d = [mi.Float(np.ascontiguousarray(directions[:, k], np.float32)) for k in range(3)]
    return mi.Ray3f(mi.Point3f(*[mi.Float(v) for v in view.eye]), mi.Vector3f(*d))
