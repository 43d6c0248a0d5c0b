"""From the JSON of a case to its record: everything checked, every default filled in.

Only the form of the case is judged here; whether the cut is wise is for the rules.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from advisor import terms
from advisor.chip_piece import parse_chip_piece
from advisor.chips import parse_reading, parse_signs
from advisor.errors import CaseInvalid
from advisor.fields import Fields, as_list, as_number
from advisor.lathes import parse_lathe
from advisor.records import Case, Cut, Edge, Evidence, PassRecord, Work
from advisor.tables import assumed_value, edge_number, material

if TYPE_CHECKING:
    from advisor.tables import Material

__all__ = ["CASE_SCHEMA", "left_diameter_mm", "parse_case"]

CASE_SCHEMA: Final = "bluecurl.case/1"

_CASE = ("schema", "work", "edge", "lathe", "passes", "units", "photo")
_WORK = (
    "material",
    "stock",
    "diameter_mm",
    "stickout_mm",
    "cut_length_mm",
    "holding",
    "target_diameter_mm",
    "tolerance_mm",
    "roughness_rz_um",
    "waste_end_mm",
    "grip_mm",
    "direction",
)
_EDGE = (
    "id",
    "material",
    "rake_deg",
    "kapr_deg",
    "end_edge_angle_deg",
    "re_mm",
    "edge_radius_um",
    "condition",
    "chip_groove",
    "overhang_mm",
    "shank_mm",
    "centre_height_mm",
    "blade_width_mm",
)
_PASS = (
    "cut",
    "edge",
    "holding",
    "stickout_mm",
    "measured_mm",
    "chip_thickness_mm",
    "chip",
    "reading",
    "signs",
    "noticed",
    "edge_looked_at",
)
_CUT = (
    "direction",
    "spindle_rev_min",
    "feed_mm_rev",
    "depth_mm",
    "diameter_mm",
    "length_mm",
    "coolant",
    "power_feed",
)
#: Facts of an edge that the gauges do not take from a table.
_SHAPE: Final = ("re_mm", "kapr_deg", "rake_deg")
_LONGEST_JOB: Final = 500


def parse_case(obj: dict[str, Any], metals: tuple[Material, ...] = ()) -> Case:
    """Return a checked case with every default filled in.

    Parameters
    ----------
    obj : dict
        A case as JSON gives it, schema ``bluecurl.case/1``. Lengths mm, speeds rev/min,
        feeds mm/rev, power W.
    metals : tuple of Material
        The user's own metals, from ``parse_metals``.

    Returns
    -------
    Case
        ``assumed`` lists the fields that had to be assumed.

    Raises
    ------
    CaseInvalid
        With the path of the field: an unknown word or field, one that is missing and has
        no default, a number out of range or not finite.
    OutOfTable
        If there are no figures for the metal.
    """
    assumed: list[str] = []
    top = Fields(obj, "", allowed=_CASE, assumed=assumed)
    if top.raw("schema") not in (None, CASE_SCHEMA):
        raise CaseInvalid("schema", "is not one we can read.", f"Use “{CASE_SCHEMA}”.")
    work, metal = _work(top.raw("work"), assumed, metals)
    edge = _edge(top.raw("edge"), "edge", metal, assumed)
    lathe = parse_lathe(top.raw("lathe"), assumed)
    passes = _passes(top.raw("passes"), work, edge, metal)
    _check_target(work, passes)
    return Case(
        work=work,
        metal=metal,
        edge=edge,
        lathe=lathe,
        passes=passes,
        assumed=tuple(assumed),
    )


def _work(
    value: object, assumed: list[str], metals: tuple[Material, ...]
) -> tuple[Work, Material]:
    fields = Fields(value, "work", allowed=_WORK, assumed=assumed)
    if not isinstance(fields.raw("material"), str):
        raise fields.missing("material", "Name the metal, such as “304” or “Ti-6Al-4V”.")
    diameter = fields.number("diameter_mm", low=0.5, high=1000, do="Measure the bar.")
    length = fields.maybe("cut_length_mm", low=0.1, high=3000)
    stickout = fields.maybe("stickout_mm", low=1, high=3000)
    if stickout is None:
        fields.note("stickout_mm")
        stickout = assumed_value("work", "chip_room_mm") + (
            diameter * assumed_value("work", "cut_length_diameters")
            if length is None
            else length
        )
    if length is None:
        length = max(stickout - assumed_value("work", "chip_room_mm"), stickout / 2.0)
    target = fields.maybe("target_diameter_mm", low=0.2, high=1000)
    metal = material(fields.raw("material"), metals)
    work = Work(
        material=metal.name,
        diameter_mm=diameter,
        stock=fields.word("stock", terms.STOCKS, default="round"),
        holding=fields.word("holding", terms.HOLDINGS, default="chuck"),
        stickout_mm=stickout,
        cut_length_mm=min(length, stickout),
        target_diameter_mm=target,
        tolerance_mm=fields.maybe("tolerance_mm", low=0.001, high=5)
        or assumed_value("work", "tolerance_mm"),
        roughness_rz_um=fields.maybe("roughness_rz_um", low=0.1, high=500),
        waste_end_mm=fields.maybe("waste_end_mm", low=0, high=1000) or 0.0,
        grip_mm=fields.maybe("grip_mm", low=0.5, high=1000),
        direction=fields.word("direction", terms.DIRECTIONS)
        if fields.has("direction")
        else "along",
    )
    return work, metal


def _check_target(work: Work, passes: tuple[PassRecord, ...]) -> None:
    """Refuse a target that turning cannot reach; a bore may grow towards it."""
    target = work.target_diameter_mm
    boring = any(record.cut.direction == "bore" for record in passes)
    if target is not None and target > work.diameter_mm and not boring:
        raise CaseInvalid(
            "work.target_diameter_mm",
            f"is {target:g}, larger than the bar of {work.diameter_mm:g} mm.",
            "Check both diameters; turning only takes metal away.",
        )


def _edge(value: object, path: str, metal: Material, assumed: list[str]) -> Edge:
    fields = Fields(value, path, allowed=_EDGE, assumed=assumed)
    stuff = fields.word("material", terms.EDGE_MATERIALS)
    condition = fields.word("condition", terms.CONDITIONS, default="used")
    radius = fields.maybe("edge_radius_um", low=0.5, high=500)
    if radius is None:
        fields.note("edge_radius_um")
        radius = edge_number("edge_radius_um", stuff).value
        radius *= edge_number("edge_radius_factor", condition).value
    return Edge(
        id=fields.text("id", default="the edge"),
        material=stuff,
        condition=condition,
        rake_deg=fields.assume("rake_deg", low=-30, high=45, default=metal.rake_deg.value),
        kapr_deg=fields.assume(
            "kapr_deg", low=20, high=120, default=assumed_value("edge", "kapr_deg")
        ),
        end_edge_angle_deg=fields.assume(
            "end_edge_angle_deg",
            low=0.5,
            high=60,
            default=assumed_value("edge", "end_edge_angle_deg"),
        ),
        re_mm=fields.assume("re_mm", low=0.0, high=10, default=assumed_value("edge", "re_mm")),
        edge_radius_um=radius,
        chip_groove=fields.flag("chip_groove", default=False),
        overhang_mm=fields.assume(
            "overhang_mm", low=1, high=500, default=assumed_value("edge", "overhang_mm")
        ),
        shank_mm=fields.assume(
            "shank_mm", low=2, high=100, default=assumed_value("edge", "shank_mm")
        ),
        centre_height_mm=fields.maybe("centre_height_mm", low=-10, high=10)
        or assumed_value("edge", "centre_height_mm"),
        blade_width_mm=fields.maybe("blade_width_mm", low=0.2, high=20),
        overhang_given=fields.raw("overhang_mm") is not None,
        given=tuple(key for key in _SHAPE if fields.raw(key) is not None),
    )


def _passes(value: object, work: Work, edge: Edge, metal: Material) -> tuple[PassRecord, ...]:
    if value is None:
        return ()
    out: list[PassRecord] = []
    diameter = work.diameter_mm
    for place, item in enumerate(as_list(value, "passes", longest=_LONGEST_JOB)):
        record = _pass(
            item,
            f"passes[{place}]",
            work,
            edge=edge,
            diameter_mm=diameter,
            metal=metal,
        )
        out.append(record)
        diameter = left_diameter_mm(record)
    return tuple(out)


def left_diameter_mm(record: PassRecord) -> float:
    """Return the diameter a pass left: as measured (mean), else as it was set."""
    if record.measured_mm:
        return sum(d for _, d in record.measured_mm) / len(record.measured_mm)
    cut = record.cut
    if cut.direction == "along":
        return cut.diameter_mm - 2.0 * cut.depth_mm
    return cut.diameter_mm + (2.0 * cut.depth_mm if cut.direction == "bore" else 0.0)


def _pass(
    value: object, path: str, work: Work, *, edge: Edge, diameter_mm: float, metal: Material
) -> PassRecord:
    unlisted: list[str] = []  # what a single pass leaves out is no assumption about the job
    fields = Fields(value, path, allowed=_PASS, assumed=unlisted)
    own = fields.raw("edge")
    return PassRecord(
        cut=_cut(fields.raw("cut"), f"{path}.cut", work, diameter_mm),
        edge=edge if own is None else _edge(own, f"{path}.edge", metal, unlisted),
        holding=fields.word("holding", terms.HOLDINGS, default=work.holding),
        stickout_mm=fields.maybe("stickout_mm", low=1, high=3000) or work.stickout_mm,
        evidence=_evidence(fields, path),
        measured_mm=_measured(fields.raw("measured_mm"), f"{path}.measured_mm"),
        chip=parse_chip_piece(fields.raw("chip"), fields.raw("chip_thickness_mm"), path),
        noticed=fields.words("noticed", terms.NOTICED),
        edge_looked_at=fields.word("edge_looked_at", terms.EDGE_LOOKS, default="not yet"),
    )


def _evidence(fields: Fields, path: str) -> Evidence:
    if fields.raw("reading") is not None:
        return parse_reading(fields.raw("reading"), f"{path}.reading")
    if fields.raw("signs") is not None:
        return parse_signs(fields.raw("signs"), f"{path}.signs")
    return Evidence()


def _measured(value: object, path: str) -> tuple[tuple[float, float], ...]:
    if value is None:
        return ()
    out = []
    for place, item in enumerate(as_list(value, path, longest=100)):
        pair = as_list(item, f"{path}[{place}]", longest=2)
        if len(pair) != 2:  # noqa: PLR2004 - a pair
            raise CaseInvalid(
                f"{path}[{place}]", "is no pair.", "Give [place along the bar, diameter]."
            )
        out.append(
            (
                as_number(pair[0], f"{path}[{place}][0]", low=0, high=3000),
                as_number(pair[1], f"{path}[{place}][1]", low=0.1, high=1000),
            )
        )
    return tuple(out)


def _cut(value: object, path: str, work: Work, diameter_mm: float) -> Cut:
    fields = Fields(value, path, allowed=_CUT, assumed=[])
    direction = fields.word("direction", terms.DIRECTIONS)
    if not fields.has("feed_mm_rev"):
        raise fields.missing("feed_mm_rev", "Give the feed, or null for a hand feed.")
    feed = fields.maybe("feed_mm_rev", low=0.001, high=5)
    diameter = fields.maybe("diameter_mm", low=0.2, high=1000) or diameter_mm
    depth = fields.number("depth_mm", low=0.001, high=50, do="Give the depth on the side.")
    if direction == "along" and 2.0 * depth >= diameter:
        raise CaseInvalid(
            fields.at("depth_mm"),
            f"is {depth:g} on the side, more than half of the {diameter:g} mm bar.",
            "Depth is radial: half of what the diameter loses.",
        )
    return Cut(
        direction=direction,
        spindle_rev_min=fields.number(
            "spindle_rev_min", low=1, high=50_000, do="Give the spindle speed."
        ),
        feed_mm_rev=feed,
        depth_mm=depth,
        diameter_mm=diameter,
        length_mm=fields.maybe("length_mm", low=0.1, high=3000) or work.cut_length_mm,
        coolant=fields.word("coolant", terms.COOLANTS, default="dry"),
        power_feed=feed is not None and fields.flag("power_feed", default=True),
    )
