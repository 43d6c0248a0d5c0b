"""Frozen records of a case and of the answers to it. Nothing here computes anything.

Lengths are millimetres, forces newtons, angles degrees; what is not known is ``None``.
Defaults for what a case leaves out stand in ``data/assumed.toml`` and are filled in
before these records are made; ``Case.assumed`` lists them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Mapping

    from advisor.tables import Material

__all__ = [
    "Advice",
    "Case",
    "Change",
    "ChipPiece",
    "ChipWidth",
    "Cut",
    "Dial",
    "Edge",
    "Evidence",
    "Lathe",
    "Lever",
    "LimitCheck",
    "PassPlan",
    "PassRecord",
    "PlanStep",
    "Quantity",
    "Reason",
    "Severity",
    "SpeedRange",
    "Verdict",
    "Work",
]

Verdict: TypeAlias = Literal[
    "start", "keep", "change", "look at the edge", "stop", "retake the photo", "done"
]
Severity: TypeAlias = Literal["ok", "near", "exceeded"]
Lever: TypeAlias = Literal["speed", "feed", "depth", "edge", "support", "coolant"]
Trust: TypeAlias = Literal["good", "fair", "poor"]


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with its metric unit, kept apart from its text, so inch can be shown."""

    value: float
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """A sentence by its id, the quantities it names and the sources it rests on."""

    id: str
    values: Mapping[str, Quantity | str] = field(default_factory=dict)
    sources: tuple[str, ...] = ("practice",)


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """The bar, how it is held and what it shall become."""

    material: str
    diameter_mm: float
    stock: str
    holding: str
    stickout_mm: float
    cut_length_mm: float
    tolerance_mm: float
    target_diameter_mm: float | None = None
    roughness_rz_um: float | None = None
    waste_end_mm: float = 0.0
    grip_mm: float | None = None
    """Length of bar inside the jaws, where it is known."""
    direction: str = "along"
    """What the first cut of the job is to be."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge:
    """The cutting edge and its tool."""

    id: str
    material: str
    condition: str
    rake_deg: float
    kapr_deg: float
    end_edge_angle_deg: float
    re_mm: float
    edge_radius_um: float
    chip_groove: bool
    overhang_mm: float
    shank_mm: float
    centre_height_mm: float
    blade_width_mm: float | None = None
    overhang_given: bool = True
    """Whether the overhang was stated, or is only what tools usually stand out."""
    given: tuple[str, ...] = ()
    """Which of ``re_mm``, ``kapr_deg`` and ``rake_deg`` were stated, not assumed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedRange:
    """One range of a gearbox, belt or drive; constant torque up to the rated speed."""

    low: float
    high: float
    rated_rev_min: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Dial:
    """The depth dial: what one division moves, on the radius or on the diameter."""

    mm_per_division: float
    reads: Literal["radius", "diameter"]

    @property
    def step_mm(self) -> float:
        """Depth (on the side) of one division, mm."""
        return self.mm_per_division / (2.0 if self.reads == "diameter" else 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lathe:
    """What this lathe can be set to, and what it can bear."""

    steps_rev_min: tuple[float, ...]
    """Fixed spindle steps; empty for a variable drive."""
    drive_rev_min: tuple[float, float] | None
    """Lowest and highest speed of a variable drive; None for fixed steps."""
    ranges: tuple[SpeedRange, ...]
    power_w: float
    efficiency: float
    chuck_max_rev_min: float
    feeds_mm_rev: tuple[float, ...]
    cross_feeds_mm_rev: tuple[float, ...]
    feed_change: str
    dial: Dial
    stiffness_n_um: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """One cut as set: speed, feed, depth and the rest. ``diameter_mm`` is before the cut."""

    direction: str
    spindle_rev_min: float
    feed_mm_rev: float | None
    depth_mm: float
    diameter_mm: float
    length_mm: float
    coolant: str
    power_feed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ChipWidth:
    """Width of one surely named chip of a photo, mm, with its standard uncertainty."""

    number: int
    group: str
    mm: float
    u_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ChipPiece:
    """What a person measured on a piece of chip; pairs are (value, standard uncertainty)."""

    readings_mm: tuple[float, ...] = ()
    """Thickness by micrometer, at one place or several."""
    mass_g: float | None = None
    length_mm: tuple[float, float] | None = None
    """Developed length of the piece, or of all the pieces that were weighed."""
    width_mm: tuple[float, float] | None = None
    cut_mm: float | None = None
    """Length on the work that the whole piece was cut from."""
    turns: float | None = None
    """Turns of the work in which the whole piece was cut."""
    width_by_hand: bool = False
    """Whether the width was measured on the chip and not in the photo."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What the chips of a pass say, from a photo or by eye."""

    source: Literal["reading", "signs", "none"] = "none"
    form: str | None = None
    share: float = 1.0
    sure: bool = True
    candidates: tuple[str, ...] = ()
    mix: tuple[tuple[str, float], ...] = ()
    """Shares of the metal by form, as far as they are known."""
    length_mm: float | None = None
    curl_radius_mm: float | None = None
    width_mm: float | None = None
    widths: tuple[ChipWidth, ...] = ()
    """Widths of ribbons and arcs that are surely named."""
    tint: str | None = None
    tint_sure: bool = True
    film_nm: float | None = None
    """Oxide film of the middle chip with its standard uncertainty, nm."""
    u_film_nm: float = 0.0
    share_tinted: float | None = None
    """Share of the visible surface that is tinted, 0 to 1, with its uncertainty."""
    u_share_tinted: float = 0.0
    usable: str = "yes"

    @property
    def tangled(self) -> float:
        """Share of the metal that is snarled."""
        return sum(share for code, share in self.mix if code.endswith(".3"))

    @property
    def main(self) -> str | None:
        """Form of most of the metal; the named one may be a few snarls that come first."""
        return max(self.mix, key=lambda pair: pair[1])[0] if self.mix else self.form

    def share_of(self, code: str) -> float:
        """Return the share of the metal that has a form."""
        return dict(self.mix).get(code, 0.0)

    @property
    def nest(self) -> bool:
        """Whether the chips snarl for certain, whatever they were wound from."""
        return bool(self.candidates) and all(c.endswith(".3") for c in self.candidates)

    @property
    def open_nest(self) -> bool:
        """Whether it is a nest for certain, but not of which ribbon or coil."""
        return self.nest and len(self.candidates) > 1


@dataclass(frozen=True, slots=True, kw_only=True)
class PassRecord:
    """One pass as it was made."""

    cut: Cut
    edge: Edge
    holding: str
    stickout_mm: float
    evidence: Evidence
    measured_mm: tuple[tuple[float, float], ...] = ()
    """Places along the cut, mm from its end at the chuck, and the diameter found there, mm."""
    chip: ChipPiece = ChipPiece()
    noticed: tuple[str, ...] = ()
    edge_looked_at: str = "not yet"


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Job, lathe and passes so far, checked and with every default filled in."""

    work: Work
    metal: Material
    edge: Edge
    lathe: Lathe
    passes: tuple[PassRecord, ...]
    assumed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitCheck:
    """One limit: what the cut asks, what is allowed."""

    limit: str
    value: float
    bound: float
    kind: Literal["max", "min"]
    unit: str
    severity: Severity
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One lever moved; words in place of numbers where the lever has none."""

    lever: Lever
    from_: float | str | Reason | None
    to: float | str | Reason | None
    unit: str | None
    reason: Reason


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """The one next move, why, and what it stays within.

    ``setup_words`` says how the next cut is held where that differs from the last one:
    ``holding``, ``stickout_mm``, ``overhang_mm``, ``edge``.
    """

    verdict: Verdict
    reason: Reason
    do: tuple[Reason, ...] = ()
    cautions: tuple[Reason, ...] = ()
    change: Change | None = None
    also: tuple[Change, ...] = ()
    alternatives: tuple[Change, ...] = ()
    next_cut: Cut | None = None
    setup_words: Mapping[str, str | float] = field(default_factory=dict)
    checks: tuple[LimitCheck, ...] = ()
    recommended: tuple[LimitCheck, ...] = ()
    """Recommended ranges of the next cut; passing one is no broken limit."""
    trust: Trust = "good"
    trust_why: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanStep:
    """One line of a plan; ``cut`` is None for measuring and cooling."""

    kind: Literal["rough", "semi", "trial", "measure", "cool", "finish"]
    diameter_from_mm: float
    diameter_to_mm: float
    cut: Cut | None = None
    dial_divisions: int | None = None
    dial_from_touch_off: int | None = None
    checks: tuple[LimitCheck, ...] = ()
    deflection_mm: tuple[float, float] | None = None
    diameter_error_mm: tuple[float, float] | None = None
    seconds: float | None = None
    note: Reason | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PassPlan:
    """All passes to the target diameter, or why there are none."""

    feasible: bool
    steps: tuple[PlanStep, ...] = ()
    cautions: tuple[Reason, ...] = ()
    why_not: Reason | None = None
    would_help: tuple[Reason, ...] = ()
