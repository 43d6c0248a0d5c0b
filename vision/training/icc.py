"""A small Display-P3 colour profile, as phones embed it.

Matrix-and-curve profile by the layout of ICC.1:2010 (version 4): primaries of SMPTE
EG 432-1 with white D65 adapted to the profile space's D50, transfer curve of sRGB as
a parametric curve of type 3.
"""

from __future__ import annotations

import struct
from functools import cache

import numpy as np
import numpy.typing as npt

__all__ = ["P3_FROM_SRGB", "display_p3_profile"]

_D50 = np.array([0.9642, 1.0, 0.8249])
_BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)
_SRGB_XY = ((0.640, 0.330), (0.300, 0.600), (0.150, 0.060))
_P3_XY = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))
_D65_XY = (0.3127, 0.3290)


def _xyz(xy: tuple[float, float]) -> npt.NDArray[np.float64]:
    x, y = xy
    return np.array([x / y, 1.0, (1 - x - y) / y])


def _to_xyz(primaries: tuple[tuple[float, float], ...]) -> npt.NDArray[np.float64]:
    """XYZ of linear RGB for given primaries and white D65."""
    columns = np.column_stack([_xyz(p) for p in primaries])
    return np.asarray(columns * np.linalg.solve(columns, _xyz(_D65_XY)))


#: Linear Display-P3 from linear sRGB.
P3_FROM_SRGB: npt.NDArray[np.float64] = np.asarray(
    np.linalg.solve(_to_xyz(_P3_XY), _to_xyz(_SRGB_XY)), dtype=np.float64
)


def _fixed(*values: float) -> bytes:
    return b"".join(struct.pack(">i", round(v * 65536)) for v in values)


def _text(words: str) -> bytes:
    coded = words.encode("utf-16-be")
    return b"mluc" + struct.pack(">IIIHHII", 0, 1, 12, 0x656E, 0x5553, len(coded), 28) + coded


@cache
def display_p3_profile() -> bytes:
    """Profile as bytes, to embed in a JPEG."""
    gain = np.diag((_BRADFORD @ _D50) / (_BRADFORD @ _xyz(_D65_XY)))
    adapt = np.linalg.inv(_BRADFORD) @ gain @ _BRADFORD
    columns = (adapt @ _to_xyz(_P3_XY)).T
    curve = b"para" + struct.pack(">IHH", 0, 3, 0)
    curve += _fixed(2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
    tags: list[tuple[bytes, bytes]] = [
        (b"desc", _text("Display P3")),
        (b"cprt", _text("No copyright, use freely")),
        (b"wtpt", b"XYZ " + bytes(4) + _fixed(*_D50)),
        (b"chad", b"sf32" + bytes(4) + _fixed(*adapt.ravel())),
    ]
    tags += [
        (name, b"XYZ " + bytes(4) + _fixed(*column))
        for name, column in zip((b"rXYZ", b"gXYZ", b"bXYZ"), columns, strict=True)
    ]
    tags += [(name, curve) for name in (b"rTRC", b"gTRC", b"bTRC")]
    table, body = b"", b""
    start = 128 + 4 + 12 * len(tags)
    for name, data in tags:
        table += name + struct.pack(">II", start + len(body), len(data))
        body += data + bytes(-len(data) % 4)
    size = start + len(body)
    head = struct.pack(">I4sI4s4s4s", size, bytes(4), 0x04000000, b"mntr", b"RGB ", b"XYZ ")
    head += struct.pack(">6H", 2020, 1, 1, 0, 0, 0) + b"acsp" + bytes(28) + _fixed(*_D50)
    head += bytes(128 - len(head))
    return head + struct.pack(">I", len(tags)) + table + body
