"""Name every chip of a look: group, code, sizes, tint, and why.

Things the model takes for no chip are left out; elemental crumbs are gathered into
one population. A chip that is not sure has as candidates its own codes and the other groups
of its set (``sets``). What is unlike any chip that was learned from (``unlike``), falls into
too many pieces for one, or lies in clutter is never sure. What is snarled in a nest and how a
spiral lies is asked once more (``within``), and chips are named in the company of the
photo's others (``company``). Not in here: the verdict over all chips (``verdict``).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from vision import bundled
from vision.chips.features import CROP_PX_PER_MM
from vision.chips.find import PIECES_OF_A_CHIP
from vision.chips.measure import geometry_of
from vision.forms.code import code_of
from vision.forms.company import COMPANY, company_weights, in_company
from vision.forms.crumbs import is_crumb, population
from vision.forms.model import CLASSES, GROUPS, rows_of
from vision.forms.sets import (
    best_labels,
    chip_for_sure,
    group_probabilities,
    kept_at,
    sets_of,
)
from vision.forms.within import sets_within
from vision.heat.chip_tint import U_TAPPED, colour_doubt, tint_of
from vision.records import ChipGeometry, ChipReading, Why
from vision.terms import COIL_GROUPS, SNARLING, Flag

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy.typing as npt

    from vision.arrays import Float1, Points2
    from vision.chips.look import Look, Seen
    from vision.chips.measure import Sized
    from vision.forms.model import FormModel
    from vision.photo.light import Light
    from vision.photo.plane import Plane
    from vision.records import ChipTint

__all__ = ["READER_VERSION", "name_chips"]

READER_VERSION = "1"

#: This many elemental crumbs are one population, not chips one by one.
_POPULATION = 3
#: Reasons that weigh less are none.
_WEIGHT_LEAST = 0.02
_NEST = CLASSES.index("nest")
_NONE = CLASSES.index("none")
_OF_SNARLING = np.array([[float(s == g) for g in GROUPS] for s in SNARLING])


def _u_height_mm(seen: Seen, group: str, *, nest: bool) -> float:
    """Return how uncertain the height is that a chip's sizes are seen at, mm.

    Coils and nests are as high as they are wide across, strips at most as their width;
    where between the sheet and there is not known (even odds: a height over root 12).
    """
    round_ones = nest or group in COIL_GROUPS
    high_px = min(seen.shape.box) if round_ones else seen.shape.width
    return float(high_px) / CROP_PX_PER_MM / 12**0.5


def _no_millimetres(g: ChipGeometry) -> ChipGeometry:
    """Keep only what needs no scale."""
    return ChipGeometry(turns=g.turns)


def _outline(seen: Seen, plane: Plane) -> tuple[Points2, ...]:
    """Return the rings in pixels of the photo, cut at its edge."""
    if not seen.outline_mm:
        return ()
    height, width = plane.photo.rgb.shape[:2]
    px = plane.to_photo_px(np.concatenate(seen.outline_mm))
    px = np.clip(px, -0.5, (width - 0.5, height - 0.5))
    return tuple(np.split(px, np.cumsum([len(ring) for ring in seen.outline_mm])[:-1]))


def _measured_line(seen: Seen, group: str, plane: Plane, *, nest: bool) -> Points2 | None:
    """Return what lengths go along, in pixels of the photo: coil axis or centre line."""
    line = seen.axis_mm if group in COIL_GROUPS else seen.line_mm
    return None if nest or line is None else np.asarray(plane.to_photo_px(line))


def _tint(seen: Seen, light: Light, family: str | None) -> ChipTint | None:
    """Return the chip's tint; ``None`` where colour cannot be trusted or says nothing."""
    linear = seen.linear
    u_colour = colour_doubt(light.neutral_de00) if light.neutral else None
    if light.tapped is not None:
        u_colour = U_TAPPED
        linear = np.asarray(linear / light.tapped, np.float32)
    if u_colour is None or family == "none":
        return None
    # The sensor's top, seen through the balance, is where colour stops being true.
    full = light.apply(np.ones((1, 1, 3), np.float32), seen.box_mm)[0, 0]
    top = np.asarray(full, np.float64)
    if light.tapped is not None:
        top = top / light.tapped
    return tint_of(linear, seen.mask, family=family, u_colour=u_colour, clip_level=top)


@dataclass(frozen=True, slots=True)
class _Name:
    """What is likeliest of a chip: its class, its group (of a nest what is in it), how likely.

    ``p`` (C,) are the probabilities of the classes, ``groups`` those of the groups given
    that it is a chip, or a nest; ``group_set`` are the groups it may be of, ``unlike`` says
    that no chip that was learned from has such measures.
    """

    p: Float1
    label: str
    group: str
    groups: dict[str, float]
    group_set: tuple[str, ...]
    unlike: bool

    @property
    def nest(self) -> bool:
        return self.label == "nest"


def _labels(
    p: npt.NDArray[np.float64], rows: npt.NDArray[np.float64], model: FormModel
) -> npt.NDArray[np.str_]:
    """Return (N,) the likeliest class of each row; of spirals how they lie is asked again."""
    labels = best_labels(p)
    spirals, within = (
        np.flatnonzero(np.char.startswith(labels, "3.")),
        model.within.get("spiral"),
    )
    if within is not None and len(spirals):
        best = within.probabilities(rows[spirals]).argmax(axis=1)
        labels[spirals] = np.array(within.answers)[best]
    return labels


def _names(
    p: npt.NDArray[np.float64],
    labels: npt.NDArray[np.str_],
    rows: npt.NDArray[np.float64],
    model: FormModel,
) -> list[_Name]:
    shares, sets = group_probabilities(p), sets_of(p, model.joins_from)
    nests, within = np.flatnonzero(labels == "nest"), model.within.get("nest")
    if within is not None and len(nests):
        inside = within.probabilities(rows[nests])
        shares[nests] = inside @ _OF_SNARLING
        may_be_in = sets_within(inside, within.answers, within.joins_from)
        for i, own_set in zip(nests, may_be_in, strict=True):
            sets[i] = own_set
    out = []
    columns = (p, labels.tolist(), shares.tolist(), sets, model.clouds.unlike(rows).tolist())
    for own, label, share, may_be, unlike in zip(*columns, strict=True):
        groups = dict(zip(GROUPS, share, strict=True))
        group = max(SNARLING, key=lambda g: groups[g]) if label == "nest" else label[:1]
        out.append(_Name(own, label, group, groups, may_be, unlike))
    return out


def _nest_codes(name: _Name, *, told: bool) -> tuple[str, ...]:
    """Return the codes a nest may have, likeliest first: two at least where none is told."""
    may_be = name.group_set
    if not told and len(may_be) == 1:
        others = (g for g in SNARLING if g not in may_be)
        may_be = (*may_be, max(others, key=lambda g: name.groups[g]))
    return tuple(f"{g}.3" for g in may_be)


@dataclass(frozen=True, slots=True)
class _Setting:
    """What is the same for every chip of a photo."""

    model: FormModel
    plane: Plane
    light: Light
    family: str | None
    clutter: bool
    bare: bool

    @property
    def sure_at(self) -> float:
        """Return from which probability on a group is sure in this photo."""
        return self.model.sure_at_bare if self.bare else self.model.sure_at

    def tells_nest(self, p: float) -> bool:
        """Say whether a nest's likeliest group is told: never without a card.

        Real benches and machines differ more from rendered ones than the card does; in a
        real photo a fitting was a nest of tubular coils for sure.
        """
        nests = self.model.within.get("nest")
        return nests is not None and p >= nests.sure_at and not self.bare


def _chip(
    seen: Seen,
    name: _Name,
    sizes: Mapping[str, Sized],
    u_flat: float,
    setting: _Setting,
) -> ChipReading:
    plane = setting.plane
    p, label, nest, group, groups = name.p, name.label, name.nest, name.group, name.groups
    best = CLASSES.index(label)
    scaled = plane.scale.source != "none"
    u_height = _u_height_mm(seen, group, nest=nest)
    geometry, flags = geometry_of(
        seen.shape,
        group,
        nest=nest,
        cut_off=seen.at_border,
        px_per_mm=CROP_PX_PER_MM,
        u_scale_rel=float(np.hypot(u_flat, plane.u_rel_of_height(u_height))),
        sizes=sizes,
    )
    if not scaled:
        geometry = _no_millimetres(geometry)
    given_chip = (
        float(p[best]) if nest else groups[group] * (1 - float(p[_NEST]) - float(p[_NONE]))
    )
    unlike = name.unlike or seen.pieces > PIECES_OF_A_CHIP
    sure = given_chip >= setting.sure_at and not unlike and not setting.clutter
    sure = sure and bool(chip_for_sure(p))
    told = not nest or (setting.tells_nest(groups[group]) and not unlike)
    if nest:
        candidates = _nest_codes(name, told=told)
        form = candidates[0] if told else None
        candidates = candidates[:1] if told and sure else candidates
    else:
        codes = code_of(label, geometry, nest=False)
        form = codes[0] if codes else None
        rivals = (g for g in name.group_set if g != group)
        sure = sure and len(codes) <= 1
        candidates = codes or (group,)
        candidates = candidates if sure else tuple(dict.fromkeys((*candidates, *rivals)))
    extra = [*flags]
    extra += [Flag.CUT_OFF] if seen.at_border else []
    extra += [Flag.GROUPED] if seen.pieces > 1 else []
    extra += [Flag.UNLIKE] if unlike else []
    extra += [] if sure else [Flag.NOT_SURE]
    area = seen.shape.area / CROP_PX_PER_MM**2
    return ChipReading(
        number=0,
        kind="nest" if nest else "chip",
        outline_px=_outline(seen, plane),
        group=group if told else None,
        form=form,
        sure=bool(sure),
        candidates=candidates,
        probability=groups,
        p_not_chip=float(p[_NONE]),
        group_set=name.group_set,
        why=(),
        geometry=geometry,
        tint=None,
        volume_weight=area * (2.5 if nest else 1.0),
        flags=tuple(dict.fromkeys(str(f) for f in extra)),
        features=seen.features,
        line_px=_measured_line(seen, group, plane, nest=nest),
        line_is_axis=group in COIL_GROUPS,
    )


def _with_company(why: Sequence[Why], weight: float) -> tuple[Why, ...]:
    """Put what the other chips say among the reasons, by its weight; as many as there were."""
    if abs(weight) < _WEIGHT_LEAST:
        return tuple(why)
    every = sorted((*why, Why(measure=COMPANY, weight=weight)), key=lambda w: -abs(w.weight))
    return tuple(every[: max(len(why), 1)])


def _explained(
    chips: Sequence[tuple[int, ChipReading]],
    look: Look,
    labels: Sequence[str],
    rows: npt.NDArray[np.float64],
    *,
    company: Float1,
    setting: _Setting,
) -> list[ChipReading]:
    """Add tint and reasons; ``chips`` come with their place in the look.

    ``company`` is what the photo's other chips did to the log-odds of each thing's group.
    """
    at = [i for i, _ in chips]
    whys = setting.model.all_reasons(rows[at], [labels[i] for i in at])
    whys = [_with_company(why, float(company[i])) for why, i in zip(whys, at, strict=True)]
    tints = [_tint(look.seen[i], setting.light, setting.family) for i in at]
    return [
        replace(chip, why=why, tint=tint)
        for (_, chip), why, tint in zip(chips, whys, tints, strict=True)
    ]


def name_chips(
    look: Look, plane: Plane, light: Light, *, family: str | None
) -> tuple[ChipReading, ...]:
    """Return the chips of a look, named, largest first and numbered from 1."""
    if not look.seen:
        return ()
    setting = _Setting(bundled.form_model(), plane, light, family, look.clutter, look.bare)
    rows = rows_of([s.features for s in look.seen])
    p = setting.model.probabilities(rows)
    boxes = np.array([s.box_mm for s in look.seen])
    u_flat = plane.u_rel_at((boxes[:, :2] + boxes[:, 2:]) / 2)
    at = np.flatnonzero(kept_at(p)).tolist()
    alone = p.copy()
    p[at] = in_company(p[at])
    labels = _labels(p, rows, setting.model)
    company = company_weights(alone, p, labels.tolist())
    names = _names(p[at], labels[at], rows[at], setting.model)
    keys = ["nest" if name.nest else name.group for name in names]
    known = bundled.size_model().sizes([look.seen[i].shape for i in at], rows[at], keys)
    named = [
        (i, _chip(look.seen[i], name, own, float(u_flat[i]), setting))
        for i, name, own in zip(at, names, known, strict=True)
    ]
    crumbs = [(i, c) for i, c in named if is_crumb(c)]
    if len(crumbs) < _POPULATION:
        chips = _explained(named, look, labels.tolist(), rows, company=company, setting=setting)
    else:
        # One crumb speaks for all: tint and reasons are asked of the largest only.
        lead = max(crumbs, key=lambda pair: pair[1].volume_weight)
        small = {i for i, _ in crumbs}
        one_by_one = [(i, c) for i, c in named if i not in small]
        *chips, spokesman = _explained(
            [*one_by_one, lead], look, labels.tolist(), rows, company=company, setting=setting
        )
        rest = [c for i, c in crumbs if i != lead[0]]
        sizes = [float(np.sqrt(look.seen[i].shape.area) / CROP_PX_PER_MM) for i, _ in crumbs]
        scaled = plane.scale.source != "none"
        chips.append(population([spokesman, *rest], sizes, scaled=scaled))
    return tuple(replace(c, number=i) for i, c in enumerate(chips, 1))
