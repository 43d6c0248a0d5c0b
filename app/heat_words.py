"""What a tint means for the cut, and what the trend of a job says, in words for people.

Metal by metal and tool by tool; what no source stands behind is marked as common practice.
Not in here: drawing (``app.parts``), degrees (the reader works them out).
"""

from __future__ import annotations

from typing import Any, Final

__all__ = ["degrees_words", "film_words", "meaning", "tint_doubt", "trend_words"]

Json = dict[str, Any]

PRACTICE: Final = "Common practice, no source."
#: Tints in the order of their films; titanium's second order at the end.
_DEPTH: Final = {
    "bright": 0,
    "pale straw": 1,
    "straw": 2,
    "dark straw": 3,
    "brown": 4,
    "purple": 5,
    "dark blue": 6,
    "blue": 7,
    "light blue": 8,
    "grey": 9,
    "second yellow": 10,
    "second purple": 11,
}
_STRAW, _PURPLE, _LIGHT_BLUE = 1, 5, 8

_STEEL_HSS: Final = (
    "Cool enough for HSS.",
    f"Straw to brown is near the upper end of what HSS stands for long. {PRACTICE}",
    f"Too hot for HSS, which goes soft near 550 to 600 °C at the edge. {PRACTICE}",
    f"Far too hot for HSS: speed too high, edge worn, or the chip rubs. {PRACTICE}",
)
_STEEL_CARBIDE: Final = (
    "Cool for carbide in a dry cut.",
    f"A moderate heat for carbide in a dry cut. {PRACTICE}",
    f"Normal for coated carbide cutting steel dry; much for an uncoated tip. {PRACTICE}",
    f"Very hot even for carbide: speed too high, edge worn, or the chip rubs. {PRACTICE}",
)
_BLIND: Final = (
    "Under oil or coolant chips stay bright however hot the cut is: here a bright chip proves "
    "nothing, a tinted one is a strong sign."
)
_SPEAKS: Final = "Tint speaks for dry cuts in steel, stainless and titanium."


def _level(tint: str) -> int:
    depth = _DEPTH[tint]
    return sum(depth >= step for step in (_STRAW, _PURPLE, _LIGHT_BLUE))


def meaning(heat: Json, *, edge_material: str | None, coolant: str | None) -> list[str]:
    """Return what the tint of a reading says about the cut, the weightiest first.

    Parameters
    ----------
    heat : dict
        ``heat`` of a reading; an older one without ``family`` says little.
    edge_material : {"HSS", "carbide", "coated carbide"} or None
    coolant : {"dry", "cutting oil", "soluble oil"} or None
    """
    tint, family = heat.get("tint"), heat.get("family")
    if tint not in _DEPTH:
        return []
    tinted = _DEPTH[tint] > 0 and "bright" not in (heat.get("candidates") or [tint])
    lines = []
    if family == "titanium" and _DEPTH[tint] > 0:  # there the pale one is late already
        lines.append(_titanium(edge_material))
    if family == "stainless" and tinted:
        lines.append(
            "Hot. Where the part itself is tinted its skin has lost chromium and can rust: "
            "pickle it or take another cut."
        )
    if family == "steel" and edge_material is not None:
        by_tool = _STEEL_HSS if edge_material == "HSS" else _STEEL_CARBIDE
        known = heat.get("sure") or len({_level(t) for t in heat["candidates"]}) == 1
        if known:
            lines.append(by_tool[_level(tint)])
    if coolant not in (None, "dry"):
        lines.append(_BLIND)
    else:
        lines.append(_SPEAKS)
    return lines


def _titanium(edge_material: str | None) -> str:
    late = " With HSS that is late, not early." if edge_material == "HSS" else ""
    return (
        f"On titanium even pale straw means about 600 °C and more.{late} Slow down, use oil, "
        "and keep the tray clear: fine hot titanium chips burn."
    )


def tint_doubt(heat: Json) -> str | None:
    """Return the trap behind a tint that is "A or B", or ``None``."""
    names = set(heat.get("candidates") or [])
    if {"bright", "grey"} <= names:
        return "Bright or burnt grey: the photo cannot tell. Blue chips among them mean burnt."
    if names & {"second yellow", "second purple"} and names & {"straw", "dark straw", "purple"}:
        return (
            "Titanium turns yellow and purple twice: bronze and purple beside it mean the "
            "first time, blue-green and pink the second and hotter."
        )
    if names & {"pale straw", "straw", "dark straw", "brown"} and heat.get("family") is None:
        return "The metal is not named: bare brass and bronze look like straw too."
    return None


def film_words(heat: Json) -> str:
    """Return the film with its spread, "about 19 nm ± 8"; empty without one."""
    film = heat.get("film_nm")
    if not film:
        return ""
    open_end = film.get("bound") == "at_least"
    if open_end and film["value"] <= 2 * film["u"]:
        return "of any thickness"  # bright or burnt
    least = "at least " if open_end else "about "
    return f"{least}{film['value']:.0f} nm ± {2 * film['u']:.0f}"


def degrees_words(heat: Json) -> str:
    """Return what the film says about degrees, least first; empty where no law holds."""
    degrees = heat.get("temperature_c") or {}
    least, low, high = (degrees.get(k) for k in ("at_least", "likely_low", "likely_high"))
    if least is not None and low is not None and high is not None:
        return (
            f"at least {least:.0f} °C (handbook table), more likely {low:.0f} to {high:.0f} °C "
            "for a chip hot for about a second"
        )
    if least is not None and low is not None:
        return f"at least {least:.0f} °C (handbook table), more likely {low:.0f} °C or more"
    if low is not None and high is not None:
        return f"likely {low:.0f} to {high:.0f} °C for a chip hot for about a second"
    if least is not None:
        return f"at least {least:.0f} °C (furnace table)"
    if high is not None:
        return f"under {high:.0f} °C if the cut was dry"
    return ""


_TREND: Final = {
    "too few": "No trend yet: it takes two passes with the same edge and coolant.",
    "steady": "No hotter than before, within the scatter of such readings.",
    "explained": "No hotter than speed and chip thickness explain.",
    "watch": "Perhaps getting hotter than the settings explain; the next pass will tell.",
    "hotter": (
        "Hotter than speed and chip thickness explain: the edge is going, or the coolant "
        "does not reach it. Look at the edge before the next pass."
    ),
    "looked": (
        "Hotter than speed and chip thickness explain; the edge was looked at since. Later "
        "passes are compared with this one."
    ),
}


def trend_words(state: str, *, coolant: str | None = None) -> str:
    """Return the sentence for the state of a trend; under oil with its blind spot."""
    words = _TREND[state]
    if state in ("steady", "explained") and coolant not in (None, "dry"):
        return f"{words} Under oil that proves nothing."
    return words
