"""From the physics of a cut to the mixture of chip forms, and which chips are right.

Codes are those of ISO 3685:1993. The mixture is by volume of metal: a sum of soft decisions,
since thickness and curl vary from turn to turn.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from .cut import Physics
    from .world import Fault, World

__all__ = ["CODES", "acceptable", "controlled", "grade", "mixture"]

CODES = (
    "1.1", "1.2", "1.3", "2.1", "2.2", "2.3", "3.1", "3.2", "4.1", "4.2", "4.3",
    "5.1", "5.2", "5.3", "6.1", "6.2", "7", "8",
)  # fmt: skip
_AT = {code: place for place, code in enumerate(CODES)}
#: Borders of tubular, conical and washer-type coils by the angle of the axis, degrees.
TUBULAR_TO_CONICAL_DEG, CONICAL_TO_WASHER_DEG, BORDER_DEG = 22.5, 67.5, 6.0
#: A coil wider than this is a ribbon to the eye, mm.
RIBBON_MM = 14.0
#: How much of its own value a ratio wanders from turn to turn (log).
BREAK_SPREAD, SHEAR_SPREAD, SNARL_SPREAD, RUB_SPREAD = 0.15, 0.12, 0.25, 0.2
#: Grains thinner than this share of the thickness that keeps a chip in hand come as slivers.
SLIVER_SHARE = 0.3
#: Strain ratio at which half the pieces are shorter than a turn.
ARC_AT, ARC_SPREAD = 1.6, 0.15
#: Chips are right when an unerring reader would say so: most of them are, and there are too
#: few tangles to be named first.
RIGHT_SHARE, SNARL_SHARE = 0.5, 0.25
#: From here a long chip of austenitic stainless counts as under control; mm/rev.
LONG_FROM_MM_REV = 0.095

_BROKEN = ("1.2", "2.2", "3.1", "3.2", "4.2", "5.2", "6.1", "6.2")
_LONG = ("2.1", "4.1", "5.1")
_SNARLED = ("1.3", "2.3", "4.3", "5.3")


def _soft(x):
    return 1.0 / (1.0 + np.exp(-np.clip(x, -40.0, 40.0)))


def mixture(world: World, fault: Fault, cut: Physics):
    """Return the share of every form, shape (18, ...) in the order of ``CODES``."""
    out = np.zeros((len(CODES), *cut.chip_mm.shape))
    rub = _soft(np.log(cut.least_mm / cut.h_eff_mm) / RUB_SPREAD)
    grains = (1.0 - rub) * _soft(np.log(cut.shear_ratio) / SHEAR_SPREAD)
    flowing = 1.0 - rub - grains
    brittle = _soft(np.log(cut.shear_ratio) / SHEAR_SPREAD)
    out[_AT["8"]] += rub * (0.45 + 0.15 * brittle)
    out[_AT["7"]] += rub * 0.4 * brittle
    out[_AT["1.3"]] += rub * (0.55 - 0.55 * brittle)
    thin = _soft(np.log(SLIVER_SHARE * world.control_mm / cut.chip_mm) / SNARL_SPREAD)
    out[_AT["8"]] += grains * thin
    out[_AT["7"]] += grains * (1.0 - thin)

    breaks = flowing * _soft(np.log(cut.strain_ratio) / BREAK_SPREAD)
    whole = flowing - breaks
    arcs = breaks * _soft((cut.strain_ratio - ARC_AT) / ARC_SPREAD)
    out[_AT["6.1"]] += 0.2 * arcs
    out[_AT["6.2"]] += 0.8 * arcs
    tubular, conical, washer = _families(cut.tilt_deg)
    flat = _soft(np.log(cut.width_mm / np.maximum(cut.pitch_mm, 1e-3)) / 0.2) * tubular
    curls = breaks - arcs
    out[_AT["3.1"]] += curls * flat * 0.7
    out[_AT["3.2"]] += curls * flat * 0.3
    ribbon = _soft(np.log(cut.coil_mm / RIBBON_MM) / 0.25)
    out[_AT["1.2"]] += curls * (1.0 - flat) * ribbon
    for code, share in (("2.2", tubular - flat), ("5.2", conical), ("4.2", washer)):
        out[_AT[code]] += curls * share * (1.0 - ribbon)
    loose = (
        world.strength["thin-snarl"] * np.log(world.control_mm / cut.chip_mm) / SNARL_SPREAD
        + 0.6 * (cut.tilt_deg - 45.0) / 45.0
        + fault.snarl
        + 0.6 * min(fault.wear, 1.5)
        + 0.6 * cut.built_up
    )
    snarls = _soft(loose)
    for group, share in (
        ("1", ribbon),
        ("2", (1.0 - ribbon) * tubular),
        ("5", (1.0 - ribbon) * conical),
        ("4", (1.0 - ribbon) * washer),
    ):
        out[_AT[group + ".3"]] += whole * share * snarls
        out[_AT[group + ".1"]] += whole * share * (1.0 - snarls)
    if fault.slivers:
        out *= 1.0 - fault.slivers
        out[_AT["8"]] += fault.slivers
    return out / out.sum(axis=0)


def _families(tilt_deg):
    to_conical = _soft((tilt_deg - TUBULAR_TO_CONICAL_DEG) / (BORDER_DEG / 2.0))
    to_washer = _soft((tilt_deg - CONICAL_TO_WASHER_DEG) / (BORDER_DEG / 2.0))
    return 1.0 - to_conical, to_conical - to_washer, to_washer


def _share(mix, codes):
    return sum(mix[_AT[code]] for code in codes)


def controlled(mix):
    """Return the share of long coils that neither tangle nor run straight."""
    return _share(mix, _LONG)


def acceptable(wish: str, mix, feed, *, top_feed):
    """Say whether these chips are right for the metal.

    ``broken``: short pieces of any winding, also grains. ``broken or controlled``: also long
    coils from about 0.1 mm/rev on, or at the largest feed the job can take. ``curl``: any
    steady curl, long ones too. ``grains``: grains and short pieces, no needles.
    """
    broken = _share(mix, _BROKEN)
    right = {
        "broken": broken + mix[_AT["7"]],
        "broken or controlled": broken,
        "curl": broken - mix[_AT["1.2"]] + controlled(mix),
        "grains": broken + mix[_AT["7"]],
    }[wish]
    if wish == "broken or controlled":
        enough = np.asarray(feed) >= min(LONG_FROM_MM_REV, top_feed * 0.999)
        right = right + np.where(enough, controlled(mix), 0.0)
    return (right >= RIGHT_SHARE) & (_share(mix, _SNARLED) < SNARL_SHARE)


def grade(wish: str, mix, feed, *, top_feed):
    """Return 2 for right chips, 1 for tolerable ones, 0 for tangles, threads and needles."""
    bad = _share(mix, _SNARLED) + mix[_AT["8"]] + mix[_AT["1.1"]]
    return np.where(
        acceptable(wish, mix, feed, top_feed=top_feed), 2, np.where(bad < 0.5, 1, 0)
    )
