"""Path-trace a scene with Mitsuba 3 and find out which pixel shows which thing."""

from __future__ import annotations

import ctypes.util
import os
import re
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from vision.training.families import families
from vision.training.films import TintScale, tint_scale
from vision.training.labels import count_alone, label_picture
from vision.training.lens import photo_from_ideal, wide_enough
from vision.training.lights import flash_place
from vision.training.renderable import as_shape, bitmap
from vision.training.room import room
from vision.training.sensor import sight_of
from vision.training.surfaces import dirt_cover, slope_map
from vision.training.underlay import bench_shape, card_shape

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.training.lights import Flash
    from vision.training.props import Prop
    from vision.training.scenes import Placed, Scene
    from vision.training.sweep import Mesh

__all__ = ["CRUMBS", "DISTRACTOR", "Rendered", "open_renderer", "render"]

#: Mask values beside 0 (ground) and 1... (chip numbers).
CRUMBS = 250
DISTRACTOR = 255

_SPP_PER_PASS = 8
#: Radius of the phone's flash with the glare round it.
_FLASH_MM = 4.0
#: Paths in flight at once, which sets the memory that a pass takes.
_PATHS_PER_PASS = 24_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Rendered:
    """Linear picture (1 = white sheet in full light), mask and per chip what shows."""

    linear: npt.NDArray[np.float32]
    mask: npt.NDArray[np.uint8]
    alone_px: dict[int, int]
    """Pixels that each chip would cover were it alone in the world."""


def open_renderer() -> Any:  # noqa: ANN401 - the library has no types
    """Load Mitsuba with the fastest variant that works here.

    Raises
    ------
    RuntimeError
        The extra ``train`` is not installed.
    """
    if "DRJIT_LIBLLVM_PATH" not in os.environ:
        found = _newest_llvm()
        if found is not None:
            os.environ["DRJIT_LIBLLVM_PATH"] = found
    try:
        import mitsuba  # noqa: PLC0415 - heavy and optional
    except ImportError as error:
        raise RuntimeError('rendering needs the extra "train"') from error
    mi: Any = mitsuba
    wish = os.environ.get("BLUECURL_RENDER_VARIANT", "llvm_ad_rgb")
    mi.set_variant(wish)
    return mi


def _newest_llvm() -> str | None:
    """Newest LLVM library that the system's linker knows; old ones crash the tracer."""
    tool = shutil.which("ldconfig") or "/sbin/ldconfig"
    try:
        listing = subprocess.run(  # noqa: S603 - fixed command, no outside input
            [tool, "-p"], capture_output=True, text=True, check=False
        ).stdout
    except OSError:
        return ctypes.util.find_library("LLVM")
    best: tuple[int, str] | None = None
    for line in listing.splitlines():
        hit = re.search(r"libLLVM(?:-(\d+))?\.so(?:\.(\d+))?.*=> (\S+)", line)
        if hit:
            version = int(hit.group(1) or hit.group(2) or 0)
            if best is None or version > best[0]:
                best = (version, hit.group(3))
    return best[1] if best and Path(best[1]).exists() else None


def render(scene: Scene, samples: int = 24) -> Rendered:
    """Render one scene.

    Parameters
    ----------
    scene : Scene
    samples : int
        Light paths per pixel; rounded up to whole passes.
    """
    mi = open_renderer()
    world = _World(mi, scene)
    loaded = mi.load_dict(world.description())
    width, height = wide_enough(scene.view).size_px
    each = int(np.clip(_PATHS_PER_PASS // (width * height), 1, _SPP_PER_PASS))
    passes = -(-samples // each)
    total = np.zeros((height, width, 3), dtype=np.float32)
    for k in range(passes):
        image = mi.render(loaded, spp=each, seed=scene.seed * 1000 + k)
        total += np.asarray(image, dtype=np.float32).reshape(height, width, -1)[:, :, :3]
    mask = label_picture(mi, loaded, world.label_of_shape, scene.view)
    alone = {
        p.number: count_alone(mi, world.shapes_of(p), p.chip.points, scene.view)
        for p in scene.chips
    }
    linear = photo_from_ideal(np.asarray(total / passes, dtype=np.float32), scene.view)
    return Rendered(linear=linear, mask=mask, alone_px=alone)


class _World:
    """Builds the renderer's description of a scene; keeps track of the labels."""

    def __init__(self, mi: Any, scene: Scene) -> None:  # noqa: ANN401
        self.mi = mi
        self.scene = scene
        self.rng = np.random.default_rng([scene.seed, 7])
        self.label_of_shape: dict[str, int] = {}
        self.scales: dict[tuple[str, float], TintScale] = {}
        self.seen = sight_of(scene)

    def description(self) -> dict[str, Any]:
        scene, t = self.scene, self.mi.ScalarTransform4f
        out: dict[str, Any] = {
            "type": "scene",
            "integrator": {"type": "path", "max_depth": 6},
            "sensor": self._sensor(),
            "room": {
                "type": "envmap",
                "bitmap": self.mi.Bitmap(room(scene.light, scene.view, self.seen)),
                "to_world": t().rotate([1, 0, 0], 90),
            },
            "bench": bench_shape(self.mi, scene),
        }
        if scene.ground == "card":
            out["card"] = card_shape(self.mi, scene)
        if scene.light.flash is not None:
            out["flash"] = self._flash(scene.light.flash)
        sides = {"tool": self._metal(tool=True), "free": self._metal(tool=False)}
        for placed in scene.chips:
            for side, mesh in (("tool", placed.chip.tool), ("free", placed.chip.free)):
                name = f"chip{placed.number}_{side}"
                colours = self._tint(placed, mesh, dim=side == "free")
                out[name] = as_shape(self.mi, name, mesh, sides[side], colours)
                self.label_of_shape[name] = placed.number
        if scene.crumbs is not None:
            metal = scene.chips[0] if scene.chips else None
            colours = (
                self._tint(metal, scene.crumbs, dim=True)
                if metal
                else np.full((len(scene.crumbs.points), 3), 0.4)
            )
            out["crumbs"] = as_shape(self.mi, "crumbs", scene.crumbs, sides["free"], colours)
            self.label_of_shape["crumbs"] = CRUMBS
        for k, prop in enumerate(scene.props):
            name = f"prop{k}"
            tints = np.tile(prop.rgb, (len(prop.mesh.points), 1))
            if prop.colours is not None:
                tints = prop.colours
            out[name] = as_shape(self.mi, name, prop.mesh, self._stuff(prop), tints)
            self.label_of_shape[name] = DISTRACTOR
        return out

    def _stuff(self, prop: Prop) -> Any:  # noqa: ANN401
        return self.mi.load_dict(
            {
                "type": "twosided",
                "bsdf": {
                    "type": "principled",
                    "base_color": {"type": "mesh_attribute", "name": "vertex_tint"},
                    "metallic": 1.0 if prop.metallic else 0.0,
                    "roughness": prop.roughness,
                },
            }
        )

    def shapes_of(self, placed: Placed) -> list[Any]:
        """Both sides of a chip without colour, to be looked at alone."""
        grey = self.mi.load_dict({"type": "diffuse"})
        return [
            as_shape(self.mi, s, getattr(placed.chip, s), grey, None) for s in ("tool", "free")
        ]

    def _flash(self, flash: Flash) -> dict[str, Any]:
        """Hang a small glowing ball beside the lens; it gives its share of the light."""
        view = self.scene.view
        away = float(np.linalg.norm(np.array(view.eye) - np.array(view.target)))
        slant = float(np.cos(np.radians(view.tilt_deg())))
        radiance = flash.share * (away / _FLASH_MM) ** 2 / slant
        return {
            "type": "sphere",
            "center": list(flash_place(flash, view)),
            "radius": _FLASH_MM,
            "emitter": {"type": "area", "radiance": {"type": "rgb", "value": radiance}},
        }

    def _sensor(self) -> dict[str, Any]:
        view, t = wide_enough(self.scene.view), self.mi.ScalarTransform4f
        return {
            "type": "perspective",
            "fov": view.fov_deg,
            "fov_axis": "x",
            "near_clip": 1.0,
            "far_clip": 5000.0,
            "to_world": t().look_at(
                origin=list(view.eye), target=list(view.target), up=list(view.up)
            ),
            "film": {
                "type": "hdrfilm",
                "width": view.size_px[0],
                "height": view.size_px[1],
                "rfilter": {"type": "box"},
                "pixel_format": "rgb",
                "component_format": "float32",
            },
            "sampler": {"type": "independent", "sample_count": _SPP_PER_PASS},
        }

    def _metal(self, *, tool: bool) -> Any:  # noqa: ANN401
        """One side of all chips; the colour travels with the vertices."""
        surface = self.scene.surface
        lamella = surface["lamella_mm"]
        slopes = slope_map(
            self.rng,
            along_mm=3.0 if tool else lamella,
            across_mm=0.03 if tool else 5 * lamella,
            slope=surface["tool_slope" if tool else "free_slope"],
        )
        return self.mi.load_dict(
            {
                "type": "twosided",
                "bsdf": {
                    "type": "normalmap",
                    "normalmap": bitmap(self.mi, slopes),
                    "bsdf": {
                        "type": "principled",
                        "base_color": {"type": "mesh_attribute", "name": "vertex_tint"},
                        "metallic": 1.0,
                        "roughness": surface["tool_roughness" if tool else "free_roughness"]
                        * (1 - 0.45 * surface["oil"]),
                        "clearcoat": surface["oil"],
                        "clearcoat_gloss": 0.9,
                    },
                },
            }
        )

    def _tint(self, placed: Placed, mesh: Mesh, *, dim: bool) -> npt.NDArray[np.float64]:
        film = placed.film
        key = (placed.metal, film.spread)
        if key not in self.scales:
            metal = families("metals", self.scene.side)[placed.metal]
            self.scales[key] = tint_scale(
                metal,
                self.seen,
                seed=self.scene.seed,
                n_factor=film.n_factor,
                spread=film.spread,
            )
        colours = self.scales[key].at(film.at(mesh))
        colours = colours * (self.scene.surface["free_dimming"] if dim else 1.0)
        if placed.dirt:
            rng = np.random.default_rng([self.scene.seed, placed.number, 13])
            cover = placed.dirt * dirt_cover(rng, mesh)[:, None]
            colours = colours * (1 - cover) + np.array([0.15, 0.08, 0.045]) * cover
        return colours
