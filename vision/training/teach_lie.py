"""How the look at straightened coils learns how their strips lie (``vision.chips.lie``).

Coils are taken as the reader finds, cuts out and straightens them in the training scenes;
the angle comes from the truth. Minutes with a graphics card, more without one.
"""

from __future__ import annotations

import logging
import math
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from vision.chips.lie import LIE_DEG, PICTURE, LieNet, cut, upright
from vision.training.nets import Graph, load_torch
from vision.training.pool import spread
from vision.training.rows import known_things, load_scene, scene_paths

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from vision.chips.eye import Eye
    from vision.chips.lie import Picture
    from vision.training.rows import SceneFiles

    Weights = dict[str, np.ndarray[Any, np.dtype[np.float32]]]

__all__ = ["COIL_GROUPS", "KnownCoil", "coils_of_scene", "fit_lie", "learn_lie", "onnx_of_lie"]

_LOG = logging.getLogger(__name__)
#: Groups that are wound along an axis: tubular, washer-type, conical.
COIL_GROUPS = "245"
#: Channels of the layers; every other one halves the picture.
_WIDE = (16, 16, 32, 32, 48, 48, 64, 64)
_EPOCHS, _BATCH, _RATE, _DROPPED = 30, 48, 2e-3, 0.3
#: The group is learned besides, and not kept: it steadies what is learned.
_SMOOTHING = 0.05
#: Bounds of the logarithm of the spread.
_SPREAD = (-4.0, 2.0)
#: Light is changed by so much, shifted by so much, and made noisy by up to so much.
_LIGHT, _SHIFT, _NOISE = 0.15, 0.03, 0.03


@dataclass(frozen=True, slots=True)
class KnownCoil:
    """An upright picture of a coil, (2, 64, W), how its strip lies, and its group."""

    picture: Picture
    lie_deg: float
    group: str


def coils_of_scene(scene: SceneFiles, eye: Eye) -> list[KnownCoil]:
    """Return the coils that the reader finds in a scene of known truth; no nests."""
    out = []
    for thing in known_things(scene, eye):
        chip, straight = thing.chip, thing.seen.shape.straight
        if chip is None or straight is None or thing.label == "nest":
            continue
        if chip["group"] in COIL_GROUPS and chip.get("theta_deg") is not None:
            out.append(KnownCoil(upright(straight), chip["theta_deg"], chip["group"]))
    return out


def _coils_at(path: Path, eye: Eye) -> list[KnownCoil]:
    return coils_of_scene(load_scene(path), eye)


def fit_lie(folder: Path, eye: Eye, *, seed: int, workers: int = 1, label: str = "") -> LieNet:
    """Learn how strips lie from all scenes of a folder.

    Raises
    ------
    FileNotFoundError
        There are no scenes.
    RuntimeError
        The extra ``train`` is not installed.
    """
    found = spread(
        partial(_coils_at, eye=eye), scene_paths(folder), workers=workers, label=label
    )
    coils = [coil for of_one in found for coil in of_one]
    _LOG.info("%d coils", len(coils))
    return LieNet(onnx_of_lie(learn_lie(coils, seed=seed)))


def learn_lie(coils: Sequence[KnownCoil], *, seed: int, epochs: int = _EPOCHS) -> Weights:
    """Fit the network to coils of known lie.

    Returns
    -------
    dict
        ``NAME.w`` and ``NAME.b`` by layer, normalising worked in, for :func:`onnx_of_lie`.

    Raises
    ------
    RuntimeError
        The extra ``train`` is not installed.
    """
    torch = load_torch()
    torch.manual_seed(seed)
    f, rng = torch.nn.functional, np.random.default_rng([seed, 7])
    device = "cuda:0" if torch.cuda.is_available() else "cpu"
    net = _network(torch).to(device)
    optimiser = torch.optim.AdamW(net.parameters(), lr=_RATE, weight_decay=1e-2)
    angle = torch.tensor([c.lie_deg / LIE_DEG for c in coils], dtype=torch.float32).to(device)
    group = torch.tensor([COIL_GROUPS.index(c.group) for c in coils]).to(device)
    steps, step = max(epochs * (len(coils) // _BATCH), 1), 0
    for epoch in range(epochs):
        order, costs = rng.permutation(len(coils)), []
        for first in range(0, max(len(coils) - _BATCH, 0) + 1, _BATCH):
            those = order[first : first + _BATCH]
            for part in optimiser.param_groups:
                part["lr"] = _RATE * 0.5 * (1 + math.cos(math.pi * step / steps)) + 1e-5
            step += 1
            shown = np.stack([_seen_anew(coils[i].picture, rng) for i in those])
            told = net(torch.from_numpy(shown).to(device))
            doubt = told[:, 1].clamp(*_SPREAD)
            off = (told[:, 0] - angle[those]).abs() * torch.exp(-doubt) + doubt
            which = f.cross_entropy(told[:, 2:], group[those], label_smoothing=_SMOOTHING)
            cost = off.mean() + which
            optimiser.zero_grad()
            cost.backward()
            optimiser.step()
            costs.append(float(cost.detach()))
        _LOG.info("epoch %d of %d: %.3f", epoch + 1, epochs, float(np.mean(costs)))
    return _plain_weights(net.cpu())


def _seen_anew(picture: Picture, rng: np.random.Generator) -> Picture:
    """Return a coil's picture as another photo might show it: another part, turned, lit."""
    left = int(rng.integers(abs(PICTURE[1] - picture.shape[2]) + 1))
    out = cut(picture, left)
    out = out[:, :: rng.choice([-1, 1]), :: rng.choice([-1, 1])].copy()
    light = out[0] * np.exp(_LIGHT * rng.standard_normal()) + _SHIFT * rng.standard_normal()
    out[0] = light + rng.uniform(0, _NOISE) * rng.standard_normal(light.shape)
    return np.asarray(out, np.float32)


def _network(torch: Any) -> Any:  # noqa: ANN401
    nn = torch.nn
    parts, into = [], 2
    for i, wide in enumerate(_WIDE):
        conv = nn.Conv2d(into, wide, 3, 2 - i % 2, 1, bias=False)
        parts += [conv, nn.BatchNorm2d(wide), nn.ReLU()]
        into = wide
    last = nn.Linear(into, 2 + len(COIL_GROUPS))
    return nn.Sequential(
        *parts, nn.AdaptiveAvgPool2d(1), nn.Flatten(), nn.Dropout(_DROPPED), last
    )


def _plain_weights(net: Any) -> Weights:  # noqa: ANN401
    """Work the normalising into the convolutions; of the last layer keep what is told."""
    out = {}
    layers = list(net)
    for i in range(len(_WIDE)):
        conv, norm = layers[3 * i], layers[3 * i + 1]
        weight, gain, mean, var, shift = (
            t.detach().double().numpy()
            for t in (conv.weight, norm.weight, norm.running_mean, norm.running_var, norm.bias)
        )
        gain = gain / np.sqrt(var + norm.eps)
        out[f"conv{i}.w"] = weight * gain[:, None, None, None]
        out[f"conv{i}.b"] = shift - mean * gain
    last = layers[-1]
    out["last.w"], out["last.b"] = (t.detach().numpy()[:2] for t in (last.weight, last.bias))
    return {k: np.ascontiguousarray(v, np.float32) for k, v in out.items()}


def onnx_of_lie(weights: Weights) -> bytes:
    """Write the network as ONNX: "shown" (N, 2, 64, 128) to "told" (N, 2).

    Raises
    ------
    RuntimeError
        The extra ``train`` is not installed.
    """
    bounds = {
        "narrow": np.array(_SPREAD[0], np.float32),
        "broad": np.array(_SPREAD[1], np.float32),
    }
    graph = Graph("lie", {**weights, **bounds})
    x = "shown"
    for i in range(len(_WIDE)):
        x = graph.relu(graph.conv(f"conv{i}", x, side=3, step=2 - i % 2))
    flat = graph.put("Flatten", [graph.put("GlobalAveragePool", [x])])
    both = graph.put("Gemm", [flat, "last.w", "last.b"], transB=1)
    graph.put("Split", [both], ["lie", "doubt"], axis=1)
    bounded = graph.put("Clip", ["doubt", "narrow", "broad"])
    graph.put("Concat", ["lie", bounded], ["told"], axis=1)
    return graph.file(["n", 2, *PICTURE], {"told": ["n", 2]})
