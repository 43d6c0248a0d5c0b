"""Windows of bare sheets laid on grounds that no rendered scene holds.

A network that has seen a dozen benches knows those benches. Here the ground of a window gets
a colour and a pattern of its own, drawn by lot (``patterns``) or taken from a photograph
(``photo_grounds``); what lies there stays. Off the card a view is divided by its ground, so a
dark or blue ground shows as chips that are brighter or yellower than they are: that is what is
done here.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vision.training.patterns import drawn_patterns, things_patterns
from vision.training.photo_grounds import photo_patterns
from vision.training.windows import UNSEEN, even_of, linear_of

if TYPE_CHECKING:
    import numpy as np

__all__ = ["on_other_grounds"]

#: How often a bare window is laid on a ground of its own.
_OFTEN = 0.8
#: Spread of the ground's lightness; the spread of its colours against each other is between
#: these (logarithms); no plain tone sends back less or more than so many times what the
#: rendered ground did. A held-out blue cloth came out five times as blue as red.
_LIGHTNESS, _COLOUR, _LEAST, _MOST = 0.6, (0.1, 0.8), 0.12, 5.0
#: A pattern as dark as this on the mean is no ground.
_LEAST_MEAN = 0.02
#: How often two patterns lie over each other.
_TWO = 0.4


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
    least, most = _COLOUR
    colourful = least + (most - least) * torch.rand(n, 1, 1, 1, device=device)
    albedo = _LIGHTNESS * torch.randn(n, 1, 1, 1, device=device)
    albedo = torch.exp(albedo + colourful * torch.randn(n, 3, 1, 1, device=device))
    light = light / (1 + (1 - ground) * (albedo.clamp(_LEAST, _MOST) - 1))
    pattern = _pattern(torch, n, picture.shape[2], device)
    light = light * (1 + ground * (pattern - 1))
    out = picture.clone()
    out[picked, :3] = even_of(light)
    return out


def _pattern(torch: Any, n: int, side: int, device: Any) -> Any:  # noqa: ANN401
    """Return n patterns (n, 3, S, S) of reflectance, about 1 on the mean, kinds by lot."""
    drawn = drawn_patterns(torch, n, side, device)
    count, where = drawn.shape[1], torch.arange(n, device=device)

    def of(kind: Any) -> Any:  # noqa: ANN401
        # What is darker in one colour is so, more or less, in the others.
        coloured = 0.7 + 0.6 * torch.rand(n, 3, 1, 1, device=device)
        out = drawn[where, kind.clamp(max=count - 1)][:, None] ** coloured
        for k, patterns in enumerate((things_patterns, photo_patterns)):
            mine = (kind == count + k).nonzero()[:, 0]
            if len(mine):
                out[mine] = patterns(torch, len(mine), side, device)
        return out

    # One kind, and now and then a second one over it.
    first, second = torch.randint(count + 2, (2, n), device=device)
    also = torch.rand(n, device=device) < _TWO
    over = of(torch.where(also, second, 0))
    pattern = of(first) * torch.where(also[:, None, None, None], over, 1.0)
    return pattern / pattern.mean((2, 3), keepdim=True).clamp(min=_LEAST_MEAN)
