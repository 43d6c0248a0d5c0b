"""What the network's answers cost while it learns.

Metal is judged pixel by pixel, as one overlap, and chip by chip. What a chip costs that is
taken for two, or two for one, is the Lovász hinge over the cells that should and do point to
one middle (Berman, Triki and Blaschko 2018; Neven and others 2019): it follows the overlap
that finds are counted by. Guessed sizes are judged by a Laplace likelihood, so that the
network learns how far off they may be.
"""

from __future__ import annotations

from typing import Any

from vision.chips.eye import CELL_PX, GUESSED, KIN
from vision.chips.ground import FIND_PX_PER_MM
from vision.training.network import FAR_MM, REACH_LOG, SPREAD_LOG
from vision.training.rows import MOST_CHIPS, NO_CHIP
from vision.training.windows import UNSEEN, areas

__all__ = ["chip_costs", "kin_costs", "metal_costs"]

#: Of a chip about so many cells are judged, of a window so many in all, and so many chips of
#: at least so many cells.
_CELLS, _CELLS_IN_ALL, _CHIPS, _LEAST_CELLS = 96, 2048, 40, 10
#: A chip of so many pixels counts as much as ground; smaller ones up to so many times.
_LARGE_PX, _MOST = 1500.0, 6.0
#: From this share of metal on a pixel is metal.
_HALF = 0.5
#: A chip of fewer pixels has no overlap of its own to be judged.
_LEAST_CHIP_PX = 8
#: Print darker than this, in even light, is dark. A chip with more than such a share of itself
#: over dark print is seen worse and is rarer: its pixels and its overlap count so many times.
_DARK, _DARK_SHARE, _PIXELS_OVER_PRINT, _OVER_PRINT = 0.5, 0.02, 2.0, 3.0
#: A chip of so many cells counts as much a pair of cells as others, within these bounds; two
#: things so many times as much as one.
_KIN_CELLS, _KIN_WEIGHT, _KIN_OTHER = 60.0, (0.3, 4.0), 3.0
#: How a strip lies on its coil parts three groups of form, and is the hardest to see.
_WORTH = {"lie": 3.0}


def metal_costs(torch: Any, logits: Any, truth: Any, paint: Any) -> dict[str, Any]:  # noqa: ANN401
    """Judge each pixel, and the overlap of all metal; thin curls count more a pixel.

    ``logits`` (N, 1, S, S), ``truth`` (N, 2 S, 2 S), and ``paint`` (N, S, S), the print that is
    to be expected, in even light; 0 where none is. What lies over dark print counts more.
    """
    f = torch.nn.functional
    chip = (truth > 0) & (truth < UNSEEN)
    share = f.avg_pool2d(chip[:, None].float(), 2)
    seen = (f.avg_pool2d((truth == UNSEEN)[:, None].float(), 2) == 0).float()
    area = areas(torch, truth).float()
    over = _over_print(torch, truth, paint, area)
    each = torch.sqrt(_LARGE_PX / area.clamp(min=6)).clamp(1, _MOST)
    each = torch.where(over, _PIXELS_OVER_PRINT * each, each)
    each[:, 0], each[:, MOST_CHIPS + 1 :] = 1, 1
    ring = torch.gather(each, 1, truth.flatten(1)).reshape(truth.shape)[:, None]
    weight = f.max_pool2d(ring, 9, 2, 4) * seen
    weight = weight * (1 + f.max_pool2d((truth == NO_CHIP)[:, None].float(), 2))
    pixel = f.binary_cross_entropy_with_logits(logits, share, reduction="none") * weight
    said, want = torch.sigmoid(logits) * seen, (share > _HALF).float() * seen
    both = 2 * (said * want).sum((1, 2, 3)) + 20
    overlap = both / (said.sum((1, 2, 3)) + want.sum((1, 2, 3)) + 20)
    return {
        "pixels": 4 * pixel.sum() / weight.sum(),
        "overlap": 0.5 * (1 - overlap).mean(),
        "each chip": 1.5 * _each_chip(torch, said, share, truth, over),
    }


def _over_print(torch: Any, truth: Any, paint: Any, area: Any) -> Any:  # noqa: ANN401
    """Return for each label, (N, 256), whether it shows enough of itself over dark print."""
    dark = (paint > 0) & (paint < _DARK)
    dark = dark.repeat_interleave(2, 1).repeat_interleave(2, 2)
    return areas(torch, torch.where(dark, truth, 0)) > _DARK_SHARE * area


def _each_chip(torch: Any, said: Any, share: Any, truth: Any, over: Any) -> Any:  # noqa: ANN401
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
    judged = judged * torch.where(over, _OVER_PRINT, 1.0).flatten()
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


def chip_costs(torch: Any, place: Any, guess: Any, truth: Any, sizes: Any) -> dict[str, Any]:  # noqa: ANN401
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


def kin_costs(torch: Any, kin: Any, truth: Any) -> dict[str, Any]:  # noqa: ANN401
    """Judge whether cells so far apart show one chip, (N, 16, h, w) logits.

    Pairs of cells that both show a chip, crumbs or something else are judged, but for two of
    crumbs and two of something else, which may be one or not. Small chips count more a cell.
    """
    owner, cells = _most_of(torch, truth)
    _, h, w = owner.shape
    each = torch.sqrt(_KIN_CELLS / cells.clamp(min=1)).clamp(*_KIN_WEIGHT)
    weight = torch.gather(each, 1, owner.flatten(1)).reshape(owner.shape)
    costs, weights = [], []
    for k, (down, right) in enumerate(KIN):
        a = (..., slice(0, h - down), slice(max(-right, 0), w - max(right, 0)))
        b = (..., slice(down, h), slice(max(right, 0), w - max(-right, 0)))
        one, two = owner[a], owner[b]
        same = one == two
        judged = (one > 0) & (two > 0) & (one != UNSEEN) & (two != UNSEEN)
        judged &= ~same | (one <= MOST_CHIPS)
        worth = judged * torch.maximum(weight[a], weight[b])
        worth = torch.where(same, worth, _KIN_OTHER * worth)
        cost = torch.nn.functional.binary_cross_entropy_with_logits(
            kin[:, k][a], same.float(), reduction="none"
        )
        costs.append((cost * worth).sum())
        weights.append(worth.sum())
    return {"kin": sum(costs) / sum(weights).clamp(min=1)}


def _most_of(torch: Any, truth: Any) -> tuple[Any, Any]:  # noqa: ANN401
    """Return what most of each cell shows but ground, (N, h, w), and their cells (N, 256)."""
    step = 2 * CELL_PX
    looks = torch.stack(
        [
            truth[:, down::step, right::step]
            for down in range(1, 8, 2)
            for right in range(1, 8, 2)
        ]
    ).byte()
    votes = torch.stack([(looks == look).sum(0) * (look > 0) for look in looks])
    owner = torch.gather(looks, 0, votes.argmax(0)[None])[0].long()
    n = len(owner)
    bins = owner + 256 * torch.arange(n, device=owner.device)[:, None, None]
    return owner, torch.bincount(bins.flatten(), minlength=256 * n).reshape(n, 256).float()


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
    worth = torch.tensor([_WORTH.get(k, 1.0) for k in GUESSED], device=sizes.device)
    return {"sizes": 0.5 * (worth * sizes).mean(), "asked": 0.3 * asked}


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
