"""Patterns of grounds that no rendered scene holds, drawn by lot for windows to learn from.

In here: weaves, grains, print, threads, grids, folds, and things lying over each other. Not
in here: laying them under chips (``other_grounds``), grounds of real photographs
(``photo_grounds``).
"""

from __future__ import annotations

import math
from typing import Any

__all__ = ["drawn_patterns", "things_patterns"]

#: Periods of weaves, rows of print and grids, pixels.
_WEAVE_PX, _ROWS_PX, _GRID_PX = (2.5, 12.0), (18.0, 60.0), (30.0, 90.0)
#: Threads and scratches in a window.
_THREADS = 5
#: How often print is blobs rather than strokes.
_BLOBS = 0.4
#: Things that lie over each other: how many, half their width and how blurred their long rims,
#: pixels; how much longer than wide, and how different in tone and colour (logarithms).
_THINGS, _HALF_PX, _RIM_PX = 48, (1.2, 110.0), (0.25, 1.5)
_LONGER, _TONE, _TINT = 1.6, 0.7, 0.15
#: How often a thing is round, and how often it is a ring or a frame.
_ROUND, _HOLLOW = 0.6, 0.2
#: No fold sends back less or more than so many times the light of its ground.
_LEAST, _MOST = 0.2, 3.0


def drawn_patterns(torch: Any, n: int, side: int, device: Any) -> Any:  # noqa: ANN401
    """Return n patterns of each kind but things, (n, K, S, S) of reflectance, by lot."""
    f = torch.nn.functional

    def lot(low: float, high: float) -> Any:  # noqa: ANN401
        return low + (high - low) * torch.rand(n, 1, 1, device=device)

    def noise(places: int) -> Any:  # noqa: ANN401
        small = torch.randn(n, 1, places, places, device=device)
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
    return torch.stack([weave, grain, print_, threads, grid, folds.clamp(_LEAST, _MOST)], 1)


def things_patterns(torch: Any, n: int, side: int, device: Any) -> Any:  # noqa: ANN401
    """Return n pictures (n, 3, S, S) of plain things with sharp rims, one over the other.

    Parts of machines, tools, holes, stains: a size is as likely as its double, so that some
    are as large as chips. None of them winds.
    """

    def lot(low: float, high: float) -> Any:  # noqa: ANN401
        return low + (high - low) * torch.rand(n, 1, 1, device=device)

    at = torch.arange(side, device=device).float()
    out = torch.ones(n, 3, side, side, device=device)
    for _ in range(_THINGS):
        half, turn = torch.exp(lot(*(math.log(px) for px in _HALF_PX))), lot(0, math.pi)
        x, y = at - lot(0, side), at[:, None] - lot(0, side)
        u = (torch.cos(turn) * x + torch.sin(turn) * y) / (half * torch.exp(lot(0, _LONGER)))
        v = (torch.cos(turn) * y - torch.sin(turn) * x) / half
        far = torch.where(
            lot(0, 1) < _ROUND, torch.hypot(u, v), torch.maximum(u.abs(), v.abs())
        )
        rim = half / lot(*_RIM_PX)
        cover = torch.sigmoid(((1 - far) * rim).clamp(-30, 30))
        hole = torch.sigmoid(((far - lot(0.3, 0.9)) * rim).clamp(-30, 30))
        cover = torch.where(lot(0, 1) < _HOLLOW, cover * hole, cover)[:, None]
        tone = _TONE * torch.randn(n, 1, 1, 1, device=device)
        tone = torch.exp(tone + _TINT * torch.randn(n, 3, 1, 1, device=device))
        # Lit from one side, as whatever is not flat.
        shaded = tone * (1 + lot(-0.4, 0.4) * u.clamp(-1, 1))[:, None]
        out = out + cover * (shaded - out)
    return out
