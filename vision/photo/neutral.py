"""A neutral that a person points at, where the photo shows no white by itself.

Not in here: the sheet's own white (``light``), which is better and goes first. One spot in
one light tells the lamp's colour where it lies, no more; so colours balanced by it are to
be trusted less.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from vision.photo.colour import linear_from_rgb
from vision.photo.paper import LUMA
from vision.terms import Flag

if TYPE_CHECKING:
    from vision.photo.light import Light
    from vision.photo.plane import Plane

__all__ = ["with_tapped_neutral"]

#: Half the side of the square about the point that is looked at, as a share of the photo's
#: width, and at least px.
_REACH, _REACH_MIN_PX = 0.003, 4
#: Linear share of full scale between which a spot can serve, and how unlike its strongest
#: and weakest channel may be: a warm lamp makes white 4 to 1, a red rag is more.
_DARK, _CLIPPED, _RATIO_MAX = 0.02, 0.95, 5.0
#: Scatter of the spot over its mean above which it is no even surface.
_SCATTER_MAX = 0.15


def with_tapped_neutral(light: Light, plane: Plane, at_px: tuple[float, float]) -> Light:
    """Return the light with the colour of a neutral thing that a person pointed at.

    Parameters
    ----------
    light : Light
    plane : Plane
    at_px : (x, y)
        In pixels of the upright photo, from its upper left corner.

    Returns
    -------
    Light
        The same one where the sheet's own white was found, and where the spot is clipped,
        dark, uneven, plainly coloured or outside the photo: then there still is no neutral.
        Otherwise with
        ``tapped`` and without ``Flag.NO_NEUTRAL``; :meth:`Light.apply` does not change.

    Notes
    -----
    Not to be trusted for: paper with blue whitener under daylight, painted or oily grey,
    a spot in another light than the chips.
    """
    height, width = plane.photo.rgb.shape[:2]
    x, y = at_px
    if light.neutral or not (0 <= x < width and 0 <= y < height):
        return light
    reach = max(round(_REACH * width), _REACH_MIN_PX)
    left, top = max(int(x) - reach, 0), max(int(y) - reach, 0)
    spot = plane.photo.rgb[top : int(y) + reach + 1, left : int(x) + reach + 1]
    linear = linear_from_rgb(spot, plane.photo.icc).reshape(-1, 3).astype(np.float64)
    colour = np.median(linear, axis=0)
    luma = linear @ LUMA
    level = float(colour @ LUMA)
    even = float(luma.std()) <= _SCATTER_MAX * level
    usable = level > _DARK and colour.max() < _CLIPPED and even
    if not usable or colour.max() > _RATIO_MAX * max(float(colour.min()), 1e-6):
        return light
    flags = tuple(flag for flag in light.flags if flag != Flag.NO_NEUTRAL)
    return replace(light, tapped=colour / level, flags=flags)
