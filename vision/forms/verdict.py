"""The chips of one photo taken together: mix by metal volume, danger named first.

One nest outweighs fifty crumbs, because what counts at the lathe is how much metal
leaves in which form. A sure long or snarled chip endangers hands, so it is named
first whatever its share; where its group is open all candidates are named and the
verdict is not sure. Under five chips (and no nest, and no long chip) there is
no sure verdict.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from vision.records import FormVerdict
from vision.terms import SNARLING, Flag

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vision.records import ChipReading

__all__ = ["MIN_CHIPS", "doubts_of", "is_dangerous", "verdict_of"]

#: Chips needed for a verdict when none of them is long or snarled.
MIN_CHIPS = 5
#: Share of the largest form from which the photo's form is called sure.
_CLEAR_SHARE = 0.6


def is_dangerous(code: str) -> bool:
    """Say whether a form wraps or snarls: long ribbons and coils, and nests."""
    return code[:1] in SNARLING and code[1:] in (".1", ".3")


def _names(chip: ChipReading) -> tuple[str, ...]:
    if chip.form is not None:
        return (chip.form,)
    return chip.candidates[:1] or ((chip.group,) if chip.group else ())


def verdict_of(chips: Sequence[ChipReading]) -> FormVerdict | None:
    """Return the form of the photo, ``None`` without chips.

    ``mix`` holds ISO codes (or the bare group where no code could be given) with
    their share of metal volume, adding up to 1.
    """
    weight: dict[str, float] = {}
    danger: dict[str, float] = {}
    unclear: dict[str, tuple[str, ...]] = {}
    named: set[str] = set()
    count = sure_weight = 0.0
    for chip in chips:
        names = _names(chip)
        if not names:
            continue
        weight[names[0]] = weight.get(names[0], 0.0) + chip.volume_weight
        count += chip.count or 1
        if chip.sure:
            sure_weight += chip.volume_weight
            if is_dangerous(names[0]):
                danger[names[0]] = max(danger.get(names[0], 0.0), chip.volume_weight)
                if chip.form is None and len(chip.candidates) > 1:
                    unclear[names[0]] = chip.candidates
                elif chip.form is not None:
                    named.add(names[0])
    total = sum(weight.values())
    if not weight or total <= 0:
        return None
    mix = {k: v / total for k, v in sorted(weight.items(), key=lambda kv: -kv[1])}
    main = next(iter(mix))
    code = max(danger, key=lambda k: danger[k]) if danger else main
    enough = bool(danger) or count >= MIN_CHIPS
    clear = bool(danger) or (mix[main] >= _CLEAR_SHARE and sure_weight / total >= 0.5)
    rivals = tuple(k for k, v in mix.items() if v >= 0.5 * mix[main])
    # That it snarls is certain, of which group is not: all groups that may be are named.
    snarls = () if code in named else unclear.get(code, ())
    sure = enough and clear and not snarls
    return FormVerdict(
        code=code if "." in code or code in ("7", "8") else None,
        group=code[:1],
        main=main if "." in main or main in ("7", "8") else None,
        share=mix[code],
        sure=sure,
        candidates=(code,) if sure else tuple(snarls or dict.fromkeys((code, *rivals))),
        mix=mix,
    )


def doubts_of(form: FormVerdict | None, chips: Sequence[ChipReading]) -> tuple[Flag, ...]:
    """Return why a verdict is not sure; that it is a nest may be certain all the same."""
    if form is None or form.sure:
        return ()
    open_nests = {c.candidates for c in chips if c.kind == "nest" and c.sure and c.form is None}
    if form.candidates in open_nests:
        return (Flag.NEST_OPEN,)
    count = sum(c.count or 1 for c in chips)
    return (Flag.FEW_CHIPS if count < MIN_CHIPS else Flag.NOT_SURE,)
