"""What width and thickness of the chip say, in words for people.

The same lines stand on the page, in the log and at the terminal. Not in here: the numbers
(``advisor.gauges``) and drawing (``app.parts``).
"""

from __future__ import annotations

from typing import Any, Final

from app.show import Units, about, quantity

__all__ = [
    "BEST_SIGN",
    "WIDTH_LIMITS",
    "gauge_lines",
    "thickness_lines",
    "thickness_short",
    "thickness_trend_words",
    "width_lines",
]

Json = dict[str, Any]

BEST_SIGN: Final = (
    "A chip that grows thicker at unchanged settings is the best sign of a dulling edge under "
    "oil, where tint is blind."
)
WIDTH_LIMITS: Final = (
    "Width shows only gross pushing away: ordinary springing is 1 to 2 % of it and a chip "
    "spreads sideways by up to 20 %. A diameter measured after the pass tells the depth."
)
_FACTS: Final = {
    "re_mm": "the nose radius",
    "kapr_deg": "the cutting edge angle",
    "rake_deg": "the rake",
}
_UNSURE: Final = {
    "direction": "Width is a gauge for turning along the bar only.",
    "interrupted": "Corners or skin were in this cut; the width of such chips says nothing.",
    "no strips": (
        "No width seen: it takes the card and ribbons or arcs that are surely named. Coils, "
        "spirals and crumbs hide theirs."
    ),
    "few": (
        "Fewer than three strips surely lie flat. Lay out more of them, flat, or measure one "
        "with a calliper."
    ),
    "on edge": (
        "The strips are so narrow that they may stand on edge and show their thickness. Lay "
        "them flat, or measure one with a calliper."
    ),
    "stout": (
        "Here the chip is nearly as thick as it is wide; a photo cannot tell which of the two "
        "it shows. Measure the width with a calliper."
    ),
}
_JUDGED: Final = {
    "sound": "Nothing is far off.",
    "narrow": (
        "Far narrower than the cut that was set: work or tool was pushed away, the slide has "
        "slack, or the depth is not what was dialled. Measure the diameter before going on."
    ),
    "wide": (
        "Far wider than the cut that was set: more depth than was dialled, a bar that runs "
        "out, or two chips read as one. Measure the diameter before going on."
    ),
}
_WAYS: Final = {"micrometer": "by micrometer", "weighed": "by weight", "length": "by length"}
_POOR_SHARE: Final = 0.15  # of the value: a doubt that makes it of little use
_TREND: Final = {
    "first": (
        "The first of its row: later passes at the same settings, measured the same way, are "
        "compared with it."
    ),
    "steady": "No thicker than before, within the doubt of the measuring.",
    "watch": (
        "Thicker than before by more than the measuring explains, though by less than a "
        "third. Measure the next pass too: the edge may be going dull."
    ),
    "thicker": (
        "Thicker by about a third or more at unchanged settings: the edge has gone dull or "
        "carries a lump. Look at it before the next pass."
    ),
    "looked": (
        "Thicker at unchanged settings; the edge was looked at since. Later passes are "
        "compared with this one."
    ),
    "none": "The chip of the last pass was not measured.",
}


def width_lines(gauge: Json, units: Units) -> list[str]:
    """Return what the width says, the weightiest first."""
    if gauge["state"] == "unsure":
        return [_UNSURE.get(gauge["why"]) or _lacking("The width is", gauge["missing"])]
    numbers = ", ".join(str(n) for n in gauge["chips"])
    by_hand = gauge["measured"] == "by hand"
    where = "by calliper" if by_hand else f"in the photo, chips {numbers}"
    width = about(gauge["width_mm"], "mm", units, spread=True)
    ratio = about(gauge["ratio"], "", spread=True)
    expected = quantity(gauge["expected_mm"]["value"], "mm", units)
    usual = gauge["usual"]
    measured = (
        f"{width} wide {where}: {ratio} of the {expected} that depth, nose and angle ask for; "
        f"{usual['low']:.1f} to {usual['high']:.1f} is sound."
    )
    return [_JUDGED[gauge["state"]], measured]


def thickness_lines(gauge: Json, units: Units) -> list[str]:
    """Return thickness, compression and shear angle, and what is wanting."""
    thick, usual = gauge["thickness_mm"], gauge["usual"]
    parts = [
        f"Chip {about(thick, 'mm', units, spread=True)} thick {_WAYS[gauge['measured']]}",
    ]
    if gauge["compression"]:
        parts.append(
            f"compression {about(gauge['compression'], '', spread=True)} "
            f"({usual['low']:g} to {usual['high']:g} is usual off a sharp edge)"
        )
    if gauge["shear_angle_deg"]:
        parts.append(f"shear angle {about(gauge['shear_angle_deg'], '°', spread=True)}")
    lines = ["; ".join(parts) + "."]
    if gauge["missing"]:
        what = "The shear angle is" if gauge["compression"] else "The compression is"
        lines.append(_lacking(what, gauge["missing"]))
    if 2 * thick["u"] > 2 * _POOR_SHARE * thick["value"]:
        lines.append(
            "That is too uncertain to show an edge going dull: measure width and length by "
            "hand, and weigh several pieces together."
        )
    return lines


def _lacking(what: str, missing: list[str]) -> str:
    """Return what a gauge lacks; what no set-up can give is said as it is."""
    if "feed_mm_rev" in missing:
        return f"{what} not worked out: it takes the power feed of a known step."
    if "chip_groove" in missing:
        return f"{what} not worked out: a chip groove makes a rake of its own."
    facts = " and ".join(_FACTS[key] for key in missing)
    return f"{what} not worked out: it takes {facts}, see Set-up; along the bar only."


def gauge_lines(gauges: Json | None, units: Units) -> list[str]:
    """Return all that the gauges of a pass have to say at a terminal; silence is left out."""
    if not gauges:
        return []
    width, thickness = gauges["width"], gauges["thickness"]
    lines = []
    if width["state"] != "unsure" or width["why"] in ("few", "on edge", "stout"):
        lines += width_lines(width, units)
    if width["state"] != "unsure":
        lines.append(WIDTH_LIMITS)
    if thickness:
        lines += thickness_lines(thickness, units)
        lines += [thickness_trend_words(thickness["trend"]), BEST_SIGN]
    return lines


def thickness_short(gauges: Json | None, units: Units) -> str:
    """Return the thickness in three words for a line of the log; empty without one."""
    thickness = (gauges or {}).get("thickness")
    if not thickness:
        return ""
    return f"chip {about(thickness['thickness_mm'], 'mm', units)} thick"


def thickness_trend_words(state: str) -> str:
    """Return the sentence for the state of the thickness over the passes."""
    return _TREND[state]
