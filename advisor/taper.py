"""What a tapered or barrelled bar says: which end is thick tells what gives way.

Places are counted from the chuck's side of the cut. A bar in a chuck bends away where it
is free; between chuck and centre it is fattest in the middle [roark]; a tail end that is
thick or thin points at the tailstock. Thick at the chuck, where the cut ends, the bar does
not bend at all: the edge went on the way [rose], or spindle and ways are out of line.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from advisor.geometry import pushes_less, support_moves
from advisor.moves import Move, in_words

if TYPE_CHECKING:
    from advisor.records import PassRecord
    from advisor.situation import Situation

__all__ = ["Taper", "taper_moves", "taper_of", "thick_at_the_chuck"]

_CENTRES = ("chuck and centre", "between centres")
#: A tailstock that was set over and left more than this share of the taper is not the cause.
_NO_BETTER = 0.7


@dataclass(frozen=True, slots=True)
class Taper:
    """Diameters at both ends of the measured length and the largest between them, mm."""

    near_mm: float
    far_mm: float
    middle_mm: float | None
    apart_mm: float

    @property
    def tail_thicker_mm(self) -> float:
        """How much thicker the end away from the chuck is; negative where it is thinner."""
        return self.far_mm - self.near_mm

    @property
    def barrel_mm(self) -> float:
        """How much thicker the middle is than the thicker end; 0 where it is not."""
        ends = max(self.near_mm, self.far_mm)
        return max(0.0, (self.middle_mm or ends) - ends)


def taper_of(record: PassRecord) -> Taper | None:
    """Return the shape of the bar after a pass along it; None where one place was measured."""
    places = sorted(record.measured_mm)
    if record.cut.direction != "along" or len({place for place, _ in places}) < 2:  # noqa: PLR2004 - two ends
        return None
    inner = [diameter for _, diameter in places[1:-1]]
    return Taper(
        near_mm=places[0][1],
        far_mm=places[-1][1],
        middle_mm=max(inner, default=None),
        apart_mm=places[-1][0] - places[0][0],
    )


def thick_at_the_chuck(now: Situation) -> bool:
    """Return whether a bar in a chuck came out thicker at the chuck than the tolerance."""
    shape = taper_of(now.last)
    if shape is None or now.setup.holding != "chuck":
        return False
    return -shape.tail_thicker_mm > now.stock.tolerance_mm


def taper_moves(now: Situation) -> list[Move]:
    """Return what evens the diameter out, by the shape that was measured."""
    shape, most = taper_of(now.last), now.stock.tolerance_mm
    if shape is None:
        return []
    if now.setup.holding not in _CENTRES:
        if shape.tail_thicker_mm <= most:
            return []
        return [*support_moves(now, "taper"), *pushes_less(now)]
    if shape.barrel_mm > most:
        lighter = Move(lever="depth", way=-1, reason="barrel-depth", sources=("roark",))
        return [*pushes_less(now, "barrel-angle"), lighter]
    if abs(shape.tail_thicker_mm) <= most or _set_over_in_vain(now, shape):
        return []
    return [_tailstock_over(now, shape)]


def _tailstock_over(now: Situation, shape: Taper) -> Move:
    """Return the tailstock set over by half the taper over the whole length held."""
    over = 0.5 * abs(shape.tail_thicker_mm) * now.setup.stickout_mm / shape.apart_mm
    where = "nearer to the tool" if shape.tail_thicker_mm > 0.0 else "away from the tool"
    return Move(
        lever="support",
        way=0,
        reason="tailstock-over",
        sources=("geometry", "practice"),
        words=("tailstock as it stands", in_words("tailstock", round(over, 2), where=where)),
    )


def _set_over_in_vain(now: Situation, shape: Taper) -> bool:
    """Return whether the pass before, held alike, had much the same taper already."""
    for record in now.case.passes[-2:-1]:
        before = taper_of(record)
        if before is None or record.holding != now.setup.holding:
            continue
        was = before.tail_thicker_mm
        alike = was * shape.tail_thicker_mm > 0.0 and abs(was) > now.stock.tolerance_mm
        return alike and abs(shape.tail_thicker_mm) > _NO_BETTER * abs(was)
    return False
