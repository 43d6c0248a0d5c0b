"""Real photographs that hold no chips, as grounds of windows that are learned from.

They come with scikit-image and scikit-learn: nothing is fetched. Some of their pictures are
learned from (:data:`LEARNED`), others are kept apart, and only read (:data:`KEPT_APART`), so
that it can be told how many chips are seen in real pictures without any.
"""

from __future__ import annotations

import math
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
from skimage import color, data
from sklearn.datasets import load_sample_image

from vision.photo.colour import linear_from_rgb
from vision.training.nets import load_torch

if TYPE_CHECKING:
    from vision.arrays import Rgb8

__all__ = ["KEPT_APART", "LEARNED", "library_photo", "photo_patterns"]

#: Names of pictures as the libraries call them.
LEARNED = (
    "brick",
    "china",
    "clock",
    "gravel",
    "hubble_deep_field",
    "page",
    "stereo_motorcycle",
)
KEPT_APART = ("chelsea", "coffee", "coins", "flower", "grass", "moon", "rocket", "text")
_FROM_SKLEARN = ("china", "flower")
_COLOURS = 3
#: Pixels of a picture for a pixel of a window, as logarithms.
_ZOOM = (math.log(0.25), math.log(1.2))
#: The ground that a view is divided by is evened over so many squares of so many pixels.
_SQUARE_PX, _SQUARES = 8, 31
#: No ground is taken to be darker than this when a view is divided by it.
_LEAST_GROUND = 0.02


def library_photo(name: str) -> Rgb8:
    """Return a picture by name, (H, W, 3) uint8.

    Raises
    ------
    ValueError
        No picture of that name is used here.
    """
    if name not in LEARNED + KEPT_APART:
        raise ValueError(f"no picture is called {name}")
    if name in _FROM_SKLEARN:
        return np.asarray(load_sample_image(f"{name}.jpg"), np.uint8)
    picture = getattr(data, name)()
    # Of a pair for two eyes one is enough.
    picture = np.asarray(picture[0] if isinstance(picture, tuple) else picture)
    grey = picture.shape[-1] != _COLOURS
    return np.asarray(color.gray2rgb(picture) if grey else picture, np.uint8)


@cache
def _on_device(device: str) -> list[Any]:
    """Return what is learned from in linear light, (1, 3, H, W) each."""
    torch = load_torch()
    return [
        torch.from_numpy(linear_from_rgb(library_photo(name)).transpose(2, 0, 1)[None].copy())
        .float()
        .to(device)
        for name in LEARNED
    ]


def photo_patterns(torch: Any, n: int, side: int, device: Any) -> Any:  # noqa: ANN401
    """Return n grounds (n, 3, S, S) cut out of photographs, divided by what is even in them.

    Turned, larger or smaller, and mirrored where a picture ends; divided by its own ground as
    a view off the card is (here by the mean round a place, there by the median).
    """
    f = torch.nn.functional
    photos = _on_device(str(device))
    at = (torch.arange(side, device=device).float() + 0.5 - side / 2)[None]
    out = []
    for k in torch.randint(len(photos), (n,)).tolist():
        h, w = photos[k].shape[2:]
        turn, *middle = (torch.rand(3) * torch.tensor([2 * math.pi, 2.0, 2.0])).tolist()
        zoom = math.exp(_ZOOM[0] + (_ZOOM[1] - _ZOOM[0]) * float(torch.rand(())))
        x = zoom * (math.cos(turn) * at - math.sin(turn) * at.T)
        y = zoom * (math.sin(turn) * at + math.cos(turn) * at.T)
        grid = torch.stack([2 * x / w + middle[0] - 1, 2 * y / h + middle[1] - 1], -1)[None]
        out.append(
            f.grid_sample(photos[k], grid, padding_mode="reflection", align_corners=False)
        )
    light = torch.cat(out)
    squares = f.avg_pool2d(light, _SQUARE_PX)
    even = f.avg_pool2d(squares, _SQUARES, 1, _SQUARES // 2, count_include_pad=False)
    even = f.interpolate(even, size=(side, side), mode="bilinear")
    return light / even.clamp(min=_LEAST_GROUND)
