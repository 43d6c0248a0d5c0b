"""Section of a chip from the cut that made it: depth, feed and lead angle.

The tool leaves a layer of uncut width b and thickness h; the metal is upset as it
passes the edge, so that the chip is thicker than h by the compression and a little
wider than b. Geometry of the layer is in any text on turning (ISO 3002 names); the
widening of up to 15 % is from memory, and the ranges of depth and feed are those of
a small lathe (ours).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from vision.training.made import Section
from vision.training.noise import log_uniform

if TYPE_CHECKING:
    import numpy as np

__all__ = ["LIMITS_MM", "draw_cut", "uncut_layer_mm"]

DEPTH_MM = (0.1, 2.5)
FEED_MM_REV = (0.03, 0.25)
LEAD_DEG = (45.0, 95.0)
#: Nose radii of common inserts and of a ground tool, mm.
NOSE_MM = (0.1, 0.2, 0.4, 0.8)
WIDENING = (1.0, 1.15)

#: Chip width and thickness that the makers of forms accept, mm.
LIMITS_MM = ((0.15, 2.5), (0.05, 0.6))
#: A chip thicker than this share of its width is a wire, not a strip.
_STOUTEST = 0.5
_TRIES = 200


def uncut_layer_mm(
    depth_mm: float, feed_mm_rev: float, lead_deg: float, nose_mm: float = 0.0
) -> tuple[float, float]:
    """Width and mean thickness of the layer that one revolution takes off.

    The width is the length of edge in the cut, straight part and rounded nose; the
    thickness is what makes width times thickness equal depth times feed. Without a
    nose radius these are depth / sin(lead) and feed * sin(lead).

    Parameters
    ----------
    depth_mm, feed_mm_rev : float
        Depth of cut and feed, positive.
    lead_deg : float
        Angle between main edge and feed direction (kappa_r), 0 to 120.
    nose_mm : float
        Nose radius, 0 or more.
    """
    lead = math.radians(lead_deg)
    rounded_mm = nose_mm * (1 - math.cos(lead))  # depth that the nose alone reaches
    if depth_mm >= rounded_mm:
        width = (depth_mm - rounded_mm) / math.sin(lead) + nose_mm * lead
    else:
        width = nose_mm * math.acos(1 - depth_mm / nose_mm)
    return width, depth_mm * feed_mm_rev / width


def draw_cut(rng: np.random.Generator, compression: tuple[float, float]) -> Section:
    """Draw a cut on a small lathe and give the section of its chips.

    Parameters
    ----------
    rng : numpy.random.Generator
        The only source of chance.
    compression : (2,) float
        Range of chip thickness over uncut thickness for the metal, each 0.5 to 6.

    Returns
    -------
    Section
        Within :data:`LIMITS_MM`, at least twice as wide as thick; cuts that leave
        these limits are drawn again.
    """
    (narrow, wide), (thin, thick) = LIMITS_MM
    ratio = log_uniform(rng, *compression)
    for _ in range(_TRIES):
        depth, feed = log_uniform(rng, *DEPTH_MM), log_uniform(rng, *FEED_MM_REV)
        b, h = uncut_layer_mm(depth, feed, rng.uniform(*LEAD_DEG), float(rng.choice(NOSE_MM)))
        width, thickness = b * rng.uniform(*WIDENING), h * ratio
        if narrow <= width <= wide and thin <= thickness <= min(thick, _STOUTEST * width):
            return Section(width_mm=float(width), thickness_mm=float(thickness))
    raise ValueError(f"no cut gives a strip with a compression of {compression}")
