"""Chips between two groups or length words, which the normal drawing leaves out.

They have two right names: ``form`` is the nearer one, ``also`` the other one or ones.
A reader that names either is right, one that is very sure of either is not well set.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from vision.terms import GREY_ZONE, LONG_ALONG_CHIP_MM, LONG_COIL_MM
from vision.training.coils import THETA_DEG, coil, draw_plan
from vision.training.made import draw_section
from vision.training.noise import chance, log_uniform
from vision.training.ribbons import THICKNESS_MM, WIDTH_MM, ribbon
from vision.training.shapes import Chip, finish
from vision.training.strips import sliver, spiral

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np

    from vision.training.made import Made, Section

__all__ = ["BOUNDARY_FORMS", "boundary_chip"]

#: Midway between what is drawn as an arc and as a spiral, turns.
_ARC_ENDS_TURNS = 1.15
#: Midway between the coils of two turns and the arcs of one.
_COIL_BEGINS_TURNS = 1.5

#: Maker's result with the nearer name and the other right ones.
_Named = tuple["Made", str, tuple[str, ...]]


def _tube_or_cone(rng: np.random.Generator, wish: Section | None) -> _Named:
    return _between(rng, wish, (THETA_DEG["2"][1], THETA_DEG["5"][0]), ("2", "5"))


def _cone_or_washer(rng: np.random.Generator, wish: Section | None) -> _Named:
    return _between(rng, wish, (THETA_DEG["5"][1], THETA_DEG["4"][0]), ("5", "4"))


def _between(
    rng: np.random.Generator,
    wish: Section | None,
    theta_deg: tuple[float, float],
    groups: tuple[str, str],
) -> _Named:
    word, number = ("long", ".1") if chance(rng, 0.3) else ("short", ".2")
    plan = draw_plan(rng, wish, theta_deg, word)
    near, far = groups if plan.theta_deg < sum(theta_deg) / 2 else groups[::-1]
    return coil(rng, plan), near + number, (far + number,)


def _ribbon_length(rng: np.random.Generator, wish: Section | None) -> _Named:
    section = draw_section(rng, wish, WIDTH_MM, THICKNESS_MM)
    longest = (1 + GREY_ZONE) * LONG_ALONG_CHIP_MM
    length = rng.uniform((1 - GREY_ZONE) * LONG_ALONG_CHIP_MM, 0.97 * longest)
    made = ribbon(rng, section, length, at_most_mm=longest)
    if length >= LONG_ALONG_CHIP_MM:
        return made, "1.1", ("1.2",)
    return made, "1.2", ("1.1",)


def _coil_length(rng: np.random.Generator, wish: Section | None) -> _Named:
    group = str(rng.choice(["2", "4", "5"]))
    axis_mm = ((1 - GREY_ZONE) * LONG_COIL_MM, (1 + GREY_ZONE) * LONG_COIL_MM)
    made = coil(rng, draw_plan(rng, wish, THETA_DEG[group], "long", axis_mm))
    if made.curl["coil_length_mm"] >= LONG_COIL_MM:
        return made, f"{group}.1", (f"{group}.2",)
    return made, f"{group}.2", (f"{group}.1",)


def _arc_or_spiral(rng: np.random.Generator, wish: Section | None) -> _Named:
    turns, conical = rng.uniform(330, 500) / 360, chance(rng, 0.3)
    made = spiral(rng, wish, turns, conical=conical)
    name = "3.2" if conical else "3.1"
    return (made, "6.2", (name,)) if turns < _ARC_ENDS_TURNS else (made, name, ("6.2",))


def _stubby_coil(rng: np.random.Generator, wish: Section | None) -> _Named:
    group = str(rng.choice(["2", "4", "5"]))
    plan = draw_plan(rng, wish, THETA_DEG[group], "short")
    turns = rng.uniform(1.2, 2.0)
    made = coil(rng, replace(plan, length_mm=turns * plan.pitch_mm))
    name = f"{group}.2"
    return (made, "6.2", (name,)) if turns < _COIL_BEGINS_TURNS else (made, name, ("6.2",))


def _stout_needle(rng: np.random.Generator, wish: Section | None) -> _Named:
    width = log_uniform(rng, 0.6, 1.3) if wish is None else min(max(wish.width_mm, 0.6), 1.3)
    return sliver(rng, width, width * rng.uniform(8.2, 14.0)), "8", ("1.2",)


_KINDS: dict[str, Callable[[np.random.Generator, Section | None], _Named]] = {
    "tube or cone": _tube_or_cone,
    "cone or washer": _cone_or_washer,
    "ribbon length": _ribbon_length,
    "coil length": _coil_length,
    "arc or spiral": _arc_or_spiral,
    "stubby coil": _stubby_coil,
    "stout needle": _stout_needle,
}

#: Every kind of chip between two names.
BOUNDARY_FORMS: tuple[str, ...] = tuple(_KINDS)


def boundary_chip(kind: str, rng: np.random.Generator, section: Section | None = None) -> Chip:
    """Make one chip with two right names and let it come to rest.

    Parameters
    ----------
    kind : str
        One of :data:`BOUNDARY_FORMS`.
    rng : numpy.random.Generator
        The only source of chance.
    section : Section, optional
        Width and thickness that the cut prescribes; drawn when absent.
    """
    made, form, also = _KINDS[kind](rng, section)
    return finish(form, made, rng, also)
