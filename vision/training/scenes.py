"""From a seed to a scene: chips on card or bench, light, camera. Pure data, no picture yet.

A scene is either *one pass* (the chips of one cut: same metal, section, mostly one
form, as a user would lay out) or *mixed* (each chip from another cut). Seeds take
turns through the groups, so that a set is balanced by group.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

import numpy as np

from vision.training.boundary import BOUNDARY_FORMS, boundary_chip
from vision.training.card_wear import FLAT, CardWear, draw_wear
from vision.training.families import Side, families, pick_family
from vision.training.framing import draw_frame, draw_view
from vision.training.layout import Floor
from vision.training.lights import Light, draw_light
from vision.training.metals import Film, draw_films, draw_metals, draw_sections, draw_surface
from vision.training.noise import chance
from vision.training.populace import LARGE, draw_forms
from vision.training.shapes import Chip, chip_of_form
from vision.training.sheet import SheetPlan, sheet_plan
from vision.training.staging import OilSpot, draw_crumbs, draw_oil, draw_props, on_sheet

if TYPE_CHECKING:
    from vision.training.jobs import Job
    from vision.training.layout import Area
    from vision.training.made import Section
    from vision.training.props import Prop
    from vision.training.sweep import Mesh
    from vision.training.view import View

__all__ = ["GENERATOR", "Film", "Kind", "Placed", "Scene", "draw_scene"]

#: Version of everything that shapes a scene; part of the key of every rendered file.
GENERATOR = "world-3"

#: What a scene is for: all there is, chips between two forms, heat tints, 12 megapixels.
Kind: TypeAlias = Literal["plain", "boundary", "heat", "native"]

_WITH_CARD = 2 / 3
_CUT_OFF = 0.14
_COVERED = 0.16
_CROWDED = 0.1
#: More chips than this mostly lie on the larger card.
_MANY = 24
#: So many chips a scene holds even where that takes it farther away than was drawn.
_FEW = 2
#: In a crowded scene: shares of chips that fall on others, hook into one, lie against one.
_ON_TOP, _HOOKED, _AGAINST = 0.12, 0.13, 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A chip in its place on the card, with its metal; ``dirt`` is rust and baked oil."""

    number: int
    chip: Chip
    metal: str
    film: Film
    population: int | None = None
    dirt: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """Everything needed to render one photo and to state its truth.

    ``ground`` is "card" or the name of the surface that the chips lie on; then no card
    is drawn and ``sheet`` only says where the millimetres are counted from. ``bench``
    is the surface under it all: name and entry of ``families.toml``.
    """

    seed: int
    set_name: str
    kind: Kind
    ground: str
    sheet: SheetPlan
    wear: CardWear
    view: View
    chips: tuple[Placed, ...]
    crumbs: Mesh | None
    crumb_count: int
    props: tuple[Prop, ...]
    oil: tuple[OilSpot, ...]
    light: Light
    surface: dict[str, float]
    """Roughness and slope of the two sides of the metal, oil film on all chips."""
    bench: tuple[str, dict[str, Any]]
    camera: tuple[str, dict[str, Any]]
    side: Side
    job: str | None = None


def draw_scene(
    seed: int,
    set_name: str,
    *,
    side: Side = "train",
    job: Job | None = None,
    kind: Kind = "plain",
) -> Scene:
    """Draw the scene of a seed; the same arguments always give the same scene.

    Parameters
    ----------
    seed : int
        0 or more.
    set_name : str
        Only a label.
    side : families to draw from.
    job : Job, optional
        A workshop job that fixes metal, section and forms (demo scenes).
    kind : what the scene is for. "boundary": only chips between two forms, named by the
        nearest; "heat": only metals that tint, all of them tinted; "native": some twenty
        chips in a picture of 4000 x 3000, as a phone stores it.
    """
    rng = np.random.default_rng([seed, 20931])
    forms, mixed = draw_forms(rng, seed, job=job, native=kind == "native")
    on_card = job is not None or kind != "plain" or chance(rng, _WITH_CARD)
    bench = pick_family(rng, families("benches", side), "under" if on_card else "bare")
    wear = draw_wear(rng)
    wear = wear if on_card and job is None else FLAT
    long = sum(f.endswith(".1") and f in LARGE for f in forms)
    large = long > 1 or (len(forms) > _MANY and chance(rng, 0.6)) or chance(rng, 0.08)
    sheet = sheet_plan("a4" if large else "a5")
    floor = Floor(area=sheet.card_area)
    covered, cut_off = chance(rng, _COVERED), chance(rng, _CUT_OFF)
    metals = draw_metals(rng, forms, side, mixed=mixed, job=job, tinted=kind == "heat")
    sections = draw_sections(rng, metals, side, mixed=mixed, job=job)
    bodies = _draw_chips(rng, forms, sections, boundary=kind == "boundary")
    frame = draw_frame(rng, side)
    whole = job is not None or kind == "native"
    patch = sheet.field_area if whole else frame.patch(rng, sheet.field_area)
    laid = _lay_down(
        rng,
        bodies,
        floor,
        sheet,
        patch,
        crowded=chance(rng, _CROWDED),
        off_field=0.5 if covered else 0.1,
    )
    light = draw_light(rng, side)
    films = draw_films(rng, metals, side, seed, mixed=mixed, job=job, heat=kind == "heat")
    dirty = float(rng.uniform(0.2, 0.8)) if chance(rng, 0.06) and kind == "plain" else 0.0
    grains = sum(chip.form == "7" for _, chip in laid)
    chips = tuple(
        Placed(
            number=number,
            chip=chip,
            metal=metals[k],
            film=films[k],
            population=1 if chip.form == "7" and grains > 1 else None,
            dirt=dirty,
        )
        for number, (k, chip) in enumerate(laid, start=1)
    )
    crumbs, count = draw_crumbs(rng, sheet, most=20 if job else 45)
    camera_name = str(rng.choice(sorted(families("cameras", side))))
    camera = families("cameras", side)[camera_name]
    props = draw_props(rng, floor, sheet, on_paper=on_card, covered=covered and on_card)
    native = kind == "native"
    view = draw_view(rng, frame, sheet, chips, camera, side, native=native, on_card=on_card)
    if cut_off and on_card and job is None:
        view = _aside(rng, view, chips, sheet)
    chips, crumbs, props = on_sheet(sheet, wear, chips, crumbs, props)
    return Scene(
        seed=seed,
        set_name=set_name,
        kind=kind,
        ground="card" if on_card else bench[0],
        sheet=sheet,
        wear=wear,
        view=view,
        chips=chips,
        crumbs=crumbs,
        crumb_count=count,
        props=props,
        oil=draw_oil(rng, sheet) if on_card else (),
        light=light,
        surface=draw_surface(rng),
        bench=bench,
        camera=(camera_name, camera),
        side=side,
        job=job.name if job else None,
    )


def _draw_chips(
    rng: np.random.Generator,
    forms: list[str],
    sections: list[Section | None],
    *,
    boundary: bool,
) -> list[Chip]:
    """Make the chips; grains have sections of their own, being broken out."""
    if not boundary:
        return [
            chip_of_form(form, rng, None if form == "7" else section)
            for form, section in zip(forms, sections, strict=True)
        ]
    kinds = [str(k) for k in rng.permutation(sorted(BOUNDARY_FORMS))]
    return [
        boundary_chip(kinds[k % len(kinds)], rng, section) for k, section in enumerate(sections)
    ]


def _lay_down(
    rng: np.random.Generator,
    bodies: list[Chip],
    floor: Floor,
    sheet: SheetPlan,
    patch: Area,
    *,
    crowded: bool,
    off_field: float,
) -> list[tuple[int, Chip]]:
    """Find each chip a place; those without one are dropped.

    Chips lie in ``patch``, the part of the white field that is photographed; ``off_field``
    is the share that may lie anywhere on the card.
    In a crowded scene nearly half of the chips lie against, over or in another one.
    Returns which body it was and the chip in its place.
    """
    laid: list[tuple[int, Chip]] = []
    for k, chip in enumerate(bodies):
        within = sheet.card_area if chance(rng, off_field) else patch
        points = np.concatenate([chip.points[::3], chip.line])
        shift = None
        how = rng.random() if crowded and laid else 1.0
        if how < _ON_TOP:
            shift = floor.place(points, rng, within, overlap=True)
        elif how < _ON_TOP + _HOOKED + _AGAINST:
            near = laid[int(rng.integers(len(laid)))][1].line
            spot = near[int(rng.integers(len(near))), :2]
            tangled = how < _ON_TOP + _HOOKED and chip.group in "12345"
            shift = floor.touch(points, rng, sheet.card_area, spot, tangled=tangled)
        if shift is None:
            shift = floor.place(points, rng, within)
        if shift is None:
            shift = floor.place(points, rng, _grown(patch, sheet.field_area))
        if shift is None and len(laid) < _FEW:
            shift = floor.place(points, rng, sheet.field_area)
        if shift is None and (len(laid) < _FEW or patch == sheet.field_area):
            shift = floor.place(points, rng, sheet.card_area)
        if shift is not None:
            here = chip.moved(np.eye(3), shift)
            floor.occupy(np.concatenate([here.points[::2], here.line]))
            laid.append((k, here))
    return laid


def _grown(patch: Area, field: Area) -> Area:
    """Return a patch a fifth larger, as far as the field goes."""
    dx, dy = 0.1 * (patch[2] - patch[0]), 0.1 * (patch[3] - patch[1])
    return (
        max(patch[0] - dx, field[0]),
        max(patch[1] - dy, field[1]),
        min(patch[2] + dx, field[2]),
        min(patch[3] + dy, field[3]),
    )


def _aside(
    rng: np.random.Generator, view: View, chips: tuple[Placed, ...], sheet: SheetPlan
) -> View:
    """Move the camera along the sheet so that the frame cuts it off, chips left in.

    Of some draws the one is taken that keeps the most chips in the picture.
    """
    width, height = sheet.size_mm
    best, most = view, -1
    for _ in range(4):
        angle, share = rng.uniform(0, 2 * np.pi), rng.uniform(0.12, 0.3)
        shift = share * np.array([width * np.cos(angle), height * np.sin(angle), 0.0])
        eye, target = np.array(view.eye) + shift, np.array(view.target) + shift
        moved = replace(
            view,
            eye=(float(eye[0]), float(eye[1]), float(eye[2])),
            target=(float(target[0]), float(target[1]), float(target[2])),
        )
        spots = [moved.pixels(p.chip.points[::5]) for p in chips]
        kept = sum(bool((s >= 0).all() and (s <= moved.size_px).all()) for s in spots)
        if kept > most:
            best, most = moved, kept
    return best
