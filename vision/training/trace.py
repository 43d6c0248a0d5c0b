"""Light along rays through chosen pixels, and what each ray meets first.

Rays are cast with our own camera model, lens included: so picture, mask and truth share
one projection, no picture is ever resampled, and paths go where they are needed. Rays
go in blocks of one size, because the renderer compiles anew for each size; on a graphics
card in larger ones, because each block costs a call whatever its size.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

    from vision.training.view import View

__all__ = ["Hits", "Tracer", "rays_through"]

_BLOCK, _BLOCK_ON_CARD = 1 << 17, 1 << 20
#: Steps that undo the lens; each gains a digit or more.
_LENS_STEPS = 8
_MAX_DEPTH = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Hits:
    """What N rays met first: ``shape`` is the place of its name, ``face`` its triangle."""

    shape: npt.NDArray[np.uint8]
    face: npt.NDArray[np.uint32]
    uv: npt.NDArray[np.float32]


def rays_through(
    mi: Any,  # noqa: ANN401 - the renderer has no types
    view: View,
    x_px: npt.NDArray[np.float32],
    y_px: npt.NDArray[np.float32],
) -> Any:  # noqa: ANN401
    """Return the renderer's rays through pixels of the photo, (N,) each."""
    import drjit as dr  # noqa: PLC0415 - comes with the renderer

    def fixed(value: float) -> Any:  # noqa: ANN401
        return dr.opaque(mi.Float, float(value))

    focal, (middle_x, middle_y) = fixed(1 / view.focal_px), view.middle_px()
    x = (mi.Float(np.ascontiguousarray(x_px, np.float32)) - fixed(middle_x)) * focal
    y = (mi.Float(np.ascontiguousarray(y_px, np.float32)) - fixed(middle_y)) * focal
    k1, k2 = (fixed(k) for k in view.distortion)
    u, v = x, y
    for _ in range(_LENS_STEPS):
        r2 = u * u + v * v
        shrink = 1 / (1 + r2 * (k1 + k2 * r2))
        u, v = x * shrink, y * shrink
    right, down, ahead = view.axes()
    way = [fixed(right[k]) * u + fixed(down[k]) * v + fixed(ahead[k]) for k in range(3)]
    eye = mi.Point3f(*[fixed(e) for e in view.eye])
    return mi.Ray3f(eye, dr.normalize(mi.Vector3f(*way)))


class Tracer:
    """A loaded scene that is looked at through the pixels of a view."""

    def __init__(
        self,
        mi: Any,  # noqa: ANN401
        loaded: Any,  # noqa: ANN401
        view: View,
        places: Mapping[str, int],
        seed: int,
    ) -> None:
        import drjit as dr  # noqa: PLC0415

        self.mi, self.loaded, self.view, self.seed = mi, loaded, view, seed
        self.integrator = mi.load_dict({"type": "path", "max_depth": _MAX_DEPTH})
        self.blocks = 0
        self.block = _BLOCK_ON_CARD if mi.variant().startswith("cuda") else _BLOCK
        ids = {
            int(np.asarray(dr.reinterpret_array(mi.UInt32, mi.ShapePtr(s)))[0]): s.id()
            for s in loaded.shapes()
        }
        self.place_of = np.zeros(max(ids) + 1, np.uint8)
        for number, name in ids.items():
            self.place_of[number] = places.get(name, 0)

    def light(
        self, x_px: npt.NDArray[np.float32], y_px: npt.NDArray[np.float32]
    ) -> tuple[npt.NDArray[np.float32], Hits]:
        """Trace one path through each place, (N,); linear light (N, 3) and first hits."""
        return self._in_blocks(x_px, y_px, lit=True)

    def first(self, x_px: npt.NDArray[np.float32], y_px: npt.NDArray[np.float32]) -> Hits:
        """Only what is met first, (N,)."""
        return self._in_blocks(x_px, y_px, lit=False)[1]

    def _in_blocks(
        self, x_px: npt.NDArray[np.float32], y_px: npt.NDArray[np.float32], *, lit: bool
    ) -> tuple[npt.NDArray[np.float32], Hits]:
        count = len(x_px)
        light = np.zeros((count if lit else 0, 3), np.float32)
        shape, face = np.zeros(count, np.uint8), np.zeros(count, np.uint32)
        uv = np.zeros((count, 2), np.float32)
        for start in range(0, count, self.block):
            part = slice(start, min(start + self.block, count))
            short = part.stop - start
            x, y = (np.resize(a[part], self.block) for a in (x_px, y_px))
            met, colour = self._block(x, y, lit=lit)
            shape[part], face[part], uv[part] = (a[:short] for a in met)
            if lit:
                light[part] = colour[:short]
        return light, Hits(shape=shape, face=face, uv=uv)

    def _block(
        self, x: npt.NDArray[np.float32], y: npt.NDArray[np.float32], *, lit: bool
    ) -> tuple[tuple[Any, Any, Any], Any]:
        import drjit as dr  # noqa: PLC0415

        mi = self.mi
        ray = rays_through(mi, self.view, x, y)
        dr.eval(ray)
        hit = self.loaded.ray_intersect_preliminary(ray, coherent=True)
        si = hit.compute_surface_interaction(ray, mi.RayFlags.UV)
        shape, face, uv = dr.reinterpret_array(mi.UInt32, hit.shape), hit.prim_index, si.uv
        dr.eval(shape, face, uv)
        colour = None
        if lit:
            sampler = mi.load_dict({"type": "independent"})
            number = (self.seed * 1009 + self.blocks) % (1 << 32)
            sampler.seed(dr.opaque(mi.UInt32, number), self.block)
            self.blocks += 1
            sampler.schedule_state()
            dr.eval()
            found, _, _ = self.integrator.sample(
                self.loaded, sampler, mi.RayDifferential3f(ray)
            )
            colour = np.asarray(found).reshape(3, -1).T
        numbers = np.asarray(shape)
        met = (self.place_of[numbers], np.asarray(face), np.asarray(uv).reshape(2, -1).T)
        return met, colour
