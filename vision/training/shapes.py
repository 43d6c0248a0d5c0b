"""One chip of each form, with its sizes known from how it was made.

Ranges are those of turning on a small lathe (depth 0.1-2 mm, feed 0.03-0.2 mm);
sizes are drawn log-uniform. Between the groups the drawing leaves gaps (width
angle under 20 degrees is tubular, 25-65 conical, over 70 washer-type; lengths keep
15 % off the limits), because a chip in a gap has no true name to learn.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from vision.training import coils, ribbons, strips
from vision.training.curl import screw_length_mm
from vision.training.made import Made, Section, Sizes
from vision.training.sweep import (
    Mesh,
    Points3,
    arc_lengths,
    extent,
    join,
    rest_rotation,
    sweep,
    transform,
)

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["FORMS", "Chip", "chip_of_form", "finish", "self_check"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Chip:
    """A chip at rest on the plane z = 0 around the origin, with its true sizes."""

    form: str
    tool: Mesh
    free: Mesh
    line: Points3
    sizes: Sizes
    also: tuple[str, ...] = ()
    """Other codes that are as right as ``form``; only chips between two groups have them."""
    ends: tuple[int, ...] = ()
    """Where each strip ends in ``line``: more than one entry where strips are caught."""

    @property
    def group(self) -> str:
        """Group of the ISO 3685 chart, '1' to '8'."""
        return self.form[0]

    @property
    def points(self) -> Points3:
        """All points of the surface."""
        return np.concatenate([self.tool.points, self.free.points])

    def moved(self, rotation: Points3, shift: Points3) -> Chip:
        """Turn about the origin, then move by ``shift`` mm."""
        return Chip(
            form=self.form,
            tool=transform(self.tool, rotation, shift),
            free=transform(self.free, rotation, shift),
            line=self.line @ rotation.T + shift,
            sizes=self.sizes,
            also=self.also,
            ends=self.ends,
        )


_MAKERS: dict[str, Callable[[np.random.Generator, Section | None], Made]] = {
    "1.1": ribbons.ribbon_long,
    "1.2": ribbons.ribbon_short,
    "1.3": ribbons.ribbon_nest,
    "2.1": coils.maker("2", "long"),
    "2.2": coils.maker("2", "short"),
    "2.3": coils.maker("2", "nest"),
    "3.1": strips.spiral_flat,
    "3.2": strips.spiral_conical,
    "4.1": coils.maker("4", "long"),
    "4.2": coils.maker("4", "short"),
    "4.3": coils.maker("4", "nest"),
    "5.1": coils.maker("5", "long"),
    "5.2": coils.maker("5", "short"),
    "5.3": coils.maker("5", "nest"),
    "6.1": strips.arcs_connected,
    "6.2": strips.arc_loose,
    "7": strips.grain,
    "8": strips.needle,
}

#: Every form code that can be made.
FORMS: tuple[str, ...] = tuple(_MAKERS)


def chip_of_form(form: str, rng: np.random.Generator, section: Section | None = None) -> Chip:
    """Make one chip and let it come to rest.

    Parameters
    ----------
    form : str
        A code of :data:`FORMS`.
    rng : numpy.random.Generator
        The only source of chance.
    section : Section, optional
        Width and thickness that the cut prescribes; drawn when absent.
    """
    return finish(form, _MAKERS[form](rng, section), rng)


def finish(form: str, made: Made, rng: np.random.Generator, also: tuple[str, ...] = ()) -> Chip:
    """Give the strips their surface, rest them on z = 0 and note their sizes."""
    strips_made = (made.strip, *made.more)
    surfaces = [sweep(strip) for strip in strips_made]
    tool = surfaces[0][0] if not made.more else join([t for t, _ in surfaces])
    free = surfaces[0][1] if not made.more else join([f for _, f in surfaces])
    points = np.concatenate([tool.points, free.points])
    line = np.concatenate([strip.line for strip in strips_made])
    turn = np.eye(3) if made.lies_as_made else rest_rotation(points, line, rng)
    yaw = rng.uniform(0, 2 * np.pi)
    turn = _about_z(yaw) @ turn
    rested = points @ turn.T
    middle = (rested.min(axis=0) + rested.max(axis=0)) / 2
    shift = np.array([-middle[0], -middle[1], -rested[:, 2].min()])
    sizes = Sizes(
        length_mm=sum(float(arc_lengths(strip.line)[-1]) for strip in strips_made),
        width_mm=float(np.mean(np.concatenate([s.width + s.ragged for s in strips_made]))),
        thickness_mm=float(np.mean(np.concatenate([s.thickness for s in strips_made]))),
        extent_mm=extent(points),
        **made.curl,
    )
    return Chip(
        form=form,
        tool=transform(tool, turn, shift),
        free=transform(free, turn, shift),
        line=line @ turn.T + shift,
        sizes=sizes,
        also=also,
        ends=tuple(np.cumsum([len(strip.line) for strip in strips_made]).tolist()),
    )


def _about_z(angle: float) -> Points3:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


#: Forms whose line is one screw or plane curl, and by what share their length may differ
#: from the closed form with mean radius and pitch: drift, blows and bends are second order.
_CURL_DRIFT = {"2": 0.06, "3": 0.06, "4": 0.06, "5": 0.06, "6": 0.06}
#: Edges of triangles, mm: shorter ones are dust, longer ones cut corners of a curl.
_LONGEST_EDGE_MM = 6.0
_LEAST_MM = 1e-9


def self_check(chip: Chip) -> list[str]:
    """Tell what is wrong with a chip at rest; empty when its truth holds together.

    A chip that was moved is checked as well, only its height over z = 0 must not be
    negative. Checked: finite mesh, triangles of sane size, nothing under the plane,
    positive sizes, centre line inside the mesh, length of the line as noted, and for
    curls the closed form of turns, radius and pitch.
    """
    faults: list[str] = []
    points = chip.points
    if not (np.isfinite(points).all() and np.isfinite(chip.line).all()):
        return ["mesh or line is not finite"]
    for name, mesh in (("tool side", chip.tool), ("free side", chip.free)):
        if mesh.faces.min() < 0 or mesh.faces.max() >= len(mesh.points):
            faults.append(f"{name}: a triangle points nowhere")
            continue
        corners = mesh.points[mesh.faces]
        edge = float(np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max())
        if edge > _LONGEST_EDGE_MM:
            faults.append(f"{name}: a triangle is {edge:.1f} mm long")
        if np.abs(np.linalg.norm(mesh.normals, axis=1) - 1).max() > 1e-3:  # noqa: PLR2004
            faults.append(f"{name}: normals are not of length one")
    if points[:, 2].min() < -1e-6:  # noqa: PLR2004
        faults.append(f"reaches {-points[:, 2].min():.3f} mm under the plane")
    low, high = points.min(axis=0) - _LEAST_MM, points.max(axis=0) + _LEAST_MM
    if (chip.line < low).any() or (chip.line > high).any():
        faults.append("centre line leaves the mesh")
    return faults + _size_faults(chip)


def _size_faults(chip: Chip) -> list[str]:
    s = chip.sizes
    must = ("length_mm", "width_mm", "thickness_mm", "extent_mm")
    may = ("curl_radius_mm", "turns", "coil_length_mm")
    values = {name: getattr(s, name) for name in (*must, *may)}
    faults = [
        f"{name} is not positive"
        for name, value in values.items()
        if not (value is None and name in may) and not value > 0
    ]
    if s.thickness_mm > s.width_mm:
        faults.append("thicker than wide")
    parts = np.split(chip.line, chip.ends[:-1])
    length = sum(float(arc_lengths(part)[-1]) for part in parts)
    if abs(length - s.length_mm) > 1e-3 * s.length_mm:
        faults.append(f"line is {length:.2f} mm long, noted {s.length_mm:.2f}")
    if s.extent_mm > s.length_mm + 2.0 * np.hypot(s.width_mm, s.thickness_mm) + 0.5:
        faults.append("extent exceeds length and section")
    if s.curl_radius_mm is not None and s.turns is not None:
        screw = screw_length_mm(s.curl_radius_mm, s.pitch_mm or 0.0, s.turns)
        if abs(screw / s.length_mm - 1) > _CURL_DRIFT[chip.group]:
            faults.append(f"screw line is {screw:.1f} mm long, noted {s.length_mm:.1f}")
    return faults
