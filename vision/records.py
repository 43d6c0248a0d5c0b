"""Frozen records that a photo turns into on its way to a reading.

Lengths are millimetres, pictures are RGB, points are (x, y). A quantity that
could not be measured is ``None``, never 0. Turning records into JSON is in
``vision.as_json``; nothing here computes anything.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from vision.arrays import Points2, Rgb8
    from vision.photo.sheet_map import SheetMap

__all__ = [
    "CardFix",
    "ChipGeometry",
    "ChipReading",
    "ChipTint",
    "FormVerdict",
    "Heat",
    "Measured",
    "Photo",
    "PhotoFacts",
    "PhotoReading",
    "Scale",
    "Temperature",
    "Why",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A value with its standard uncertainty in the same unit.

    About 95 % of true values lie within 2 u. ``bound`` is ``"at_least"`` where
    part of the chip could not be seen.
    """

    value: float
    u: float
    bound: Literal["at_least"] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoFacts:
    """What the file says of itself; place data is never read."""

    width_px: int
    height_px: int
    format: str
    orientation: int = 1
    profile_name: str | None = None
    taken_at: str | None = None
    camera: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Photo:
    """A decoded photo, upright as a person sees it.

    ``rgb`` is (H, W, 3) uint8 as encoded in the file; ``icc`` is the embedded
    profile or ``None`` for sRGB. Colours are converted where they are used, on
    crops, because a whole 12-megapixel conversion costs more than all the rest.
    """

    rgb: Rgb8
    sha256: str
    facts: PhotoFacts
    icc: bytes | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CardFix:
    """Where the card lies: the map between card and photo, and how well it fits.

    ``sheet`` has its origin at the card's upper left corner, x right, y down, in real
    millimetres; one millimetre of the card's description is ``unit_mm`` of them.
    """

    card_id: str
    sheet: SheetMap
    unit_mm: float
    corners_px: Points2
    corners_mm: Points2
    residual_mm: float
    tilt_deg: float
    corners_seen: int
    corners_total: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """Pixels per millimetre at the middle of the chips, and where it comes from.

    ``lens_shift`` is by what share the lens moves the picture's corner; negative is barrel.
    """

    source: Literal["card", "typed", "none"]
    px_per_mm: Measured | None
    residual_mm: float | None = None
    lens_shift: Measured | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ChipGeometry:
    """Sizes of one chip; ``None`` where not measurable, all ``None`` without a scale."""

    length_mm: Measured | None = None
    width_mm: Measured | None = None
    extent_mm: Measured | None = None
    curl_radius_mm: Measured | None = None
    curl_radius_range_mm: tuple[float, float] | None = None
    pitch_mm: Measured | None = None
    turns: Measured | None = None
    coil_length_mm: Measured | None = None
    area_mm2: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ChipTint:
    """Colour of one chip. ``name`` is one of ``vision.terms.TINTS`` or ``None``."""

    name: str | None
    sure: bool
    candidates: tuple[str, ...]
    film_nm: Measured | None
    lab: tuple[float, float, float] | None
    share_tinted: Measured | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Why:
    """One measure that spoke for (positive) or against (negative) the group, in log-odds."""

    measure: str
    weight: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ChipReading:
    """Everything said about one chip.

    ``group_set`` is made to hold the true group nine times in ten (``vision.forms.sets``), the
    one it is named by first; for a nest it is every group that snarls. Of grains
    ``group_sets`` holds the set of each outline, ``group_set`` all that any of them may be.
    ``candidates`` are what a person should think of: one where the chip is sure, though its
    set may hold another group now and then.
    """

    number: int
    kind: Literal["chip", "nest", "grains"]
    outline_px: tuple[Points2, ...]
    group: str | None
    form: str | None
    sure: bool
    candidates: tuple[str, ...]
    probability: dict[str, float]
    p_not_chip: float
    why: tuple[Why, ...]
    geometry: ChipGeometry
    tint: ChipTint | None
    volume_weight: float = 1.0
    count: int | None = None
    median_size_mm: Measured | None = None
    flags: tuple[str, ...] = ()
    group_set: tuple[str, ...] = ()
    group_sets: tuple[tuple[str, ...], ...] = ()
    features: dict[str, float] = field(default_factory=dict)
    line_px: Points2 | None = None
    """What its lengths were measured along, (N, 2) pixels of the photo."""
    line_is_axis: bool = False
    """Whether that is the axis of a coil rather than the centre line of a strip."""
    photo_number: int = 1
    """Which photo of the reading shows it, counted from 1; its outline is in those pixels."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FormVerdict:
    """What the chips of the photo are, taken together, weighed by metal volume."""

    code: str | None
    group: str | None
    main: str | None
    share: float
    sure: bool
    candidates: tuple[str, ...]
    mix: dict[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Temperature:
    """Degrees Celsius, rounded outward to 50; ``None`` where no law holds."""

    at_least: float | None
    likely_low: float | None
    likely_high: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Heat:
    """What the tint of the chips says about heat."""

    tint: str | None
    sure: bool
    candidates: tuple[str, ...]
    film_nm: Measured | None
    share_tinted: Measured | None
    temperature_c: Temperature | None
    basis: str
    family: str | None = None
    """Whose ladder of tints was read: "steel", "stainless", "titanium"; None: not named."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoReading:
    """One photo, read, or several of the same pass taken together.

    ``photo``, ``sha256``, ``size_px`` and ``scale`` are those of the photo with most
    chips; ``photos`` and ``sha256s`` list all of them.
    """

    photo: str
    photos: tuple[str, ...]
    sha256: str
    size_px: tuple[int, int]
    scale: Scale
    chips: tuple[ChipReading, ...]
    form: FormVerdict | None
    heat: Heat | None
    flags: tuple[str, ...]
    usable: Literal["yes", "with care", "retake"]
    versions: dict[str, str]
    sha256s: tuple[str, ...] = ()
