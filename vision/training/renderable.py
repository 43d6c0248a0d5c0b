"""Our meshes, pictures and planes in the words of the renderer."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.training.sweep import Mesh, Points3

__all__ = ["as_shape", "bitmap", "plane"]


def bitmap(mi: Any, picture: npt.NDArray[np.float32]) -> dict[str, Any]:  # noqa: ANN401
    """Texture of linear values that repeats; (H, W, channels), first row at v = 0."""
    return {
        "type": "bitmap",
        "bitmap": mi.Bitmap(np.ascontiguousarray(picture, dtype=np.float32)),
        "raw": True,
        "wrap_mode": "repeat",
    }


def plane(
    mi: Any,  # noqa: ANN401
    area: tuple[float, float, float, float],
    z: float,
) -> dict[str, Any]:
    """Level rectangle x0, y0, x1, y1 in mm at height ``z``."""
    x0, y0, x1, y1 = area
    middle = mi.ScalarTransform4f().translate([(x0 + x1) / 2, (y0 + y1) / 2, z])
    return {
        "type": "rectangle",
        "to_world": middle.scale([(x1 - x0) / 2, (y1 - y0) / 2, 1]),
    }


def as_shape(
    mi: Any,  # noqa: ANN401
    name: str,
    mesh: Mesh,
    bsdf: Any,  # noqa: ANN401
    colours: Points3 | None = None,
    *,
    finish: dict[str, npt.NDArray[np.float32]] | None = None,
) -> Any:  # noqa: ANN401
    """Shape of the renderer; ``colours`` (N, 3) become the vertex attribute of tints.

    ``finish``: more attributes by name, one number (N,) for each point.
    """
    props = mi.Properties()
    props["bsdf"] = bsdf
    shape = mi.Mesh(
        name,
        vertex_count=len(mesh.points),
        face_count=len(mesh.faces),
        has_vertex_normals=True,
        has_vertex_texcoords=True,
        props=props,
    )
    if colours is not None:
        shape.add_attribute("vertex_tint", 3, np.asarray(colours, np.float32).ravel())
    for kind, values in (finish or {}).items():
        shape.add_attribute(kind, 1, np.ascontiguousarray(values, np.float32))
    params = mi.traverse(shape)
    params["vertex_positions"] = np.asarray(mesh.points, np.float32).ravel()
    params["vertex_normals"] = np.asarray(mesh.normals, np.float32).ravel()
    params["vertex_texcoords"] = np.asarray(mesh.uv, np.float32).ravel()
    params["faces"] = np.asarray(mesh.faces, np.uint32).ravel()
    params.update()
    return shape
