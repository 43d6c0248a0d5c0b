"""Windows with chips of another window laid over their own.

Scenes hold fewer chips that touch, and fewer chips on bare benches, than there is to learn
from them. Here some chips of a second window are laid where they were seen, with the shadow
they threw, over what a window shows: more of them touch, cross and hide each other, and
chips seen on the card come to lie on benches. Learned so, whole chips laid into other pictures
are known to help telling things apart (Ghiasi and others 2021; from memory).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from vision.training.rows import MOST_CHIPS
from vision.training.windows import OF_WHOLE, UNSEEN, WHOLE, areas, even_of, linear_of

if TYPE_CHECKING:
    import numpy as np

__all__ = ["laid_over"]

#: How often chips are laid over a window on the card, and over a bare one.
_ON_CARD, _ON_BARE = 0.5, 0.8
#: How often a chip of the second window is taken.
_TAKEN = 0.6
#: A shadow is taken so far round a chip, squares of eight pixels; the least light in it.
_ROUND, _LEAST_LIGHT = 3, 0.25
#: Nothing but white sheet is expected from here on, so that what is darker is shadow.
_WHITE = 0.97


def laid_over(
    torch: Any,  # noqa: ANN401
    seen: Any,  # noqa: ANN401
    truth: Any,  # noqa: ANN401
    sizes: Any,  # noqa: ANN401
    rng: np.random.Generator,
) -> tuple[Any, Any, Any]:
    """Lay chips of some windows over others.

    Parameters
    ----------
    seen
        Windows in even light (N, 4, S, S), 1 = white; the fourth picture is 0 where no print
        is to be expected.
    truth
        Their labels (N, 2 S, 2 S).
    sizes
        Sizes of the chips by number (N, 256, G); those that only a whole chip shows become
        NaN where a chip is covered.

    Returns
    -------
    seen, truth, sizes
        The same with chips laid over, which have numbers that were free.
    """
    n, device = len(seen), seen.device
    bare = (seen[:, 3].amax((1, 2)) == 0).tolist()
    # A chip divided by a dark bench is too bright for the card; one from the card suits any
    # bench, whose light is drawn by lot afterwards.
    pairs = [
        (i, j)
        for i, j in enumerate(rng.permutation(n).tolist())
        if i != j
        and (bare[i] or not bare[j])
        and rng.random() < (_ON_BARE if bare[i] else _ON_CARD)
    ]
    if not pairs:
        return seen, truth, sizes
    below, above = (torch.tensor(k, device=device) for k in zip(*pairs, strict=True))
    host, guest = truth[below], truth[above].flip(2)
    number, taken = _free_numbers(torch, host, guest)
    laid = torch.gather(number, 1, guest.flatten(1)).reshape(guest.shape)
    laid = torch.where(host == UNSEEN, 0, laid)
    both = torch.where(laid > 0, laid, host)
    colour = _pictures(torch, seen[below, :3], seen[above].flip(3), guest, laid)

    own = sizes[below]
    source = torch.gather(sizes[above], 1, taken[1][:, :, None].expand(-1, -1, sizes.shape[2]))
    own = own.scatter(1, taken[0][:, :, None].expand(-1, -1, sizes.shape[2]), source)
    own[:, 0] = math.nan
    covered = areas(torch, both) < WHOLE * areas(torch, host)
    for k in OF_WHOLE:
        own[:, :, k] = torch.where(covered, math.nan, own[:, :, k])

    seen, truth, sizes = seen.clone(), truth.clone(), sizes.clone()
    seen[below, :3], truth[below], sizes[below] = colour, both, own
    return seen, truth, sizes


def _free_numbers(torch: Any, host: Any, guest: Any) -> tuple[Any, tuple[Any, Any]]:  # noqa: ANN401
    """Return for each label of a guest its number in the host (N, 256), 0 if not taken.

    Besides, number by number, where sizes go and where they come from (0 to 0 if nowhere).
    """

    def there(labels: Any) -> Any:  # noqa: ANN401
        flat = labels.flatten(1)
        none = torch.zeros(len(flat), 256, dtype=torch.bool, device=flat.device)
        return none.scatter(1, flat, torch.ones_like(flat, dtype=torch.bool))[
            :, 1 : MOST_CHIPS + 1
        ]

    used, wanted = there(host), there(guest)
    wanted &= torch.rand(wanted.shape, device=wanted.device) < _TAKEN
    free = used.byte().argsort(dim=1, stable=True) + 1
    ask = (~wanted).byte().argsort(dim=1, stable=True) + 1
    at = torch.arange(MOST_CHIPS, device=used.device)[None]
    given = (at < (~used).sum(1, keepdim=True)) & (at < wanted.sum(1, keepdim=True))
    to, source = torch.where(given, free, 0), torch.where(given, ask, 0)
    number = torch.zeros(len(used), 256, dtype=torch.long, device=used.device)
    return number.scatter(1, ask, to), (to, source)


def _pictures(torch: Any, host: Any, other: Any, guest: Any, laid: Any) -> Any:  # noqa: ANN401
    """Return the host's colours with the guest's chips and their shadows on them."""
    f = torch.nn.functional
    share = f.avg_pool2d((laid > 0)[:, None].float(), 2)
    light = linear_of(other[:, :3]).mean(1, keepdim=True)
    paint = other[:, 3:]
    plain = (f.max_pool2d((guest != 0)[:, None].float(), 2) == 0) & (
        (paint == 0) | (paint > _WHITE)
    )
    shade = f.avg_pool2d(torch.where(plain, light.clamp(_LEAST_LIGHT, 1), 1.0), 3, 1, 1)
    near = f.max_pool2d(share, 8)
    near = f.avg_pool2d(f.max_pool2d(near, 2 * _ROUND + 1, 1, _ROUND), 3, 1, 1)
    near = f.interpolate(near, scale_factor=8, mode="bilinear")
    shaded = even_of(linear_of(host) * (1 + near * (shade - 1)))
    return shaded + share * (other[:, :3] - shaded)
