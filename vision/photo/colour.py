"""Colour arithmetic: encoded to linear sRGB, embedded profiles, CIELAB.

Not in here: the light on the card (``light``). Sources: IEC 61966-2-1 (sRGB curve and
matrix), ICC.1:2010 (profile layout, profile connection space), CIE 15 (CIELAB).
Conversions run on crops: a whole photo would cost more than the rest of a reading.
"""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import cv2
import numpy as np
from PIL import Image, ImageCms

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import Float1, Linear3, Matrix3, Rgb8

__all__ = ["lab_from_linear", "linear_from_rgb", "profile_name", "srgb_from_linear"]

#: Linear sRGB to XYZ, D65 (IEC 61966-2-1).
_XYZ_FROM_SRGB: Matrix3 = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)
#: Bradford cone responses (ICC.1:2010, annex E) and the white of the connection space.
_BRADFORD: Matrix3 = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)
_D50: Float1 = np.array([0.9642, 1.0, 0.8249])
#: White must stay white and curves near 0-1, or the profile is damaged.
_WHITE_OFF_MAX, _CURVE_MAX = 0.1, 2.0
_LAB_EPSILON, _LAB_KAPPA = (6 / 29) ** 3, 841 / 108
#: Values encoded at a time.
_AT_ONCE = 200_000


@dataclass(frozen=True, slots=True)
class _Conversion:
    """Three 256-step curves to linear light, then a matrix to linear sRGB (or none)."""

    curves: npt.NDArray[np.float32]  # (1, 256, 3)
    matrix: npt.NDArray[np.float32] | None


def _srgb_curve(encoded: Float1) -> Float1:
    low = encoded / 12.92
    return np.where(encoded <= 0.04045, low, ((encoded + 0.055) / 1.055) ** 2.4)  # noqa: PLR2004


@lru_cache(maxsize=1)
def _srgb() -> _Conversion:
    steps = np.linspace(0.0, 1.0, 256)
    curve = _srgb_curve(steps).astype(np.float32)
    return _Conversion(np.repeat(curve[None, :, None], 3, axis=2), None)


def _srgb_from_d50() -> Matrix3:
    """Return XYZ of the connection space (D50) to linear sRGB, adapted by Bradford."""
    white = _XYZ_FROM_SRGB.sum(axis=1)
    scale = np.diag((_BRADFORD @ _D50) / (_BRADFORD @ white))
    adapted = np.linalg.inv(_BRADFORD) @ scale @ _BRADFORD @ _XYZ_FROM_SRGB
    return np.asarray(np.linalg.inv(adapted), dtype=np.float64)


def _tags(icc: bytes) -> dict[bytes, bytes]:
    """Return the tag table of a profile (ICC.1:2010, 7.3)."""
    (count,) = struct.unpack_from(">I", icc, 128)
    tags = {}
    for k in range(min(count, 100)):
        name, start, size = struct.unpack_from(">4sII", icc, 132 + 12 * k)
        tags[name] = icc[start : start + size]
    return tags


def _curve(tag: bytes) -> Float1:
    """Return a tone curve, 256 steps (ICC.1:2010, 10.5 curveType, 10.15 parametric)."""
    x = np.linspace(0.0, 1.0, 256)
    if tag[:4] == b"curv":
        (n,) = struct.unpack_from(">I", tag, 8)
        if n == 0:
            return x
        if n == 1:
            return np.asarray(x ** (struct.unpack_from(">H", tag, 12)[0] / 256.0))
        table = np.frombuffer(tag, dtype=">u2", count=n, offset=12) / 65535.0
        return np.interp(x, np.linspace(0, 1, n), table)
    if tag[:4] != b"para":
        raise ValueError("unknown kind of curve")
    (kind,) = struct.unpack_from(">H", tag, 8)
    n = (1, 3, 4, 5, 7)[kind]
    g, a, b, c, d, e, f = _parameters(
        kind, [v / 65536.0 for v in struct.unpack_from(f">{n}i", tag, 12)]
    )
    power = np.maximum(a * x + b, 0.0) ** g + e
    return np.asarray(np.where(x >= d, power, c * x + f))


def _parameters(kind: int, p: list[float]) -> tuple[float, ...]:
    """Bring the five kinds of parametric curve to the last: g, a, b, c, d, e, f."""
    if kind == 0:
        return p[0], 1.0, 0.0, 0.0, -1.0, 0.0, 0.0
    if kind in (1, 2):
        offset = p[3] if kind == 2 else 0.0  # noqa: PLR2004 - third kind of the standard
        return p[0], p[1], p[2], 0.0, -p[2] / p[1], offset, offset
    return (*p, 0.0, 0.0)[:7] if kind == 3 else tuple(p)  # noqa: PLR2004


def _xyz(tag: bytes) -> Float1:
    return np.array(struct.unpack_from(">3i", tag, 8)) / 65536.0


@lru_cache(maxsize=8)
def _conversion(icc: bytes) -> _Conversion | None:
    """Read a matrix-and-curves profile; ``None`` if it is of another kind or damaged."""
    try:
        tags = _tags(icc)
        if icc[16:24] != b"RGB XYZ " or b"A2B0" in tags:
            return None
        with np.errstate(over="ignore", invalid="ignore"):  # checked as a whole below
            curves = np.stack([_curve(tags[k]) for k in (b"rTRC", b"gTRC", b"bTRC")], axis=1)
        to_xyz = np.stack([_xyz(tags[k]) for k in (b"rXYZ", b"gXYZ", b"bXYZ")], axis=1)
    except (KeyError, ValueError, IndexError, ZeroDivisionError, OverflowError, struct.error):
        return None
    matrix = _srgb_from_d50() @ to_xyz
    white = np.abs(matrix.sum(axis=1) - 1).max()
    sane = np.isfinite(curves).all() and np.abs(curves).max() < _CURVE_MAX
    if not (sane and white < _WHITE_OFF_MAX):
        return None
    return _Conversion(curves[None].astype(np.float32), matrix.astype(np.float32))


@lru_cache(maxsize=8)
def profile_name(icc: bytes) -> str | None:
    """Return the name of an embedded profile, or ``None`` if it cannot be used.

    Parameters
    ----------
    icc : bytes
        Profile as embedded in the file; any bytes are allowed.

    Returns
    -------
    str or None
        ``None`` for damaged profiles and those not for RGB (grey, CMYK).
    """
    if icc[16:20] != b"RGB ":
        return None
    try:
        profile = ImageCms.ImageCmsProfile(io.BytesIO(icc))
        name = ImageCms.getProfileDescription(profile)
        if _conversion(icc) is None:
            _by_library(np.zeros((1, 1, 3), dtype=np.uint8), icc)
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        return None
    return (
        " ".join("".join(c if c.isprintable() else " " for c in name).split())[:80] or "unnamed"
    )


def _by_library(rgb: Rgb8, icc: bytes) -> Rgb8:
    """Convert table profiles with the library; 8 bits, cut to the sRGB gamut."""
    source = ImageCms.ImageCmsProfile(io.BytesIO(icc))
    target = ImageCms.createProfile("sRGB")
    picture = Image.fromarray(np.ascontiguousarray(rgb))
    out = ImageCms.profileToProfile(
        picture, source, target, ImageCms.Intent.RELATIVE_COLORIMETRIC, outputMode="RGB"
    )
    return rgb if out is None else np.asarray(out)


def linear_from_rgb(rgb: Rgb8, icc: bytes | None = None) -> Linear3:
    """Convert encoded colours to linear sRGB.

    Parameters
    ----------
    rgb : (H, W, 3) uint8
        As encoded in the file.
    icc : bytes, optional
        The file's profile as ``decode_photo`` passed it; ``None`` means sRGB.

    Returns
    -------
    (H, W, 3) float32
        Linear light, 1.0 is the encoding's white. Colours outside sRGB come out below
        0 or above 1 and are kept.

    Examples
    --------
    >>> round(float(linear_from_rgb(np.full((1, 1, 3), 188, np.uint8))[0, 0, 0]), 4)
    0.5029
    """
    conversion = _srgb() if icc is None else _conversion(icc)
    if conversion is None:
        rgb, conversion = _by_library(rgb, icc or b""), _srgb()
    linear = cv2.LUT(rgb, conversion.curves)
    if conversion.matrix is not None:
        linear = cv2.transform(linear, conversion.matrix)
    return linear.astype(np.float32, copy=False)


def srgb_from_linear(linear: Linear3) -> Rgb8:
    """Encode linear sRGB as 8-bit sRGB (IEC 61966-2-1); values outside 0-1 are cut.

    Examples
    --------
    >>> srgb_from_linear(np.array([[[0.0, 0.2140, 1.0]]], np.float32)).tolist()
    [[[0, 127, 255]]]
    """
    encoded = np.empty(linear.shape, np.uint8)
    # Some rows at a time: of a whole sheet the steps between would fill the memory.
    rows = max(_AT_ONCE // max(linear[:1].size, 1), 1)
    for i in range(0, len(linear), rows):
        x = np.clip(linear[i : i + rows], 0.0, 1.0)
        y = np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.power(x, 1 / 2.4) - 0.055)  # noqa: PLR2004
        encoded[i : i + rows] = np.rint(255 * y)
    return encoded


def lab_from_linear(linear: Linear3) -> npt.NDArray[np.float32]:
    """Convert linear sRGB to CIELAB, D65, 2 degrees.

    Parameters
    ----------
    linear : (H, W, 3) or (N, 3) float32
        1.0 is white; values above 1 and slightly below 0 are allowed.

    Returns
    -------
    Same shape, float32
        L* 0-100 (above 100 for glare), a*, b*.

    References
    ----------
    CIE 15:2004, 8.2.1; the white is the row sum of the sRGB matrix, so that equal
    R, G, B give exactly a* = b* = 0.

    Examples
    --------
    >>> lab_from_linear(np.ones((1, 3), np.float32)).round(2).tolist()
    [[100.0, 0.0, 0.0]]
    """
    white = _XYZ_FROM_SRGB.sum(axis=1)
    matrix = (_XYZ_FROM_SRGB / white[:, None]).astype(np.float32)
    t = np.asarray(linear, dtype=np.float32) @ matrix.T
    f = np.where(t > _LAB_EPSILON, np.cbrt(t), _LAB_KAPPA * t + np.float32(4 / 29))
    x, y, z = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1).astype(np.float32)
