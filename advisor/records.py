"""Frozen records of the advisor: the case that comes in, the advice and plan that go out.

Lengths are millimetres, depths are on the side, speeds are as their names say. What the
user did not give carries the default of ``advisor.case.DEFAULTS``; ``Case.missing`` names
it. Nothing here computes.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from advisor.tables import Metal

__all__ = [
    "Advice",
    "Case",
    "Change",
    "Cut",
    "Dial",
    "Edge",
    "Evidence",
    "Lathe",
    "LimitCheck",
    "Measured",
    "NextCut",
    "Pass",
    "PassPlan",
    "PlanStep",
    "Setup",
    "SpeedRange",
    "Text",
    "Work",
]

Severity = Literal["ok", "near", "exceeded"]
Trust = Literal["good", "fair", "poor"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A value with its standard uncertainty in the same unit."""

    value: float
    u: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """The bar and what is to become of it."""

    metal: Metal
    stock: str
    diameter_mm: float
    stickout_mm: float
    cut_length_mm: float
    holding: str
    target_diameter_mm: float | None
    tolerance_mm: float
    roughness_rz_um: float | None
    waste_end_mm: float

    @property
    def interrupted(self) -> bool:
        """Whether the first cut meets corners or a skin, so that short chips mean nothing."""
        return self.stock != "round"


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge:
    """The cutting edge in its holder."""

    id: str
    material: str
    rake_deg: float
    kapr_deg: float
    end_edge_angle_deg: float
    re_mm: float
    edge_radius_um: float
    condition: str
    chip_groove: bool
    overhang_mm: float
    shank_mm: float
    centre_height_mm: float
    blade_width_mm: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedRange:
    """One belt or gear range of the spindle, rev/min."""

    low: float
    high: float
    rated: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Dial:
    """The dial that sets the depth."""

    mm_per_division: float
    reads: str

    @property
    def depth_step_mm(self) -> float:
        """Depth on the side that one division gives, mm."""
        return self.mm_per_division / (2.0 if self.reads == "diameter" else 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lathe:
    """What this lathe can do. ``speeds_rev_min`` is empty for a variable drive."""

    power_w: float
    efficiency: float
    speeds_rev_min: tuple[float, ...]
    speed_from_rev_min: float
    speed_to_rev_min: float
    ranges: tuple[SpeedRange, ...]
    chuck_max_rev_min: float
    feeds_mm_rev: tuple[float, ...]
    cross_feeds_mm_rev: tuple[float, ...] | None
    feed_change: str
    dial: Dial
    stiffness_n_um: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """Settings of one cut. ``feed_mm_rev`` is ``None`` for an unknown hand feed."""

    direction: str
    spindle_rev_min: float
    feed_mm_rev: float | None
    depth_mm: float
    diameter_mm: float
    length_mm: float
    coolant: str
    power_feed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What the chips of one pass said, from a photo or from the eye.

    ``code`` is a full form code or, without a scale, a bare group. ``mix`` maps codes to
    shares of the metal; lengths are the longest chip's.
    """

    code: str | None
    share: float
    sure: bool
    mix: tuple[tuple[str, float], ...]
    tint: str | None
    tint_sure: bool
    length_mm: float | None
    curl_radius_mm: float | None
    width_mm: float | None
    usable: str
    from_photo: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """Everything but the settings: edge, holding, stick-out, and the job they serve."""

    edge: Edge
    holding: str
    stickout_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Pass:
    """One pass: what was set, what came of it."""

    cut: Cut
    setup: Setup
    measured_mm: tuple[tuple[float, float], ...]
    chip_thickness_mm: float | None
    evidence: Evidence | None
    noticed: tuple[str, ...]
    edge_looked_at: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A job so far. ``missing`` names the fields that stand at their default."""

    work: Work
    edge: Edge
    lathe: Lathe
    passes: tuple[Pass, ...]
    missing: tuple[str, ...]

    @property
    def setup(self) -> Setup:
        """Return edge and holding as they stand now."""
        return Setup(
            edge=self.edge, holding=self.work.holding, stickout_mm=self.work.stickout_mm
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """A sentence by reason id with its quantities, worded when it is shown."""

    reason: str
    values: dict[str, tuple[float, str | None] | str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitCheck:
    """One hard limit, at the worst case of the force band."""

    limit: str
    value: float
    bound: float
    kind: Literal["max", "min"]
    unit: str | None
    severity: Severity
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One lever moved. Words stand in ``start`` and ``end`` when the lever has no number."""

    lever: str
    start: float | str
    end: float | str
    unit: str | None
    because: Text
    expect: Text
    if_not: Text
    sources: tuple[str, ...]
    also: tuple[Change, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class NextCut:
    """Settings for the next pass, settable on this lathe."""

    spindle_rev_min: float
    feed_mm_rev: float | None
    depth_mm: float
    power_feed: bool
    coolant: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """The next move with its reasons."""

    verdict: str
    because: Text
    do: tuple[Text, ...]
    cautions: tuple[Text, ...]
    change: Change | None
    alternatives: tuple[Change, ...]
    next_cut: NextCut | None
    checks: tuple[LimitCheck, ...]
    trust: Trust


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanStep:
    """One step of a plan; steps without a cut (measure, cool) keep the diameter."""

    number: int
    kind: str
    diameter_from_mm: float
    diameter_to_mm: float
    cut: NextCut | None
    dial_divisions: int | None
    checks: tuple[LimitCheck, ...]
    expected_deflection_mm: Measured | None
    expected_diameter_error_mm: Measured | None
    seconds: float
    note: Text | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PassPlan:
    """Passes to the target diameter, or why there are none."""

    feasible: bool
    passes: tuple[PlanStep, ...]
    cautions: tuple[Text, ...]
    why_not: Text | None
    would_help: tuple[Text, ...]
