"""Width and thickness of the chip as gauges of the cut, with their doubt.

Width shows only gross pushing away: ordinary springing is 1 to 2 % of the depth and a chip
may spread sideways by a fifth. Thickness at unchanged settings is the best sign of a
dulling edge under oil, where tint is blind. Nothing here is a limit or a rule of advice.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import exp, hypot, sqrt
from statistics import median
from typing import TYPE_CHECKING, Final, Literal, TypeAlias

from advisor.assess import interrupted
from advisor.state import cut_state, setup_of
from advisor.tables import rule_value
from advisor.thickness import Pair, compression, shear_angle, thickness_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from advisor.records import Case, ChipWidth, PassRecord
    from advisor.state import Setup
    from advisor.thickness import ChipThickness

__all__ = [
    "ThicknessGauge",
    "WidthGauge",
    "flat_width",
    "thickness_gauge",
    "width_gauge",
    "width_state",
]

State: TypeAlias = Literal["sound", "narrow", "wide", "unsure"]
#: Why a width says nothing: no fact, no strip in view, or it may be the thickness.
Why: TypeAlias = Literal[
    "", "facts", "direction", "interrupted", "no strips", "few", "on edge", "stout"
]
_TWO_U: Final = 2.0
#: Facts of the edge that must have been stated; a table's usual value is no ground.
_SECTION: Final = ("re_mm", "kapr_deg")
#: A chip cut with a nose is thicker at one side; what stands on edge may show that much more.
_UNEVEN: Final = 1.3


@dataclass(frozen=True, slots=True, kw_only=True)
class WidthGauge:
    """Chip width over the width that depth, nose radius and angle ask for.

    Pairs are (value, standard uncertainty). ``chips`` are the numbers of those that lay
    flat; empty where the width was measured by hand. ``missing`` names facts to state.
    """

    state: State
    why: Why = ""
    width_mm: Pair | None = None
    expected_mm: Pair | None = None
    ratio: Pair | None = None
    by_hand: bool = False
    chips: tuple[int, ...] = ()
    missing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ThicknessGauge:
    """Thickness of the chip, its compression and its shear angle; ``None``: not known.

    ``usual`` is the compression of this metal off a sharp edge, low and high.
    """

    thick: ChipThickness
    usual: tuple[float, float]
    ratio: Pair | None = None
    shear_deg: Pair | None = None
    missing: tuple[str, ...] = ()


def _missing(setup: Setup, record: PassRecord) -> tuple[str, ...]:
    """Return which facts of the uncut chip are not known."""
    cut, gone = record.cut, []
    if cut.feed_mm_rev is None or not cut.power_feed:
        gone.append("feed_mm_rev")
    if cut.direction == "along":
        gone += [key for key in _SECTION if key not in setup.edge.given]
    elif cut.direction in {"face", "bore"}:
        gone.append("kapr_deg")  # the angle of the tool is stated for turning along the bar
    return tuple(gone)


def thickness_gauge(case: Case, number: int) -> ThicknessGauge | None:
    """Return what the measured thickness of a pass says; ``None`` where none was measured.

    ``number`` counts from 0.
    """
    record = case.passes[number]
    setup = setup_of(case, record)
    thick = thickness_of(setup, record)
    if thick is None:
        return None
    usual = case.metal.compression
    missing = _missing(setup, record)
    ratio = None if missing else compression(setup, record)
    shear = None
    if ratio is not None and record.edge.chip_groove:
        missing = (*missing, "chip_groove")  # the groove makes another rake
    elif ratio is not None and "rake_deg" not in record.edge.given:
        missing = (*missing, "rake_deg")
    elif ratio is not None:
        shear = shear_angle(ratio, record.edge.rake_deg)
    return ThicknessGauge(
        thick=thick,
        usual=(usual.low, usual.high),
        ratio=ratio,
        shear_deg=shear,
        missing=missing,
    )


def width_gauge(case: Case, number: int) -> WidthGauge:
    """Return what the chip width of a pass says of the depth that was cut.

    Parameters
    ----------
    case : Case
    number : int
        Pass, counted from 0.

    Returns
    -------
    WidthGauge
        "narrow" and "wide" only where the ratio is beyond any doubt far off; "unsure"
        with ``why`` where a strip's width was not seen, or may be its thickness.

    Notes
    -----
    Not to be trusted for: depth itself. A diameter measured after the pass tells it
    exactly; this gauge is for those who have none.

    References
    ----------
    [colwell1954] for the width cut; side-spread from memory [chip-ratio].
    """
    record = case.passes[number]
    setup = setup_of(case, record)
    if record.cut.direction != "along":
        return WidthGauge(state="unsure", why="direction")
    before = replace(record, measured_mm=((0.0, record.cut.diameter_mm),))
    if interrupted(case.work, before, number):  # corners or skin were in this cut
        return WidthGauge(state="unsure", why="interrupted")
    missing = _missing(setup, record)
    if missing:
        return WidthGauge(state="unsure", why="facts", missing=missing)
    expected = _expected_mm(setup, record)
    piece = record.chip
    if piece.width_by_hand and piece.width_mm is not None:
        return _judged(piece.width_mm, expected, by_hand=True)
    return _in_the_photo(setup, record, expected)


def _in_the_photo(setup: Setup, record: PassRecord, expected: Pair) -> WidthGauge:
    """Return the gauge by the strips of the photo that surely lay flat."""
    widths = record.evidence.widths if record.evidence.usable != "retake" else ()
    thickest = _thickest_seen_mm(setup, record)
    flat = [w for w in widths if w.mm > thickest]
    why: Why = ""
    if not widths:
        why = "no strips"
    elif thickest >= rule_value("gauge", "stout") * expected[0]:
        why = "stout"
    elif not flat:
        why = "on edge"
    elif len(flat) < rule_value("gauge", "least_strips"):
        why = "few"
    if why:
        return WidthGauge(state="unsure", why=why, expected_mm=expected)
    return _judged(flat_width(flat), expected, chips=tuple(w.number for w in flat))


def _expected_mm(setup: Setup, record: PassRecord) -> Pair:
    """Return the width cut, the chord of the edge; how its length differs is the doubt."""
    section = cut_state(setup, record.cut).section
    model = abs(section.edge_length_mm - section.width_mm) / sqrt(3.0)
    by_depth = section.width_mm * rule_value("gauge", "depth_mm") / record.cut.depth_mm
    return section.width_mm, hypot(model, by_depth)


def _thickest_seen_mm(setup: Setup, record: PassRecord) -> float:
    """Return the most that this chip can show where it stands on edge, mm."""
    measured = thickness_of(setup, record)
    if measured is not None:
        return _UNEVEN * (measured.mm + _TWO_U * measured.u_mm)
    section = cut_state(setup, record.cut).section
    return setup.metal.compression.high * section.thickest_mm


def flat_width(widths: Sequence[ChipWidth]) -> Pair:
    """Return the width of a pass's strips and its uncertainty, mm.

    The median of all; what each chip has of its own gets less with their number, what all
    share (a lean of the strip, the blur of the photo) does not.

    Raises
    ------
    statistics.StatisticsError
        For none.
    """
    value = median(w.mm for w in widths)
    shared = rule_value("gauge", "photo_share") * value
    single = median(w.u_mm / w.mm for w in widths) * value
    own = sqrt(max(single**2 - shared**2, 0.0) / len(widths))
    return value, hypot(shared, own)


def width_state(width: Pair, expected: Pair) -> State:
    """Return "narrow" or "wide" where a width is beyond doubt far off, else "sound"."""
    value, u = _ratio(width, expected)
    most = exp(_TWO_U * u / value)  # a strip that leans is off by a factor, not by a length
    if value * most < rule_value("gauge", "narrow"):
        return "narrow"
    return "wide" if value / most > rule_value("gauge", "wide") else "sound"


def _ratio(width: Pair, expected: Pair) -> Pair:
    value = width[0] / expected[0]
    return value, value * hypot(width[1] / width[0], expected[1] / expected[0])


def _judged(
    width: Pair, expected: Pair, *, by_hand: bool = False, chips: tuple[int, ...] = ()
) -> WidthGauge:
    return WidthGauge(
        state=width_state(width, expected),
        width_mm=width,
        expected_mm=expected,
        ratio=_ratio(width, expected),
        by_hand=by_hand,
        chips=chips,
    )
