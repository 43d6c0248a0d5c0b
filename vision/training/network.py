"""The network of the eye: its layers, and how it is written down for the reader.

The same walk through the layers builds the network that learns (``teach_eye``) and the
ONNX file that ``vision.chips.eye`` runs, so that they are one network.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from vision.chips.eye import ASKED, GUESSED, KIN
from vision.training.nets import Graph

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    Weights = dict[str, npt.NDArray[np.float32]]

__all__ = [
    "FAR_MM",
    "LAYERS",
    "REACH_LOG",
    "SPREAD_LOG",
    "Layer",
    "layers",
    "onnx_of",
    "walk",
]

#: What the network is shown of a pixel, folded two by two into one place.
_IN = 4 * 4
#: Channels at 3.5, 1.75, 0.88, 0.44 and 0.22 places per mm.
_WIDE = (16, 32, 64, 128, 192)
#: How far apart the places are that the layers look at, one after the other, in the two
#: coarsest pictures; the coarsest looks round twice, for what belongs to one long chip.
_APART_3, _APART_4 = (1, 2, 4), (1, 2, 4, 1, 2, 4)
#: One unit of the answer for a chip's middle, mm.
FAR_MM = 10.0
#: Bounds of the logarithm of a chip's reach, mm.
REACH_LOG = (-3.0, 4.0)
#: Bounds of the logarithm of the spread of a guessed size.
SPREAD_LOG = (-4.0, 2.0)


@dataclass(frozen=True, slots=True)
class Layer:
    """A convolution: channels in and out, side, stride, dilation; then what follows.

    ``kind`` is "relu" (normalised, cut at zero), "plain" (normalised) or "last" (neither).
    """

    into: int
    outof: int
    side: int = 3
    stride: int = 1
    dilation: int = 1
    kind: str = "relu"


def layers(wide: tuple[int, int, int, int, int] = _WIDE) -> dict[str, Layer]:
    """Return the layers of a network of so many channels from fine to coarse, by name."""
    a, b, c, d, e = wide
    out = {
        "fine": Layer(_IN, a),
        "down1": Layer(a, b, stride=2),
        "mid1": Layer(b, b),
        "down2": Layer(b, c, stride=2),
        "mid2": Layer(c, c),
        "more2": Layer(c, c),
        "down3": Layer(c, d, stride=2),
        "down4": Layer(d, e, stride=2),
    }
    out |= {f"wide3_{i}": Layer(d, d, dilation=k) for i, k in enumerate(_APART_3)}
    out |= {f"wide4_{i}": Layer(e, e, dilation=k) for i, k in enumerate(_APART_4)}
    for step, (deep, flat) in enumerate(((b, a), (c, b), (d, c), (e, d))):
        out[f"up{step}"] = Layer(deep, flat, side=1, kind="plain")
        out[f"back{step}"] = Layer(flat, flat)
    out["metal"] = Layer(a, 4, side=1, kind="last")
    out["whose"] = Layer(b, b)
    out["place"] = Layer(b, 4, side=1, kind="last")
    out["edges"] = Layer(a, b, stride=2)
    out["near"] = Layer(b, b)
    out["alike"] = Layer(b, b)
    out["kin"] = Layer(b, len(KIN), side=1, kind="last")
    out["what"] = Layer(c, c)
    out["guess"] = Layer(c, 2 * len(GUESSED) + len(ASKED), side=1, kind="last")
    return out


#: All layers by name.
LAYERS: dict[str, Layer] = layers()


def walk(
    x: Any,  # noqa: ANN401 - a tensor here, a name there
    conv: Callable[[str, Any], Any],
    add: Callable[[Any, Any], Any],
    up: Callable[[Any], Any],
    relu: Callable[[Any], Any],
) -> tuple[Any, Any, Any, Any]:
    """Pass a folded picture through the layers, whatever a picture is.

    Returns
    -------
    metal
        Logits of metal, folded two by two, of a half of the picture's size.
    place
        Right, down (units of :data:`FAR_MM`), logarithm of reach (mm), logit of typical;
        of a quarter of its size.
    kin
        Logits that cells so far apart show one chip, of a quarter of its size.
    guess
        Sizes of the chip, logarithms of their spreads, logits of what is asked of it; of
        an eighth of its size.
    """
    fine = conv("fine", x)
    mid1 = conv("mid1", conv("down1", fine))
    mid2 = conv("more2", conv("mid2", conv("down2", mid1)))
    mid3 = conv("down3", mid2)
    for i in range(len(_APART_3)):
        mid3 = add(mid3, conv(f"wide3_{i}", mid3))
    deep = conv("down4", mid3)
    for i in range(len(_APART_4)):
        deep = add(deep, conv(f"wide4_{i}", deep))
    at2 = deep
    for step, skip in ((3, mid3), (2, mid2)):
        at2 = conv(f"back{step}", relu(add(up(conv(f"up{step}", at2)), skip)))
    both1 = relu(add(up(conv("up1", at2)), mid1))
    at1 = conv("back1", both1)
    at0 = conv("back0", relu(add(up(conv("up0", at1)), fine)))
    return (
        conv("metal", at0),
        conv("place", conv("whose", at1)),
        conv("kin", conv("alike", add(conv("near", both1), conv("edges", at0)))),
        conv("guess", conv("what", at2)),
    )


def onnx_of(weights: Weights) -> bytes:
    """Write the network as ONNX.

    Parameters
    ----------
    weights
        ``NAME.w`` and ``NAME.b`` of each layer, normalising worked in; the first layer's
        channels in the order ``4 * colour + 2 * row + column``.

    Returns
    -------
    bytes
        Input "shown" (1, 4, H, W), sides multiples of 32; "metal" (1, 1, H, W) in 0..1;
        "place" (1, 4, H / 4, W / 4): right and down, mm, reach, mm, typical in 0..1;
        "kin" (1, 16, H / 4, W / 4) and "guess" (1, G, H / 8, W / 8): as
        ``vision.chips.eye.Said`` tells.

    Raises
    ------
    RuntimeError
        The extra ``train`` is not installed.
    """
    stored: dict[str, npt.NDArray[Any]] = dict(_for_the_file(weights))
    for name, value in (
        ("twice", np.array([1, 1, 2, 2], np.float32)),
        ("least", np.float32(REACH_LOG[0])),
        ("most", np.float32(REACH_LOG[1])),
        ("parts", np.array([2, 1, 1], np.int64)),
        ("narrow", np.float32(SPREAD_LOG[0])),
        ("broad", np.float32(SPREAD_LOG[1])),
        ("shares", np.array([len(GUESSED), len(GUESSED), len(ASKED)], np.int64)),
    ):
        stored[name] = np.asarray(value)
    graph = Graph("eye", stored)
    put = graph.put

    def conv(name: str, x: str) -> str:
        layer = LAYERS[name]
        y = graph.conv(name, x, side=layer.side, step=layer.stride, dilation=layer.dilation)
        return graph.relu(y) if layer.kind == "relu" else y

    metal, place, kin, told = walk(
        put("SpaceToDepth", ["shown"], blocksize=2),
        conv,
        lambda a, b: put("Add", [a, b]),
        lambda x: graph.twice(x, "twice"),
        graph.relu,
    )
    put("Sigmoid", [put("DepthToSpace", [metal], blocksize=2, mode="CRD")], ["metal"])
    put("Split", [place, "parts"], ["towards", "log_reach", "known"], axis=1)
    reach = put("Exp", [put("Clip", ["log_reach", "least", "most"])])
    put("Concat", ["towards", reach, put("Sigmoid", ["known"])], ["place"], axis=1)
    put("Identity", [kin], ["kin"])
    put("Split", [told, "shares"], ["size", "log_spread", "asked"], axis=1)
    spread = put("Clip", ["log_spread", "narrow", "broad"])
    put("Concat", ["size", spread, put("Sigmoid", ["asked"])], ["guess"], axis=1)
    told_of: dict[str, list[int | str]] = {
        "metal": [1, 1, "h", "w"],
        "place": [1, 4, "rows", "cols"],
        "kin": [1, len(KIN), "rows", "cols"],
        "guess": [1, LAYERS["guess"].outof, "r", "c"],
    }
    return graph.file([1, 4, "h", "w"], told_of)


def _for_the_file(weights: Weights) -> Weights:
    """Return weights for ONNX's order of folding, and for middles in mm."""
    out = {k: np.asarray(v, np.float32) for k, v in weights.items()}
    order = [4 * colour + square for square in range(4) for colour in range(4)]
    out["fine.w"] = np.ascontiguousarray(out["fine.w"][:, order])
    for part in ("place.w", "place.b"):
        out[part] = out[part].copy()
        out[part][:2] *= np.float32(FAR_MM)
    return out
