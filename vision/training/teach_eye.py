"""How the eye learns: what its answers cost, and the walk down that cost.

Runs on whatever PyTorch finds: minutes on a graphics card, days on a processor. What a chip
costs that is taken for two, or two for one, is the Lovász hinge over the cells that should
and do point to one middle (Berman, Triki and Blaschko 2018; Neven and others 2019): it
follows the overlap that finds are counted by.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from vision.chips.eye import CELL_PX, GUESSED
from vision.chips.ground import FIND_PX_PER_MM
from vision.training.network import FAR_MM, LAYERS, REACH_LOG, SPREAD_LOG, walk
from vision.training.rows import MOST_CHIPS, NO_CHIP
from vision.training.windows import LIGHT_STEPS, UNSEEN

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import numpy.typing as npt

    from vision.training.windows import Window, Windows

    Weights = dict[str, npt.NDArray[np.float32]]

__all__ = ["learn"]

_BATCH, _RATE, _WARM_STEPS = 28, 2e-3, 300
#: Of a chip about so many cells are judged, of a window so many in all, and so many chips of
#: at least so many cells.
_CELLS, _CELLS_IN_ALL, _CHIPS, _LEAST_CELLS = 96, 2048, 40, 10
#: A chip is seen whole when so much of it lies in the window.
_WHOLE = 0.95
#: Sizes that only a whole chip shows.
_OF_THE_WHOLE = ("length", "taper", "turns", "coil_length")
#: A chip of so many pixels counts as much as ground; smaller ones up to so many times.
_LARGE_PX, _MOST = 1500.0, 6.0
#: A chip of fewer pixels has no overlap of its own to be judged.
_LEAST_CHIP_PX = 8
#: Weights are averaged over about so many steps.
_AVERAGED = 0.998
_BLUR, _NOISE = (0.3, 1.0), (0.003, 0.03)


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
        How many batches are looked at; after some 20,000 of 28 windows little is gained.
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
    try:
        import torch  # noqa: PLC0415 - heavy, only for learning
    except ImportError as error:
        raise RuntimeError('learning needs the extra "train"') from error
    device = device or ("cuda:0" if torch.cuda.is_available() else "cpu")
    torch.manual_seed(seed)
    torch.backends.cudnn.benchmark = True
    net = _network(torch).to(device, memory_format=torch.channels_last)
    optimiser = torch.optim.AdamW(net.parameters(), lr=_RATE, weight_decay=1e-4)
    state = [v for v in net.state_dict().values() if v.dtype.is_floating_point]
    mean = [v.clone() for v in state]
    sheets = _OnDevice(torch, windows, device)
    rng = np.random.default_rng([seed, 6])
    warm = min(_WARM_STEPS, max(steps // 10, 1))
    for step in range(steps):
        rate = min(1.0, (step + 1) / warm)
        rate *= 0.5 * (1 + math.cos(math.pi * step / steps)) + 0.01
        for group in optimiser.param_groups:
            group["lr"] = _RATE * rate
        seen, truth, sizes = sheets.cut(windows.draw(batch, rng))
        picture = _as_a_camera(torch, seen, rng).contiguous(memory_format=torch.channels_last)
        with torch.autocast(device.split(":")[0], torch.bfloat16, enabled=device != "cpu"):
            metal, place, guess = _run(torch, net, picture)
        costs = _metal_costs(torch, metal.float(), truth)
        costs |= _chip_costs(torch, place.float(), guess.float(), truth, sizes)
        optimiser.zero_grad()
        sum(costs.values()).backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 3.0)
        optimiser.step()
        keep = min(_AVERAGED, (step + 1) / (step + 10))
        torch._foreach_lerp_(mean, state, 1 - keep)
        if told is not None and (step % 200 == 0 or step == steps - 1):
            told(step, {k: float(v.detach()) for k, v in costs.items()})
    names = [k for k, v in net.state_dict().items() if v.dtype.is_floating_point]
    return _plain_weights(dict(zip(names, mean, strict=True)))


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
        areas = [np.bincount(s.labels[::2, ::2].ravel(), minlength=256) for s in windows.sheets]
        self._area = torch.from_numpy(np.stack(areas)).to(device)
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
        whole = _areas(torch, truth) >= _WHOLE * self._area[which]
        sizes = self._sizes[which].clone()
        for k, name in enumerate(GUESSED):
            if name in _OF_THE_WHOLE:
                sizes[:, :, k] = torch.where(whole, sizes[:, :, k], math.nan)
        return torch.stack(seen), truth, sizes


def _areas(torch: Any, truth: Any) -> Any:  # noqa: ANN401
    """Count labels, every other one each way: (N, 256)."""
    some = truth[:, ::2, ::2]
    n = len(some)
    flat = some + 256 * torch.arange(n, device=some.device)[:, None, None]
    return torch.bincount(flat.reshape(-1), minlength=256 * n).reshape(n, 256)


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


def _run(torch: Any, net: Any, picture: Any) -> tuple[Any, Any, Any]:  # noqa: ANN401
    f = torch.nn.functional
    metal, place, guess = walk(
        f.pixel_unshuffle(picture, 2),
        lambda name, x: net[name](x),
        lambda a, b: a + b,
        lambda x: f.interpolate(x, scale_factor=2, mode="nearest"),
        f.relu,
    )
    return f.pixel_shuffle(metal, 2), place, guess


def _as_a_camera(torch: Any, seen: Any, rng: np.random.Generator) -> Any:  # noqa: ANN401
    """Return (N, 4, S, S) of the bytes seen, in a light and sharpness of its own."""
    f = torch.nn.functional
    picture = seen.float() / LIGHT_STEPS
    colour, sheet = picture[:, :3], picture[:, 3:]
    n, _, h, w = picture.shape

    def drawn(*shape: int) -> Any:  # noqa: ANN401
        return torch.from_numpy(rng.standard_normal(shape).astype(np.float32)).to(seen.device)

    colour = colour * (1 + 0.05 * drawn(n, 1, 1, 1)) * (1 + 0.02 * drawn(n, 3, 1, 1))
    slow = f.interpolate(0.03 * drawn(n, 1, 3, 3), size=(h, w), mode="bicubic")
    colour = colour + slow
    if rng.random() < 0.4:
        sigma = rng.uniform(*_BLUR)
        x = torch.arange(-3, 4, device=seen.device).float()
        kernel = torch.exp(-x * x / (2 * sigma * sigma))
        kernel = kernel / kernel.sum()
        flat = f.pad(colour.reshape(-1, 1, h, w), (3, 3, 3, 3), mode="replicate")
        colour = f.conv2d(flat, torch.outer(kernel, kernel)[None, None]).reshape(n, 3, h, w)
    if rng.random() < 0.6:
        colour = colour + torch.randn_like(colour) * rng.uniform(*_NOISE)
    return torch.cat([colour.clamp(0, 1.6), sheet], 1)


def _metal_costs(torch: Any, logits: Any, truth: Any) -> dict[str, Any]:  # noqa: ANN401
    """Judge each pixel, and the overlap of all metal; thin curls count more a pixel."""
    f = torch.nn.functional
    chip = (truth > 0) & (truth < UNSEEN)
    share = f.avg_pool2d(chip[:, None].float(), 2)
    seen = (f.avg_pool2d((truth == UNSEEN)[:, None].float(), 2) == 0).float()
    area = _areas(torch, truth).float()
    each = torch.sqrt(_LARGE_PX / area.clamp(min=6)).clamp(1, _MOST)
    each[:, 0], each[:, MOST_CHIPS + 1 :] = 1, 1
    ring = torch.gather(each, 1, truth.flatten(1)).reshape(truth.shape)[:, None]
    weight = f.max_pool2d(ring, 9, 2, 4) * seen
    weight = weight * (1 + f.max_pool2d((truth == NO_CHIP)[:, None].float(), 2))
    pixel = f.binary_cross_entropy_with_logits(logits, share, reduction="none") * weight
    said, want = torch.sigmoid(logits) * seen, (share > 0.5).float() * seen
    both = 2 * (said * want).sum((1, 2, 3)) + 20
    overlap = both / (said.sum((1, 2, 3)) + want.sum((1, 2, 3)) + 20)
    return {
        "pixels": 4 * pixel.sum() / weight.sum(),
        "overlap": 0.5 * (1 - overlap).mean(),
        "each chip": _each_chip(torch, said, share, truth),
    }


def _each_chip(torch: Any, said: Any, share: Any, truth: Any) -> Any:  # noqa: ANN401
    """Judge the overlap of each chip, large or small, with what is called metal there.

    The least over the greatest of what is said and what is true, summed over its pixels.
    """
    f = torch.nn.functional
    number = torch.where(truth <= MOST_CHIPS, truth, 0).float()[:, None]
    own = f.max_pool2d(number, 2)
    whose = torch.where(own > 0, own, f.max_pool2d(own, 9, 1, 4)).long()
    other = f.max_pool2d((truth > MOST_CHIPS)[:, None].float(), 2) > 0
    whose = torch.where(other & (own == 0), 0, whose)
    n = len(whose)
    bins = whose + 256 * torch.arange(n, device=whose.device)[:, None, None, None]
    # Ground is spread over many bins, or all would wait for one.
    spare = torch.arange(whose[0].numel(), device=whose.device).reshape(whose[0].shape) % 4096
    bins = torch.where(whose > 0, bins, 256 * n + spare).reshape(-1)

    def total(values: Any) -> Any:  # noqa: ANN401
        sums = torch.zeros(256 * n + 4096, device=values.device)
        return sums.scatter_add(0, bins, values.reshape(-1))[: 256 * n]

    low, high = total(torch.minimum(said, share)), total(torch.maximum(said, share))
    judged = (total(share) >= _LEAST_CHIP_PX).float()
    return (judged * (1 - low / high.clamp(min=1))).sum() / judged.sum().clamp(min=1)


def _cells_of(torch: Any, truth: Any) -> Any:  # noqa: ANN401
    """Return the chip of each cell, (N, h, w); of four looks the first that meets one."""
    step = 2 * CELL_PX
    out = torch.zeros_like(truth[:, ::step, ::step])
    for down, right in ((4, 4), (0, 0), (2, 6), (6, 2)):
        look = truth[:, down::step, right::step]
        take = (out == 0) & (look > 0) & (look <= MOST_CHIPS)
        out = torch.where(take, look, out)
    return out


def _chip_costs(torch: Any, place: Any, guess: Any, truth: Any, sizes: Any) -> dict[str, Any]:  # noqa: ANN401
    """Judge whether cells of one chip, and only they, point to one middle, and its sizes."""
    grid = _cells_of(torch, truth)
    _, h, w = grid.shape
    mm = CELL_PX / FIND_PX_PER_MM
    down, right = torch.meshgrid(
        torch.arange(h, device=place.device),
        torch.arange(w, device=place.device),
        indexing="ij",
    )
    points = torch.stack([right, down]).float() * mm + place[:, :2] * FAR_MM
    points = points.flatten(2).transpose(1, 2)
    log_reach = place[:, 2].clamp(*REACH_LOG).flatten(1)
    owner = grid.flatten(1)
    count, middle, reach = _by_number(torch, owner, points, log_reach)
    # So many of the chips that show enough of themselves, by lot.
    lot = torch.rand(count.shape, device=count.device)
    lot[(count < _LEAST_CELLS)] = -1
    lot[:, 0], lot[:, MOST_CHIPS + 1 :] = -1, -1
    lot, chips = lot.topk(_CHIPS, 1)
    # So many of their cells, of each chip about as many.
    of_own = torch.gather(count, 1, owner)
    wanted = (owner > 0) & (owner <= MOST_CHIPS)
    wanted &= torch.rand(owner.shape, device=owner.device) * of_own < _CELLS
    key = torch.where(wanted, torch.rand(owner.shape, device=owner.device), -1.0)
    key, cells = key.topk(min(_CELLS_IN_ALL, key.shape[1]), 1)
    drawn, whose = key >= 0, torch.gather(owner, 1, cells)
    at = torch.gather(points, 1, cells[:, :, None].expand(-1, -1, 2))
    centre = torch.gather(middle, 1, chips[:, :, None].expand(-1, -1, 2))
    size = torch.exp(2 * torch.gather(reach, 1, chips))
    near = torch.exp(-((at[:, None] - centre[:, :, None]) ** 2).sum(3) / (2 * size[:, :, None]))
    mine = (whose[:, None] == chips[:, :, None]) & drawn[:, None]
    judged = (lot >= 0).float()
    hinges = _lovasz(torch, 2 * near - 1, mine, drawn[:, None].expand_as(mine))
    metal = (owner > 0).float()
    with torch.no_grad():
        own_middle = torch.gather(middle, 1, owner[:, :, None].expand(-1, -1, 2))
        own_reach = torch.gather(reach, 1, owner)
        off = ((points - own_middle) ** 2).sum(2)
        enough = metal * (of_own >= _LEAST_CELLS)
        typical = torch.exp(-off / (2 * torch.exp(2 * own_reach))) * enough
    uneven = ((log_reach - own_reach) ** 2 * enough).sum() / enough.sum().clamp(min=1)
    known = torch.sigmoid(place[:, 3]).flatten(1)
    shown = guess.repeat_interleave(2, 2).repeat_interleave(2, 3).flatten(2).transpose(1, 2)
    said = torch.gather(shown, 1, cells[:, :, None].expand(-1, -1, shown.shape[2]))
    want = torch.gather(sizes, 1, whose[:, :, None].expand(-1, -1, sizes.shape[2]))
    return {
        "whose": (hinges * judged).sum() / judged.sum().clamp(min=1),
        "even reach": 0.3 * uneven,
        "typical": 4 * ((known - typical) ** 2 * (1 + 4 * metal)).mean(),
    } | _size_costs(torch, said, want, drawn)


def _by_number(torch: Any, owner: Any, points: Any, log_reach: Any) -> tuple[Any, Any, Any]:  # noqa: ANN401
    """Return cells, middle and mean logarithm of reach of each number, (N, 256[, 2])."""
    n = len(owner)
    one = torch.ones_like(log_reach)

    def total(values: Any) -> Any:  # noqa: ANN401
        return torch.zeros(n, 256, device=owner.device).scatter_add(1, owner, values)

    count = total(one)
    each = count.clamp(min=1)
    middle = torch.stack([total(points[:, :, k]) / each for k in (0, 1)], 2)
    return count, middle, total(log_reach) / each


def _size_costs(torch: Any, said: Any, want: Any, drawn: Any) -> dict[str, Any]:  # noqa: ANN401
    """Judge guessed sizes by what their own spread lets expect, and what was asked."""
    k = len(GUESSED)
    spread = said[:, :, k : 2 * k].clamp(*SPREAD_LOG)
    known = torch.isfinite(want) & drawn[:, :, None]
    off = (said[:, :, :k] - torch.nan_to_num(want)).abs() * torch.exp(-spread) + spread
    sizes = torch.where(known, off, 0.0).sum((0, 1)) / known.sum((0, 1)).clamp(min=1)
    curls = torch.isfinite(want[:, :, GUESSED.index("curl_radius")])
    winds = torch.isfinite(want[:, :, GUESSED.index("pitch")])
    asked = torch.nn.functional.binary_cross_entropy_with_logits(
        said[:, :, 2 * k :], torch.stack([curls, winds], 2).float(), reduction="none"
    )
    asked = (asked * drawn[:, :, None]).sum() / drawn.sum().clamp(min=1)
    return {"sizes": 0.5 * sizes.mean(), "asked": 0.3 * asked}


def _lovasz(torch: Any, logits: Any, target: Any, drawn: Any) -> Any:  # noqa: ANN401
    """Return the Lovász hinge of the last axis of (N, K, M) logits, what is drawn of it."""
    error = 1 - logits * (2 * target.float() - 1)
    error, order = torch.where(drawn, error, -1.0).sort(2, descending=True)
    right, there = torch.gather(target, 2, order).float(), torch.gather(drawn, 2, order).float()
    whole = right.sum(2, keepdim=True)
    union = whole + ((1 - right) * there).cumsum(2)
    jaccard = 1 - (whole - right.cumsum(2)) / union.clamp(min=1)
    step = torch.cat([jaccard[:, :, :1], jaccard[:, :, 1:] - jaccard[:, :, :-1]], 2)
    return (torch.relu(error) * step).sum(2)


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
