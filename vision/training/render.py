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
from vision.training.ground_light import Paint, picture_of
from vision.training.labels import count_alone
from vision.training.lights import flash_place
from vision.training.renderable import as_shape, bitmap
from vision.training.room import room
from vision.training.sensor import sight_of
from vision.training.surfaces import dirt_cover, slope_map
from vision.training.sweep import join
from vision.training.trace import Tracer
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

#: Places of grounds among the shapes follow those of things.
_GROUNDS = 10
#: Radius of the phone's flash with the glare round it.
_FLASH_MM = 4.0


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
        Light paths per pixel of things and edges; the ground gets fewer.
    """
    mi = open_renderer()
    world = _World(mi, scene)
    loaded = mi.load_dict(world.description())
    places = {name: k for k, name in enumerate(world.labels, start=1)}
    places |= {name: _GROUNDS + k for k, name in enumerate(world.paints)}
    tracer = Tracer(mi, loaded, scene.view, places, scene.seed)
    width, height = scene.view.size_px
    y, x = np.mgrid[:height, :width].reshape(2, -1).astype(np.float32)
    hits = tracer.first(x, y)
    mask = np.zeros(len(x), np.uint8)
    for name, labels in world.labels.items():
        mine = hits.shape == places[name]
        mask[mine] = labels[hits.face[mine]]
    alone = {
        p.number: count_alone(mi, world.shapes_of(p), p.chip.points, scene.view)
        for p in scene.chips
    }
    paints = {places[name]: paint for name, paint in world.paints.items()}
    linear = picture_of(tracer, hits, paints, samples, scene.seed)
    return Rendered(linear=linear, mask=mask.reshape(height, width), alone_px=alone)


def _labels_of(parts: list[tuple[Mesh, npt.NDArray[np.float64], int]]) -> npt.NDArray[np.uint8]:
    """Label of each triangle of joined meshes."""
    sizes = [len(mesh.faces) for mesh, _, _ in parts]
    return np.repeat([number for _, _, number in parts], sizes).astype(np.uint8)


class _World:
    """Builds the renderer's description of a scene; keeps track of the labels."""

    def __init__(self, mi: Any, scene: Scene) -> None:  # noqa: ANN401
        self.mi = mi
        self.scene = scene
        self.rng = np.random.default_rng([scene.seed, 7])
        self.labels: dict[str, npt.NDArray[np.uint8]] = {}
        self.paints: dict[str, Paint] = {}
        self.scales: dict[tuple[str, float], TintScale] = {}
        self.seen = sight_of(scene)

    def description(self) -> dict[str, Any]:
        scene, t = self.scene, self.mi.ScalarTransform4f
        out: dict[str, Any] = {
            "type": "scene",
            "room": {
                "type": "envmap",
                "bitmap": self.mi.Bitmap(room(scene.light, scene.view, self.seen)),
                "to_world": t().rotate([1, 0, 0], 90),
            },
        }
        out["bench"], self.paints["bench"] = bench_shape(self.mi, scene)
        if scene.ground == "card":
            out["card"], self.paints["card"] = card_shape(self.mi, scene)
        if scene.light.flash is not None:
            out["flash"] = self._flash(scene.light.flash)
        # few shapes, whatever a scene holds: the renderer compiles for each of them
        for side in ("tool", "free"):
            parts = [
                (mesh, self._tint(p, mesh, dim=side == "free"), p.number)
                for p in scene.chips
                for mesh in (getattr(p.chip, side),)
            ]
            if side == "free" and scene.crumbs is not None:
                metal = scene.chips[0] if scene.chips else None
                grey = np.full((len(scene.crumbs.points), 3), 0.4)
                colours = self._tint(metal, scene.crumbs, dim=True) if metal else grey
                parts.append((scene.crumbs, colours, CRUMBS))
            if parts:
                self.labels[side] = _labels_of(parts)
                colours = np.concatenate([c for _, c, _ in parts])
                whole = join([mesh for mesh, _, _ in parts])
                metal_side = self._metal(tool=side == "tool")
                out[side] = as_shape(self.mi, side, whole, metal_side, colours)
        if scene.props:
            self.labels["props"] = np.full(
                sum(len(p.mesh.faces) for p in scene.props), DISTRACTOR, np.uint8
            )
            out["props"] = self._props(scene.props)
        return out

    def _props(self, props: tuple[Prop, ...]) -> Any:  # noqa: ANN401
        """Make one shape of all things; colour and finish travel with the points."""
        sizes = [len(p.mesh.points) for p in props]
        tints = [
            np.tile(p.rgb, (n, 1)) if p.colours is None else p.colours
            for p, n in zip(props, sizes, strict=True)
        ]
        finish = {
            "vertex_metal": np.repeat([float(p.metallic) for p in props], sizes),
            "vertex_rough": np.repeat([p.roughness for p in props], sizes),
        }
        bsdf = {
            "type": "twosided",
            "bsdf": {
                "type": "principled",
                "base_color": {"type": "mesh_attribute", "name": "vertex_tint"},
                "metallic": {"type": "mesh_attribute", "name": "vertex_metal"},
                "roughness": {"type": "mesh_attribute", "name": "vertex_rough"},
            },
        }
        whole = join([p.mesh for p in props])
        stuff = self.mi.load_dict(bsdf)
        return as_shape(self.mi, "props", whole, stuff, np.concatenate(tints), finish=finish)

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
