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

from vision.chips.eye import CELL_PX
from vision.chips.ground import FIND_PX_PER_MM
from vision.training.network import FAR_MM, LAYERS, REACH_LOG, walk
from vision.training.rows import MOST_CHIPS, NO_CHIP
from vision.training.windows import LIGHT_STEPS, UNSEEN, Windows

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    Weights = dict[str, npt.NDArray[np.float32]]

__all__ = ["learn"]

_BATCH, _RATE, _WARM_STEPS = 48, 2e-3, 300
#: Windows of a batch whose middles are judged; judging them all costs more than it brings.
_JUDGED = 20
#: Of a chip about so many cells are judged, of a window so many chips of so many cells.
_CELLS, _CHIPS, _LEAST_CELLS = 96, 40, 10
#: A chip of so many pixels counts as much as ground; smaller ones up to so many times.
_LARGE_PX, _MOST = 1500.0, 6.0
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
        How many batches are looked at; some 6,500 of 48 windows are enough.
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
    net = _network(torch).to(device)
    optimiser = torch.optim.AdamW(net.parameters(), lr=_RATE, weight_decay=1e-4)
    mean = {k: v.clone() for k, v in net.state_dict().items()}
    rng = np.random.default_rng([seed, 6])
    warm = min(_WARM_STEPS, max(steps // 10, 1))
    for step in range(steps):
        rate = min(1.0, (step + 1) / warm)
        rate *= 0.5 * (1 + math.cos(math.pi * step / steps)) + 0.01
        for group in optimiser.param_groups:
            group["lr"] = _RATE * rate
        seen, labels = windows.draw(batch, rng)
        picture = _as_a_camera(torch, torch.from_numpy(seen).to(device), rng)
        truth = torch.from_numpy(labels).to(device).long()
        with torch.autocast(device.split(":")[0], torch.bfloat16, enabled=device != "cpu"):
            metal, place = _run(torch, net, picture)
        costs = _metal_costs(torch, metal.float(), truth)
        costs |= _place_costs(torch, place[:_JUDGED].float(), truth[:_JUDGED])
        optimiser.zero_grad()
        sum(costs.values()).backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 3.0)
        optimiser.step()
        keep = min(_AVERAGED, (step + 1) / (step + 10))
        for k, v in net.state_dict().items():
            if v.dtype.is_floating_point:
                mean[k].lerp_(v, 1 - keep)
        if told is not None and (step % 200 == 0 or step == steps - 1):
            told(step, {k: float(v.detach()) for k, v in costs.items()})
    return _plain_weights(mean)


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
    nn.init.zeros_(parts["place"][0].weight)
    nn.init.zeros_(parts["place"][0].bias)
    return nn.ModuleDict(parts)


def _run(torch: Any, net: Any, picture: Any) -> tuple[Any, Any]:  # noqa: ANN401
    f = torch.nn.functional
    metal, place = walk(
        f.pixel_unshuffle(picture, 2),
        lambda name, x: net[name](x),
        lambda a, b: a + b,
        lambda x: f.interpolate(x, scale_factor=2, mode="nearest"),
        f.relu,
    )
    return f.pixel_shuffle(metal, 2), place


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
    n = len(truth)
    flat = (truth + 256 * torch.arange(n, device=truth.device)[:, None, None]).reshape(-1)
    area = torch.bincount(flat, minlength=256 * n).reshape(n, 256).float() / 4
    each = torch.sqrt(_LARGE_PX / area.clamp(min=6)).clamp(1, _MOST)
    each[:, 0], each[:, MOST_CHIPS + 1 :] = 1, 1
    ring = each.reshape(-1)[flat].reshape(truth.shape)[:, None]
    weight = f.max_pool2d(ring, 9, 2, 4) * seen
    weight = weight * (1 + f.max_pool2d((truth == NO_CHIP)[:, None].float(), 2))
    pixel = f.binary_cross_entropy_with_logits(logits, share, reduction="none") * weight
    said, want = torch.sigmoid(logits) * seen, (share > 0.5).float() * seen
    both = 2 * (said * want).sum((1, 2, 3)) + 20
    overlap = both / (said.sum((1, 2, 3)) + want.sum((1, 2, 3)) + 20)
    return {"pixels": 4 * pixel.sum() / weight.sum(), "overlap": 0.5 * (1 - overlap).mean()}


def _cells_of(torch: Any, truth: Any) -> Any:  # noqa: ANN401
    """Return the chip of each cell, (N, h, w); of four looks the first that meets one."""
    step = 2 * CELL_PX
    out = torch.zeros_like(truth[:, ::step, ::step])
    for down, right in ((4, 4), (0, 0), (2, 6), (6, 2)):
        look = truth[:, down::step, right::step]
        take = (out == 0) & (look > 0) & (look <= MOST_CHIPS)
        out = torch.where(take, look, out)
    return out


def _place_costs(torch: Any, place: Any, truth: Any) -> dict[str, Any]:  # noqa: ANN401
    """Judge whether cells of one chip, and only they, point to one middle."""
    owner = _cells_of(torch, truth)
    n, h, w = owner.shape
    mm = CELL_PX / FIND_PX_PER_MM
    down, right = torch.meshgrid(
        torch.arange(h, device=place.device),
        torch.arange(w, device=place.device),
        indexing="ij",
    )
    points = torch.stack([right, down]).float() * mm + place[:, :2] * FAR_MM
    log_reach = place[:, 2].clamp(*REACH_LOG)
    typical = torch.zeros_like(log_reach)
    hinges, uneven = [], []
    for i in range(n):
        judged = _one_window(torch, owner[i], points[i], log_reach[i])
        if judged is None:
            continue
        hinge, spread, (cells, near) = judged
        hinges.append(hinge)
        uneven.append(spread)
        typical[i].view(-1)[cells] = near
    known = torch.sigmoid(place[:, 3])
    known_cost = 4 * ((known - typical) ** 2 * (1 + 4 * (owner > 0))).mean()
    if not hinges:
        nothing = place.sum() * 0
        return {"whose": nothing, "even reach": nothing, "typical": known_cost}
    return {
        "whose": torch.cat(hinges).mean(),
        "even reach": 0.3 * torch.stack(uneven).mean(),
        "typical": known_cost,
    }


def _one_window(torch: Any, owner: Any, points: Any, log_reach: Any) -> Any:  # noqa: ANN401
    """Return hinges by chip, unevenness of reach, and how near each cell points."""
    owner, points, log_reach = owner.reshape(-1), points.reshape(2, -1), log_reach.reshape(-1)
    cells = torch.nonzero(owner).squeeze(1)
    count = torch.bincount(owner[cells], minlength=256)
    chips = torch.nonzero(count >= _LEAST_CELLS).squeeze(1)
    chips = chips[torch.randperm(len(chips), device=chips.device)[:_CHIPS]]
    if len(chips) == 0:
        return None
    index = torch.full((256,), -1, device=chips.device)
    index[chips] = torch.arange(len(chips), device=chips.device)
    own = cells[index[owner[cells]] >= 0]
    of = index[owner[own]]

    def mean(values: Any) -> Any:  # noqa: ANN401
        total = torch.zeros(len(chips), device=values.device).index_add(0, of, values)
        return total / count[chips]

    middle = torch.stack([mean(points[0][own]), mean(points[1][own])], 1)
    reach = mean(log_reach[own])
    uneven = ((log_reach[own] - reach[of].detach()) ** 2).mean()
    few = (_CELLS / count[owner[cells]].float()).clamp(max=1)
    drawn = cells[torch.rand(len(cells), device=cells.device) < few][: _CELLS * _CHIPS]
    apart = ((points[:, drawn].T[None] - middle[:, None]) ** 2).sum(2)
    near = torch.exp(-apart / (2 * torch.exp(2 * reach))[:, None])
    mine = (owner[drawn][None] == chips[:, None]).float()
    with torch.no_grad():
        far = ((points[:, own].T - middle[of]) ** 2).sum(1)
        how_near = torch.exp(-far / (2 * torch.exp(2 * reach[of])))
    return _lovasz(torch, 2 * near - 1, mine), uneven, (own, how_near)


def _lovasz(torch: Any, logits: Any, target: Any) -> Any:  # noqa: ANN401
    """Return the Lovász hinge of each row of (R, M) logits against 0 or 1."""
    error, order = torch.sort(1 - logits * (2 * target - 1), 1, descending=True)
    right = torch.gather(target, 1, order)
    whole = right.sum(1, keepdim=True)
    union = whole + (1 - right).cumsum(1)
    jaccard = 1 - (whole - right.cumsum(1)) / union.clamp(min=1)
    step = torch.cat([jaccard[:, :1], jaccard[:, 1:] - jaccard[:, :-1]], 1)
    return (torch.relu(error) * step).sum(1)


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
