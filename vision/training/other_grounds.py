"""Windows of bare sheets laid on grounds that no rendered scene holds.

A network that has seen a dozen benches knows those benches. Here the ground of a window gets
a colour, and a weave, a grain, print, threads, a grid or folds of its own, drawn by lot; what
lies there stays. Off the card a view is divided by its ground, so a dark or blue ground shows
as chips that are brighter or yellower than they are: that is what is drawn here.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from vision.training.windows import UNSEEN, even_of, linear_of

if TYPE_CHECKING:
    import numpy as np

__all__ = ["on_other_grounds"]

#: How often a bare window is laid on a ground of its own.
_OFTEN = 0.8
#: Spread of the ground's lightness, and of its colours against each other (logarithms); no
#: ground sends back less or more than so many times what the rendered one did.
_LIGHTNESS, _COLOUR, _LEAST, _MOST = 0.5, 0.25, 0.2, 3.0
#: Periods of weaves, rows of print and grids, pixels.
_WEAVE_PX, _ROWS_PX, _GRID_PX = (2.5, 12.0), (18.0, 60.0), (30.0, 90.0)
#: Threads and scratches in a window.
_THREADS = 5
#: Kinds of pattern, and how often two lie over each other.
_KINDS, _TWO = 6, 0.5
#: How often print is blobs rather than strokes.
_BLOBS = 0.4


def on_other_grounds(torch: Any, picture: Any, truth: Any, rng: np.random.Generator) -> Any:  # noqa: ANN401
    """Return windows (N, 4, S, S) in even light, some of the bare ones on another ground.

    Parameters
    ----------
    picture
        What is seen, 1 = white; the fourth picture is 0 where no print is to be expected.
    truth
        Its labels (N, 2 S, 2 S): 0 is ground.
    """
    f = torch.nn.functional
    bare = (picture[:, 3].amax((1, 2)) == 0).nonzero()[:, 0].tolist()
    picked = [i for i in bare if rng.random() < _OFTEN]
    if not picked:
        return picture
    own = truth[picked]
    ground = f.avg_pool2d(((own == 0) | (own == UNSEEN))[:, None].float(), 2)
    light = linear_of(picture[picked, :3])
    n, device = len(picked), picture.device
    albedo = _LIGHTNESS * torch.randn(n, 1, 1, 1, device=device)
    albedo = torch.exp(albedo + _COLOUR * torch.randn(n, 3, 1, 1, device=device))
    light = light / (1 + (1 - ground) * (albedo.clamp(_LEAST, _MOST) - 1))
    pattern = _pattern(torch, n, picture.shape[2], device)
    light = light * (1 + ground * (pattern - 1))
    out = picture.clone()
    out[picked, :3] = even_of(light)
    return out


def _pattern(torch: Any, n: int, side: int, device: Any) -> Any:  # noqa: ANN401
    """Return n patterns (n, 3, S, S) of reflectance, about 1 on the mean, kinds by lot."""
    f = torch.nn.functional

    def lot(low: float, high: float, *shape: int) -> Any:  # noqa: ANN401
        return low + (high - low) * torch.rand(n, *(shape or (1, 1)), device=device)

    def noise(places: int, channels: int = 1) -> Any:  # noqa: ANN401
        small = torch.randn(n, channels, places, places, device=device)
        return f.interpolate(small, size=(side, side), mode="bicubic")

    at = torch.arange(side, device=device).float() - side / 2
    turn = lot(0, math.pi)
    warp = lot(0, 6) * noise(5)[:, 0]
    u = torch.cos(turn) * at + torch.sin(turn) * at[:, None] + warp
    v = torch.cos(turn) * at[:, None] - torch.sin(turn) * at + warp.flip(1)

    def waves(of: Any, period: Any) -> Any:  # noqa: ANN401
        return torch.cos(2 * math.pi * of / period)

    def lines(of: Any, period: Any, wide: Any) -> Any:  # noqa: ANN401
        off = (torch.remainder(of, period) - period / 2).abs()
        return torch.sigmoid(3 * (wide - off))

    weave = 1 + lot(0.05, 0.45) * (waves(u, lot(*_WEAVE_PX)) + waves(v, lot(*_WEAVE_PX))) / 2
    grains = [lot(0, 0.15) * noise(max(side // k, 2))[:, 0] for k in (1, 2, 4, 8, 16)]
    grain = torch.exp(torch.stack(grains).sum(0))
    # Words are blobs in rows, or rows of strokes: where a rough relief crosses its middle.
    blobs = torch.sigmoid(
        8 * (noise(side // 4)[:, 0] * noise(side // 12)[:, 0] - lot(0.2, 0.8))
    )
    strokes = torch.sigmoid(20 * (lot(0.1, 0.3) - noise(side // 6)[:, 0].abs()))
    strokes = strokes * torch.sigmoid(8 * (noise(side // 20)[:, 0] + lot(-0.5, 0.8)))
    ink = torch.where(lot(0, 1) < _BLOBS, blobs, strokes)
    ink = ink * torch.sigmoid(6 * waves(v, lot(*_ROWS_PX)))
    print_ = 1 - lot(0.3, 0.95) * ink
    threads = torch.ones_like(print_)
    for _ in range(_THREADS):
        way = lot(0, math.pi)
        off = torch.cos(way) * u + torch.sin(way) * v + 2 * warp + lot(-side / 2, side / 2)
        threads = threads * (1 + lot(-0.7, 1.0) * torch.sigmoid(2 * (lot(0.3, 3) - off.abs())))
    grid = torch.maximum(
        lines(u, lot(*_GRID_PX), lot(0.3, 1.5)), lines(v, lot(*_GRID_PX), lot(0.3, 1.5))
    )
    grid = 1 + lot(-0.6, 0.8) * grid
    # Cloth and paper that were folded throw soft light and shade.
    ridges = 1 - noise(side // 40)[:, 0].abs() * lot(0.7, 1.3)
    folds = 1 + lot(-0.4, 0.4) * ridges + lot(0, 0.25) * noise(side // 60)[:, 0]
    # One kind, and now and then a second one over it.
    kinds = torch.stack([weave, grain, print_, threads, grid, folds.clamp(_LEAST, _MOST)], 1)
    where = torch.arange(n, device=device)
    first, second = (torch.randint(_KINDS, (n,), device=device) for _ in range(2))
    also = (lot(0, 1, 1, 1, 1) < _TWO).float()
    pattern = kinds[where, first, None] * (1 + also * (kinds[where, second, None] - 1))
    pattern = pattern ** lot(0.7, 1.3, 3, 1, 1)
    return pattern / pattern.mean((2, 3), keepdim=True)
