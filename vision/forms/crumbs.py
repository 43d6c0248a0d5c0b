"""Elemental crumbs of a photo are one reading: a population with a count and a size.

Not in here: naming a crumb (``name``).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import cv2
import numpy as np

from vision.forms.model import GROUPS
from vision.records import ChipGeometry, ChipReading, Measured
from vision.terms import Flag

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vision.arrays import Points2

__all__ = ["is_crumb", "population"]


def is_crumb(chip: ChipReading) -> bool:
    """Say whether a chip is named elemental; one that is unlike any chip stands alone."""
    return chip.kind == "chip" and chip.group == "7" and Flag.UNLIKE not in chip.flags


def _rim(chip: ChipReading) -> Points2:
    """Return the outer ring of a crumb; its holes and splinters are left out."""
    return max(chip.outline_px, key=lambda ring: cv2.contourArea(ring.astype(np.float32)))


def population(
    chips: Sequence[ChipReading], sizes: Sequence[float], *, scaled: bool
) -> ChipReading:
    """Return one reading of all crumbs, the first speaking for them: outlines, count, size.

    They are sure where most of them are. Without a scale they never are: nothing but their size
    tells crumbs from dust and from specks of a bench.
    """
    lead = chips[0]
    middle = float(np.median(sizes))
    spread = float(np.std(sizes) / np.sqrt(len(sizes)))
    kind: Literal["grains"] = "grains"
    outlined = [c for c in chips if c.outline_px]
    return ChipReading(
        number=lead.number,
        kind=kind,
        outline_px=tuple(_rim(c) for c in outlined),
        group="7",
        form="7",
        sure=scaled and sum(c.sure for c in chips) * 2 >= len(chips),
        candidates=("7",),
        probability={g: float(np.mean([c.probability[g] for c in chips])) for g in GROUPS},
        p_not_chip=float(np.mean([c.p_not_chip for c in chips])),
        group_set=tuple(dict.fromkeys(g for c in chips for g in c.group_set)),
        group_sets=tuple(c.group_set for c in outlined),
        why=lead.why,
        geometry=ChipGeometry(),
        tint=lead.tint,
        volume_weight=sum(c.volume_weight for c in chips),
        count=len(chips),
        median_size_mm=Measured(value=middle, u=max(spread, 0.07 * middle)) if scaled else None,
        features=lead.features,
    )
