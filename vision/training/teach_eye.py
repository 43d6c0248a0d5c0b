"""How the eye learns: the walk down what its answers cost.

Runs on whatever PyTorch finds: minutes on a graphics card, days on a processor. What answers
cost is in ``eye_costs``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from vision.training.eye_costs import chip_costs, kin_costs, metal_costs
from vision.training.laid_over import laid_over
from vision.training.nets import load_torch
from vision.training.network import LAYERS, walk
from vision.training.other_grounds import on_other_grounds
from vision.training.windows import BRIGHTEST, LIGHT_STEPS, OF_WHOLE, WHOLE, areas

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    import numpy.typing as npt

    from vision.training.windows import Window, Windows

    Weights = dict[str, npt.NDArray[np.float32]]

__all__ = ["learn"]

#: Windows a batch, and the greatest rate of the first walk.
_BATCH, _RATE, _WARM_STEPS = 32, 2e-3, 300
#: From where the first walk ends so many go on, each with its own windows, so long for a step
#: of the first; the mean of their weights was better than one of them alone.
_TWINS, _AGAIN, _RATE_AGAIN = 4, 0.8, 1.2e-3
#: Weights are averaged over about so many steps.
_AVERAGED = 0.998
_BLUR, _NOISE = (0.3, 1.0), (0.003, 0.03)
#: Steps of the coarsest waves when a picture is saved small, and how often one is.
_SAVED_STEP, _SAVED = (0.006, 0.06), 0.4


def learn(
    windows: Windows,
    *,
    steps: int,
    seed: int,
    device: str | None = None,
    batch: int = _BATCH,
    told: Callable[[int, dict[str, float]], None] | None = None,
) -> Weights:
    """Fit the network to windows of known truth.

    Parameters
    ----------
    windows
        Sheets to cut windows from.
    steps
        How many batches are looked at first; then four walks go on from there.
    device
        "cuda:0", "cpu"; by default a graphics card where there is one.
    told
        Called with step and costs now and then.

    Returns
    -------
    dict
        ``NAME.w`` and ``NAME.b`` by layer, normalising worked in, for ``onnx_of``.

    Raises
    ------
    RuntimeError
        The extra ``train`` is not installed.
    """
    torch = load_torch()
    device = device or ("cuda:0" if torch.cuda.is_available() else "cpu")
    torch.manual_seed(seed)
    torch.backends.cudnn.benchmark = True
    net = _network(torch).to(device, memory_format=torch.channels_last)
    sheets = _OnDevice(torch, windows, device)

    def walked(steps: int, seed: int, rate: float) -> dict[str, Any]:
        rng = np.random.default_rng([seed, 6])
        batches = (windows.draw(batch, rng) for _ in range(steps))
        return _walk(torch, net, sheets, batches, _Walk(steps, rate, rng, device, told))

    first = walked(steps, seed, _RATE)
    twins = []
    for k in range(_TWINS):
        net.load_state_dict(first, strict=False)
        twins.append(_plain_weights(walked(round(_AGAIN * steps), seed + 1 + k, _RATE_AGAIN)))
    return {k: np.mean([t[k] for t in twins], axis=0, dtype=np.float32) for k in twins[0]}


@dataclass(frozen=True, slots=True)
class _Walk:
    """One walk down the costs: its length, greatest rate, lot, device, and who is told."""

    steps: int
    rate: float
    rng: np.random.Generator
    device: str
    told: Callable[[int, dict[str, float]], None] | None

    def rate_at(self, step: int) -> float:
        """Return the rate of a step: up soon, then down to nearly nothing."""
        warm = min(_WARM_STEPS, max(self.steps // 10, 1))
        share = min(1.0, (step + 1) / warm)
        return self.rate * (share * 0.5 * (1 + math.cos(math.pi * step / self.steps)) + 0.01)


def _walk(
    torch: Any,  # noqa: ANN401
    net: Any,  # noqa: ANN401
    sheets: _OnDevice,
    batches: Iterable[Sequence[Window]],
    walk: _Walk,
) -> dict[str, Any]:
    """Let a network learn; return its state, averaged over the last steps."""
    optimiser = torch.optim.AdamW(net.parameters(), lr=walk.rate, weight_decay=1e-4)
    names = [k for k, v in net.state_dict().items() if v.dtype.is_floating_point]
    state = [net.state_dict()[k] for k in names]
    mean = [v.clone() for v in state]
    for step, batch in enumerate(batches):
        for group in optimiser.param_groups:
            group["lr"] = walk.rate_at(step)
        seen, truth, sizes = sheets.cut(batch)
        picture, truth, sizes = laid_over(
            torch, seen.float() / LIGHT_STEPS, truth, sizes, walk.rng
        )
        picture = on_other_grounds(torch, picture, truth, walk.rng)
        picture = _as_a_camera(torch, picture, walk.rng)
        picture = picture.contiguous(memory_format=torch.channels_last)
        kind, plain = walk.device.split(":")[0], walk.device == "cpu"
        with torch.autocast(kind, torch.bfloat16, enabled=not plain):
            metal, place, kin, guess = _run(torch, net, picture)
        costs = metal_costs(torch, metal.float(), truth, picture[:, 3])
        costs |= chip_costs(torch, place.float(), guess.float(), truth, sizes)
        costs |= kin_costs(torch, kin.float(), truth)
        optimiser.zero_grad()
        sum(costs.values()).backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 3.0)
        optimiser.step()
        keep = min(_AVERAGED, (step + 1) / (step + 10))
        torch._foreach_lerp_(mean, state, 1 - keep)
        if walk.told is not None and (step % 200 == 0 or step == walk.steps - 1):
            walk.told(step, {k: float(v.detach()) for k, v in costs.items()})
    return dict(zip(names, mean, strict=True))


class _OnDevice:
    """All sheets on the device that learns, and windows cut from them there."""

    def __init__(self, torch: Any, windows: Windows, device: str) -> None:  # noqa: ANN401
        self._torch, self._side = torch, windows.side
        self._seen = [
            torch.from_numpy(np.ascontiguousarray(s.seen.transpose(2, 0, 1))).to(device)
            for s in windows.sheets
        ]
        self._labels = [torch.from_numpy(s.labels).to(device) for s in windows.sheets]
        # Every other label each way is enough to tell how much of a chip a window shows.
        counts = [
            np.bincount(s.labels[::2, ::2].ravel(), minlength=256) for s in windows.sheets
        ]
        self._area = torch.from_numpy(np.stack(counts)).to(device)
        self._sizes = torch.from_numpy(np.stack([s.sizes for s in windows.sheets])).to(device)

    def cut(self, drawn: Sequence[Window]) -> tuple[Any, Any, Any]:
        """Return what is seen (N, 4, S, S), its labels (N, 2 S, 2 S), sizes (N, 256, 8).

        Sizes that only a whole chip shows are NaN where the window cuts it.
        """
        torch, s = self._torch, self._side
        seen, labels = [], []
        for w in drawn:
            a = self._seen[w.sheet][:, w.top : w.top + s, w.left : w.left + s]
            b = self._labels[w.sheet][
                2 * w.top : 2 * (w.top + s), 2 * w.left : 2 * (w.left + s)
            ]
            a, b = torch.rot90(a, w.turns, (1, 2)), torch.rot90(b, w.turns)
            seen.append(a.flip(2) if w.mirrored else a)
            labels.append(b.flip(1) if w.mirrored else b)
        truth = torch.stack(labels).long()
        which = torch.tensor([w.sheet for w in drawn], device=truth.device)
        whole = areas(torch, truth) >= WHOLE * self._area[which]
        sizes = self._sizes[which].clone()
        for k in OF_WHOLE:
            sizes[:, :, k] = torch.where(whole, sizes[:, :, k], math.nan)
        return torch.stack(seen), truth, sizes


def _network(torch: Any) -> Any:  # noqa: ANN401
    nn = torch.nn
    parts = {}
    for name, layer in LAYERS.items():
        last = layer.kind == "last"
        conv = nn.Conv2d(
            layer.into,
            layer.outof,
            layer.side,
            layer.stride,
            layer.dilation * (layer.side // 2),
            layer.dilation,
            bias=last,
        )
        norm = [] if last else [nn.BatchNorm2d(layer.outof, momentum=0.02)]
        relu = [nn.ReLU()] if layer.kind == "relu" else []
        parts[name] = nn.Sequential(conv, *norm, *relu)
    # Most places are plain ground, and every cell starts as its own middle.
    nn.init.constant_(parts["metal"][0].bias, -2.0)
    for name in ("place", "guess"):
        nn.init.zeros_(parts[name][0].weight)
        nn.init.zeros_(parts[name][0].bias)
    return nn.ModuleDict(parts)


def _run(torch: Any, net: Any, picture: Any) -> tuple[Any, Any, Any, Any]:  # noqa: ANN401
    f = torch.nn.functional
    metal, place, kin, guess = walk(
        f.pixel_unshuffle(picture, 2),
        lambda name, x: net[name](x),
        lambda a, b: a + b,
        lambda x: f.interpolate(x, scale_factor=2, mode="nearest"),
        f.relu,
    )
    return f.pixel_shuffle(metal, 2), place, kin, guess


def _as_a_camera(torch: Any, picture: Any, rng: np.random.Generator) -> Any:  # noqa: ANN401
    """Return windows (N, 4, S, S) in a light and sharpness of its own."""
    f = torch.nn.functional
    colour, sheet = picture[:, :3], picture[:, 3:]
    n, _, h, w = picture.shape

    def drawn(*shape: int) -> Any:  # noqa: ANN401
        return torch.from_numpy(rng.standard_normal(shape).astype(np.float32)).to(
            picture.device
        )

    colour = colour * (1 + 0.05 * drawn(n, 1, 1, 1)) * (1 + 0.02 * drawn(n, 3, 1, 1))
    slow = f.interpolate(0.03 * drawn(n, 1, 3, 3), size=(h, w), mode="bicubic")
    colour = colour + slow
    if rng.random() < 0.4:
        sigma = rng.uniform(*_BLUR)
        x = torch.arange(-3, 4, device=picture.device).float()
        kernel = torch.exp(-x * x / (2 * sigma * sigma))
        kernel = kernel / kernel.sum()
        flat = f.pad(colour.reshape(-1, 1, h, w), (3, 3, 3, 3), mode="replicate")
        colour = f.conv2d(flat, torch.outer(kernel, kernel)[None, None]).reshape(n, 3, h, w)
    if rng.random() < 0.6:
        colour = colour + torch.randn_like(colour) * rng.uniform(*_NOISE)
    if rng.random() < _SAVED:
        low, high = np.log(_SAVED_STEP)
        colour = _as_saved(torch, colour, float(np.exp(rng.uniform(low, high))))
    return torch.cat([colour.clamp(0, BRIGHTEST), sheet], 1)


def _as_saved(torch: Any, colour: Any, step: float) -> Any:  # noqa: ANN401
    """Return pictures (N, 3, S, S) as a small file keeps them: waves of 8 x 8 in steps.

    Fine waves are kept in coarser steps than broad ones, as in JPEG (ITU-T T.81, annex A);
    the steps here are a plain ramp, no table of a camera.
    """
    n, c, h, w = colour.shape
    k = torch.arange(8, device=colour.device).float()
    wave = torch.cos(math.pi * (2 * k[None] + 1) * k[:, None] / 16) / 2
    wave[0] /= math.sqrt(2)
    blocks = colour.reshape(n, c, h // 8, 8, w // 8, 8).transpose(3, 4)
    steps = step * (1 + k[None] + k[:, None])
    told = torch.round(wave @ blocks @ wave.T / steps) * steps
    return (wave.T @ told @ wave).transpose(3, 4).reshape(n, c, h, w)


def _plain_weights(state: dict[str, Any]) -> Weights:
    """Work the normalising into the convolutions."""
    values = {k: v.detach().cpu().double().numpy() for k, v in state.items()}
    out = {}
    for name, layer in LAYERS.items():
        weight = values[f"{name}.0.weight"]
        if layer.kind == "last":
            bias = values[f"{name}.0.bias"]
        else:
            gain = values[f"{name}.1.weight"] / np.sqrt(values[f"{name}.1.running_var"] + 1e-5)
            weight = weight * gain[:, None, None, None]
            bias = values[f"{name}.1.bias"] - values[f"{name}.1.running_mean"] * gain
        out[f"{name}.w"], out[f"{name}.b"] = weight.astype(np.float32), bias.astype(np.float32)
    return out
