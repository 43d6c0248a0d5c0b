"""Coils: tubular, washer-type and conical helical chips, single, long or snarled.

All three are one screw-wound strip; the angle between its width and the axis of
the coil tells them apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from vision.terms import GREY_ZONE, LONG_COIL_MM
from vision.training.curl import screw_length_mm, steepest_pitch_mm
from vision.training.made import CurlSizes, Made, Section, draw_section, strip_with_teeth
from vision.training.nests import nest_axes
from vision.training.noise import chance, log_uniform, wander
from vision.training.winding import Axis, straight_axis, wind, winding_distance

if TYPE_CHECKING:
    from collections.abc import Callable

    from vision.arrays import Float1

__all__ = ["THETA_DEG", "CoilPlan", "coil", "draw_plan", "even_coil", "maker"]

#: Width angle from the axis, degrees, by group; the gaps between are left out.
THETA_DEG: dict[str, tuple[float, float]] = {
    "2": (0.0, 19.0),
    "4": (71.0, 90.0),
    "5": (26.0, 64.0),
}
#: Up to this width angle turns lie side by side like rings; beyond they nest like cups.
_TUBE_DEG = 22.5
_LONGEST_MM = 1500.0
_MOST_TURNS = 130.0
#: From here on fewer points a turn are enough, or the meshes grow too large.
_MANY_TURNS = 40.0
#: How often an end of a coil is looser than its middle.
_LOOSE_ENDS = 0.6
#: Coils of fewer turns are neither pulled nor crushed in one place.
_WORTH_A_BLOW = 3.5
#: Longest axis of a single coil; longer ones leave the card.
_LONGEST_AXIS_MM = 120.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CoilPlan:
    """Even sizes of a coil before anything happens to it."""

    section: Section
    theta_deg: float
    radius_mm: float
    pitch_mm: float
    length_mm: float
    """Length of the axis."""

    @property
    def turns(self) -> float:
        """Winding angle over 360 degrees."""
        return self.length_mm / self.pitch_mm

    @property
    def tubular(self) -> bool:
        """Width rather along the axis than across it."""
        return self.theta_deg < _TUBE_DEG

    @property
    def closest_mm(self) -> float:
        """Pitch at which neighbouring turns touch."""
        if self.tubular:
            return self.section.width_mm
        return _nested_mm(self.section, self.theta_deg, 1.08)

    @property
    def excess(self) -> float:
        """How far the chip is beyond the longest, as a ratio."""
        long = screw_length_mm(self.radius_mm, self.pitch_mm, self.turns) / _LONGEST_MM
        return max(long, self.turns / _MOST_TURNS)

    @property
    def outer_mm(self) -> float:
        """Radius of the cylinder round an even coil."""
        lean = np.radians(self.theta_deg)
        half = self.section.width_mm * np.sin(lean) + self.section.thickness_mm * np.cos(lean)
        return float(self.radius_mm + half / 2)


def even_coil(
    radius_mm: float, pitch_mm: float, turns: float, theta_deg: float, section: Section
) -> Made:
    """Perfect coil without drift, for checks against closed forms."""
    axis = straight_axis(pitch_mm * turns + 1.0)
    angle = np.linspace(0, 2 * np.pi * turns, int(80 * turns) + 2)
    line, across = wind(
        axis,
        angle,
        np.full(len(angle), radius_mm),
        pitch_mm * angle / (2 * np.pi),
        theta_deg=theta_deg,
    )
    return Made(
        strip=strip_with_teeth(np.random.default_rng(0), line, across, section),
        curl={
            "curl_radius_mm": radius_mm,
            "pitch_mm": pitch_mm,
            "turns": turns,
            "theta_deg": abs(theta_deg),
            "coil_length_mm": pitch_mm * turns,
        },
    )


def maker(group: str, word: str) -> Callable[[np.random.Generator, Section | None], Made]:
    """Maker of coils of a group ('2', '4', '5') and word ('short', 'long', 'nest')."""

    def make(rng: np.random.Generator, wish: Section | None) -> Made:
        plan = draw_plan(rng, wish, THETA_DEG[group], word)
        return _nest(rng, plan) if word == "nest" else coil(rng, plan)

    return make


def draw_plan(
    rng: np.random.Generator,
    wish: Section | None,
    theta_deg: tuple[float, float],
    word: str,
    axis_mm: tuple[float, float] | None = None,
) -> CoilPlan:
    """Draw sizes of a coil, again while the chip would be too long.

    Parameters
    ----------
    theta_deg : range of the width angle.
    word : 'short', 'long' or 'nest'.
    axis_mm : range of the axis length instead of what the word says.
    """
    theta = rng.uniform(*theta_deg)
    tube = theta < _TUBE_DEG
    # a long coil of a hair-thin strip would be metres long
    finest = 0.15 if word == "short" else 0.25
    width_mm = (0.3, 2.5) if tube else (finest, 1.5)
    section = draw_section(rng, wish, width_mm, (0.05, 0.5))
    plans = []
    for _ in range(40):
        radius = _draw_radius(rng, theta, word, section)
        pitch = _draw_pitch(rng, theta, radius, section, word)
        length = log_uniform(rng, *axis_mm) if axis_mm else _draw_axis(rng, word, radius, pitch)
        plan = CoilPlan(
            section=section,
            theta_deg=theta,
            radius_mm=radius,
            pitch_mm=pitch,
            length_mm=length,
        )
        plans.append(plan)
        if plan.excess <= 1:
            return plan
    return min(plans, key=lambda p: p.excess)


def _draw_radius(rng: np.random.Generator, theta: float, word: str, section: Section) -> float:
    if theta < _TUBE_DEG:
        low, high = max(0.8, 2.5 * section.thickness_mm), 6.0
    else:
        # the inner edge must not cross the axis
        low, high = max(1.0, 0.62 * section.width_mm, 2.5 * section.thickness_mm), 10.0
    if word == "nest":
        high = 2.4
    return log_uniform(rng, low, max(high, low * 1.2))


def _nested_mm(section: Section, theta_deg: float, clearance: float) -> float:
    """Pitch of cups that lie in one another: thickness seen along the axis."""
    lean = max(np.sin(np.radians(theta_deg)), 0.1)
    return max(0.14, float(clearance * section.thickness_mm / lean))


def _draw_pitch(
    rng: np.random.Generator, theta: float, radius: float, section: Section, word: str
) -> float:
    w = section.width_mm
    low = 1.02 * w if theta < _TUBE_DEG else _nested_mm(section, theta, 1.2)
    if word == "nest":
        low *= 1.35  # turns crowd on the inner side of a bend
    high = min(3 * w, steepest_pitch_mm(radius, theta))
    return log_uniform(rng, low, max(high, low * 1.3))


def _draw_axis(rng: np.random.Generator, word: str, radius: float, pitch: float) -> float:
    if word == "short":
        # Shorter than it is wide, a coil is a ring: no clear member of its group.
        low = max(2.0 * pitch, 2.6 * radius)
        high = min((1 - GREY_ZONE) * LONG_COIL_MM, 60.0 * pitch)
        return log_uniform(rng, min(low, high), high)
    if word == "long":
        return log_uniform(rng, (1 + GREY_ZONE) * LONG_COIL_MM, _LONGEST_AXIS_MM)
    return log_uniform(rng, max(60.0, 36 * radius), 190.0)


def coil(rng: np.random.Generator, plan: CoilPlan) -> Made:
    """Single rigid coil with what happens to coils: drift, bends, kinks, blows, pulls."""
    angle, rho, advance = _drifting(rng, plan)
    if chance(rng, 0.18) and plan.turns > _WORTH_A_BLOW:
        advance, rho = _pulled(rng, plan, advance, rho)
    axis = _bent_axis(rng, plan, float(advance[-1]))
    place = advance / advance[-1]
    flatten: Float1 | float = 1.0 if chance(rng, 0.8) else float(rng.uniform(0.75, 0.97))
    lean = np.zeros(len(angle))
    if chance(rng, 0.2) and plan.turns > _WORTH_A_BLOW:
        flatten, lean = _crushed(rng, plan, place)
    return _wound(rng, plan, axis, (angle, rho, advance), flatten=flatten, lean=lean)


def _wound(
    rng: np.random.Generator,
    plan: CoilPlan,
    axis: Axis,
    course: tuple[Float1, Float1, Float1],
    *,
    flatten: Float1 | float = 1.0,
    lean: Float1 | float = 0.0,
    mirrored: bool | None = None,
) -> Made:
    angle, rho, advance = course
    theta = plan.theta_deg * rng.choice([-1.0, 1.0])
    line, across = wind(axis, angle, rho, advance, theta_deg=theta, flatten=flatten, lean=lean)
    if chance(rng, 0.5) if mirrored is None else mirrored:
        mirror = np.array([1.0, -1.0, 1.0])
        line, across = line * mirror, -across * mirror
    distance = winding_distance(angle, rho, flatten)
    turns = float(angle[-1] / (2 * np.pi))
    return Made(
        strip=strip_with_teeth(rng, line, across, plan.section),
        curl={
            "curl_radius_mm": float(distance.mean()),
            "curl_radius_range_mm": (float(distance.min()), float(distance.max())),
            "pitch_mm": float(advance[-1] / turns),
            "turns": turns,
            "theta_deg": float(plan.theta_deg),
            "coil_length_mm": float(advance[-1]),
        },
    )


def _nest(rng: np.random.Generator, plan: CoilPlan) -> Made:
    """Coil tangled with itself, or two coils caught in each other."""
    axes = nest_axes(rng, outer_mm=1.03 * plan.outer_mm, length_mm=plan.length_mm)
    parts: list[Made] = []
    mirrored = chance(rng, 0.5)
    for axis in axes:
        # a settled axis may be a little shorter than planned
        share = float(axis.s[-1]) / plan.length_mm
        angle, rho, advance = _drifting(rng, plan, share=share, calm=True)
        advance = advance * min(1.0, float(axis.s[-1]) / float(advance[-1]))
        parts.append(_wound(rng, plan, axis, (angle, rho, advance), mirrored=mirrored))
    return _together(parts)


def _together(parts: list[Made]) -> Made:
    """One chip of several strips: sizes along the chip add up."""
    curls = [p.curl for p in parts]
    turns = [c["turns"] for c in curls]
    low = min(c["curl_radius_range_mm"][0] for c in curls)
    high = max(c["curl_radius_range_mm"][1] for c in curls)
    coil_length = sum(c["coil_length_mm"] for c in curls)
    whole: CurlSizes = {
        "curl_radius_mm": float(
            np.average([c["curl_radius_mm"] for c in curls], weights=turns)
        ),
        "curl_radius_range_mm": (low, high),
        "pitch_mm": coil_length / sum(turns),
        "turns": sum(turns),
        "theta_deg": curls[0]["theta_deg"],
        "coil_length_mm": coil_length,
    }
    return Made(
        strip=parts[0].strip,
        more=tuple(p.strip for p in parts[1:]),
        curl=whole,
        lies_as_made=True,
    )


def _bent_axis(rng: np.random.Generator, plan: CoilPlan, length: float) -> Axis:
    """Axis bent by up to 40 degrees with up to three kinks; stubby coils do not bend."""
    reach = float(np.clip(length / (4 * plan.radius_mm), 0, 1)) * (length > 4 * plan.radius_mm)
    bend = np.radians(40) * rng.uniform(-1, 1) * chance(rng, 0.7)
    count = int(rng.choice([0, 1, 2, 3], p=[0.7, 0.17, 0.08, 0.05]))
    kinks = tuple(
        (float(rng.uniform(0.12, 0.88)), float(np.radians(rng.uniform(-38, 38)) * reach))
        for _ in range(count)
    )
    turn = rng.uniform(0, 2 * np.pi)
    return straight_axis(length + 4.0, bend_rad=bend * reach, kinks=kinks, turn_rad=turn)


def _drifting(
    rng: np.random.Generator, plan: CoilPlan, *, share: float = 1.0, calm: bool = False
) -> tuple[Float1, Float1, Float1]:
    """Winding angle, radius and advance with drift and looser ends."""
    turns = max(1.2, plan.turns * share)
    per_turn = (
        float(np.clip(2 * np.pi * plan.radius_mm / 0.1, 48, 150))
        if turns < _MANY_TURNS
        else 48.0
    )
    angle = np.linspace(0.0, 2 * np.pi * turns, int(per_turn * turns) + 2)
    lap = angle / (2 * np.pi)
    most = 0.1 if calm else 0.15 if plan.tubular else 0.38
    trend = rng.uniform(0, most) * rng.choice([-1.0, 1.0])
    uneven = log_uniform(rng, 0.008, 0.03 if calm else 0.05)
    rise = trend * (lap / turns - 0.5) + wander(rng, lap, 0.7, uneven).clip(-0.12, 0.12)
    loose = rng.uniform(0, 0.1 if calm else 0.25, 2) * (rng.random(2) < _LOOSE_ENDS)
    ends = loose[0] * np.exp(-lap / 0.6) + loose[1] * np.exp(-(turns - lap) / 0.6)
    rho = plan.radius_mm * (1 + rise + ends)
    swing = 1 + wander(rng, lap, max(1.5, turns / 6), 5 * uneven) + 0.8 * ends
    least = min(0.98, plan.closest_mm / plan.pitch_mm)
    swing = swing.clip(least, 2.0)
    advance = np.concatenate([[0.0], np.cumsum(np.diff(lap) * 0.5 * (swing[1:] + swing[:-1]))])
    # scaled to the planned length the closest turns may close up, but not overlap
    scale = max(turns / float(advance[-1]), least / float(swing.min()))
    scale = min(scale, plan.length_mm * share * 1.0 / (plan.pitch_mm * float(advance[-1])))
    return angle, rho, advance * plan.pitch_mm * scale


def _pulled(
    rng: np.random.Generator, plan: CoilPlan, advance: Float1, rho: Float1
) -> tuple[Float1, Float1]:
    """Pull some turns in the middle apart; they grow thinner, the length stays."""
    share = advance / advance[-1]
    place, spread = rng.uniform(0.25, 0.75), log_uniform(rng, 0.7, 4.0) / plan.turns
    girth = 2 * np.pi * plan.radius_mm
    most = min(4.0, 0.7 * girth / plan.pitch_mm)
    pull = 1 + (rng.uniform(0.3, 1.0) * max(most - 1, 0)) * np.exp(
        -(((share - place) / spread) ** 2)
    )
    slope = plan.pitch_mm * pull / girth
    rho = rho / np.sqrt(1 + slope**2) * np.sqrt(1 + (plan.pitch_mm / girth) ** 2)
    mean = 0.5 * (pull[1:] + pull[:-1])
    pulled = np.concatenate([[0.0], np.cumsum(np.diff(advance) * mean)])
    # the whole keeps its length on the axis, so that the length word stays true
    return pulled * advance[-1] / pulled[-1], rho


def _crushed(rng: np.random.Generator, plan: CoilPlan, share: Float1) -> tuple[Float1, Float1]:
    """Squash a place of a coil: flat turns that lean over."""
    place, spread = rng.uniform(0.0, 1.0), max(rng.uniform(0.06, 0.3), 0.7 / plan.turns)
    blow = np.exp(-(((share - place) / spread) ** 2))
    room = plan.pitch_mm / plan.closest_mm - 1  # tight turns hold one another upright
    lean = rng.uniform(-0.5, 0.5) * min(1.0, 2 * room)
    return 1 - rng.uniform(0.15, 0.5) * blow, lean * blow
