"""The card and the table under it, as the renderer wants them."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from vision.training.card_wear import sheet_mesh, soiled, with_toner
from vision.training.ground_light import Paint
from vision.training.grounds import draw_ground
from vision.training.renderable import as_shape, bitmap, plane
from vision.training.sheet import sheet_picture
from vision.training.surfaces import oil_cover
from vision.training.transfer import srgb_decode

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.training.scenes import Scene

__all__ = ["bench_shape", "card_shape"]

_PAPER_WHITE = 0.84
_SHEET_PX_PER_MM = 14.0
_BENCH_MM = 1000.0
#: The table lies this much under the lowest point of the sheet.
_PAPER_MM = 0.3


@cache
def _printed(card_id: str) -> npt.NDArray[np.float32]:
    """Fresh print of a card in linear light, (H, W), paper 1."""
    encoded = sheet_picture(card_id, _SHEET_PX_PER_MM)[:, :, 0]
    return srgb_decode(np.asarray(encoded / 255, dtype=np.float32))


def card_shape(mi: Any, scene: Scene) -> tuple[Any, Paint]:  # noqa: ANN401
    """Make the printed sheet with its wear and oil, flat or bent; and its paint.

    It is as fine as the photo, so that print is not seen finer than a pixel.
    """
    sheet, wear = scene.sheet, scene.wear
    middle = (sheet.size_mm[0] / 2, sheet.size_mm[1] / 2)
    px_mm = float(np.clip(scene.view.px_per_mm(*middle), 3.0, _SHEET_PX_PER_MM))
    print_ = _printed(sheet.card_id)
    size = (round(sheet.size_mm[0] * px_mm), round(sheet.size_mm[1] * px_mm))
    print_ = np.asarray(cv2.resize(print_, size, interpolation=cv2.INTER_AREA), np.float32)
    print_ = with_toner(print_, wear, px_mm)
    # toner is not quite black
    paper = (0.03 + 0.965 * _PAPER_WHITE * print_)[:, :, None]
    paper = paper * soiled(print_.shape, wear, px_mm)
    width, height = sheet.size_mm
    # Pictures run downwards, the sheet's texture upwards: rows are turned round.
    plain: dict[str, Any] = {"type": "diffuse"}
    bsdf = plain
    if scene.oil:
        keep, gloss = oil_cover(scene.oil, sheet.size_mm, px_mm)

        paper = paper * keep[:, :, None]
        plain["reflectance"] = bitmap(mi, np.asarray(paper[::-1], np.float32))
        shiny = {
            "type": "roughplastic",
            "alpha": 0.15,
            "diffuse_reflectance": plain["reflectance"],
        }
        bsdf = {
            "type": "blendbsdf",
            "weight": bitmap(mi, gloss[::-1, :, None]),
            "a": plain,
            "b": shiny,
        }
    else:
        plain["reflectance"] = bitmap(mi, np.asarray(paper[::-1], np.float32))
    paint = Paint(picture=np.ascontiguousarray(paper[::-1], np.float32))
    if wear.sagitta_mm:
        # seen from below where its edge stands up
        both = mi.load_dict({"type": "twosided", "bsdf": bsdf})
        return as_shape(mi, "card", sheet_mesh(sheet, wear), both), paint
    return {**plane(mi, (0.0, -height, width, 0.0), 0.0), "bsdf": bsdf}, paint


def bench_shape(mi: Any, scene: Scene) -> tuple[dict[str, Any], Paint]:  # noqa: ANN401
    """Make the table on which the card lies, or the chips where there is none; its paint."""
    ground = draw_ground(scene.seed, scene.bench[1])
    to_uv = mi.ScalarTransform4f().scale(
        [2 * _BENCH_MM / ground.tile_mm[0], 2 * _BENCH_MM / ground.tile_mm[1], 1]
    )
    colour = bitmap(mi, ground.rgb)
    colour["to_uv"] = to_uv
    rough: Any = ground.roughness
    if not isinstance(rough, float):
        rough = bitmap(mi, rough[:, :, None])
        rough["to_uv"] = to_uv
    bsdf: dict[str, Any] = {
        "type": "principled",
        "base_color": colour,
        "roughness": rough,
        "metallic": ground.metallic,
        "anisotropic": ground.anisotropic,
        "specular": ground.specular,
    }
    if ground.relief is not None:
        slopes = bitmap(mi, ground.relief)
        each = 2 * _BENCH_MM / ground.relief_mm
        slopes["to_uv"] = mi.ScalarTransform4f().scale([each, each, 1])
        bsdf = {"type": "normalmap", "normalmap": slopes, "bsdf": bsdf}
    low = 0.0
    if scene.ground == "card":
        # the deeper of middle and edge of a bent sheet
        low = min(scene.wear.sagitta_mm / 3, -2 * scene.wear.sagitta_mm / 3) - _PAPER_MM
    x, y = scene.sheet.size_mm[0] / 2, -scene.sheet.size_mm[1] / 2
    turn = int(scene.seed) % 360
    to_world = (
        mi.ScalarTransform4f()
        .translate([x, y, low])
        .rotate([0, 0, 1], turn)
        .scale([_BENCH_MM, _BENCH_MM, 1])
    )
    paint = Paint(
        picture=ground.rgb,
        repeats=(2 * _BENCH_MM / ground.tile_mm[0], 2 * _BENCH_MM / ground.tile_mm[1]),
        fine=ground.relief is not None or not isinstance(ground.roughness, float),
    )
    return {"type": "rectangle", "to_world": to_world, "bsdf": bsdf}, paint
