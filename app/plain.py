"""Readings, advice and plans as plain text, for people at a terminal.

Everything starts from the JSON of the contract, so what people read is what scripts get.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from app.engine import form_name
from app.gauge_words import gauge_lines
from app.heat_words import degrees_words
from app.show import Units, about, quantity
from app.wording import LEVER_WORDS, SEVERITY_WORDS, TRUST_WORDS, USABLE_WORDS, VERDICT_WORDS

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = [
    "advice_lines",
    "change_line",
    "check_line",
    "chip_line",
    "chip_words",
    "cut_line",
    "heat_line",
    "is_open_nest",
    "nest_words",
    "plan_lines",
    "reading_lines",
    "scale_line",
    "tint_words",
    "verdict_line",
]

Json = dict[str, Any]


def reading_lines(reading: Json, units: Units) -> list[str]:
    """Return a reading as lines of text."""
    names = reading.get("photos") or [reading["photo"]]
    lines = [
        f"{', '.join(names)}: {USABLE_WORDS[reading['usable']]}",
        f"  Form   {verdict_line(reading)}",
    ]
    lines.append(f"  Tint   {heat_line(reading)}")
    lines.append(f"  Scale  {scale_line(reading['scale'], units)}")
    lines += [f"  Chip   {chip_line(chip, units)}" for chip in reading["chips"]]
    for flag in reading["flags"]:
        lines.append(f"  Note   {flag['text']} {flag['do']}")
    return lines


def verdict_line(reading: Json) -> str:
    """Return the form of the whole photo, or what it may be when that is not certain."""
    form = reading.get("form")
    if not form or not (form.get("code") or form.get("group")):
        return "not sure"
    share = _share_words(form["share"])
    if form["sure"]:
        return f"{form_name(form['code'] or form['group'])}, {share}"
    if is_open_nest(reading):
        return f"{nest_words(form['candidates'])}, {share}"
    maybe = " or ".join(form_name(c) for c in form["candidates"]) or form_name(
        form["code"] or form["group"]
    )
    return f"not sure: {maybe}, {share}"


def is_open_nest(reading: Json) -> bool:
    """Say whether the photo's form is a nest for certain, of which group is open."""
    return any(flag["code"] == "nest-open" for flag in reading.get("flags", ()))


def nest_words(candidates: Sequence[str]) -> str:
    """Return a nest in words, with all that may be snarled in it."""
    return "nest of " + " or ".join(form_name(c).removeprefix("snarled ") for c in candidates)


def _share_words(share: float) -> str:
    percent = round(100 * share)
    return f"{percent} % of the metal" if percent else "under 1 % of the metal"


def tint_words(tint: Json | None) -> str:
    """Return the tint of one chip in words."""
    if not tint or not (tint.get("name") or tint.get("candidates")):
        return "tint not read"
    if tint["sure"] and tint["name"]:
        return str(tint["name"])
    return " or ".join(tint["candidates"] or [tint["name"]])


def heat_line(reading: Json) -> str:
    """Return tint and likely heat of the whole photo."""
    heat = reading.get("heat")
    if not heat:
        codes = {flag.get("code") for flag in reading.get("flags", [])}
        return "says nothing here" if "tint-says-nothing" in codes else "not read"
    candidates = heat.get("candidates") or [heat.get("tint") or "not read"]
    sure = heat.get("sure", True) and heat.get("tint")
    text = str(heat["tint"]) if sure else " or ".join(candidates)
    degrees = degrees_words(heat)
    return f"{text}; {degrees}" if degrees else text


def scale_line(scale: Json, units: Units) -> str:
    """Return where the scale comes from."""
    density = scale.get("px_per_mm")
    if scale["source"] == "none" or density is None:
        return "none: no card in view, so no sizes"
    word = "card found" if scale["source"] == "card" else "typed"
    return (
        f"{word}, {about(density, '')} px/mm"
        if units is Units.METRIC
        else (f"{word}, {25.4 * density['value']:.0f} px/in")
    )


def chip_line(chip: Json, units: Units) -> str:
    """Return one chip: number, form, tint, sizes."""
    parts = [f"{chip['number']:>2}  {chip_words(chip)}", tint_words(chip["tint"])]
    for label, name in (
        ("length", "length_mm"),
        ("width", "width_mm"),
        ("curl radius", "curl_radius_mm"),
        ("pitch", "pitch_mm"),
    ):
        if chip.get(name) is not None:
            parts.append(f"{label} {about(chip[name], 'mm', units)}")
    if chip.get("count"):
        parts.append(f"about {chip['count']} grains")
    return ", ".join(parts)


def chip_words(chip: Json) -> str:
    """Return kind and form of one chip, or what it may be."""
    kind = {"nest": "nest, ", "grains": "grains, "}.get(chip["kind"], "")
    code = chip["form"] or chip["group"]
    if chip["sure"] and code:
        return kind + form_name(code)
    if chip["sure"] and chip["kind"] == "nest":
        return nest_words(chip["candidates"])
    names = " or ".join(form_name(code) for code in chip["candidates"])
    doubt = f"not sure: {names}" if names else "not sure"
    if "unlike-any" in chip.get("flags", ()):
        doubt += "; it is like no chip the reader has learned from"
    return kind + doubt


def advice_lines(advice: Json, units: Units) -> list[str]:
    """Return an advice as lines of text, the one change first."""
    lines = [f"{VERDICT_WORDS[advice['verdict']]}: {advice['because']}"]
    lines += [f"  {n}. {step}" for n, step in enumerate(advice.get("do") or [], 1)]
    change = advice.get("change")
    if change:
        lines.append(f"  Change   {change_line(change, units)}")
        lines += [f"  And      {change_line(one, units)}" for one in change.get("also") or []]
        if change["because"] != advice["because"]:
            lines.append(f"  Why      {change['because']}")
        lines.append(f"  Expect   {change['expect']}")
        lines.append(f"  If not   {change['if_not']}")
    lines += [
        f"  Or       {change_line(one, units)}" for one in advice.get("alternatives") or []
    ]
    if advice.get("next_cut"):
        lines.append(f"  Next cut {cut_line(advice['next_cut'], units)}")
    lines += [f"  Chip     {text}" for text in gauge_lines(advice.get("gauges"), units)]
    lines += [f"  Check    {check_line(check, units)}" for check in advice["checks"]]
    lines.append(f"  Trust    {TRUST_WORDS[advice['trust']]}")
    lines += [f"           {text}" for text in advice.get("trust_why") or []]
    cited = [*(advice.get("sources") or []), *((change or {}).get("sources") or [])]
    lines += [f"  Source   {text}" for text in dict.fromkeys(cited)]
    lines += [f"  Caution  {text}" for text in advice["cautions"]]
    return lines


def change_line(change: Json, units: Units) -> str:
    """Return lever, present and next setting."""
    lever = LEVER_WORDS.get(change["lever"], change["lever"])
    start, end = (_setting(change[k], change.get("unit"), units) for k in ("from", "to"))
    return f"{lever}: {start} \N{RIGHTWARDS ARROW} {end}"


def _setting(value: float | str | None, unit: str | None, units: Units) -> str:
    return value if isinstance(value, str) else quantity(value, unit, units)


def cut_line(cut: Json, units: Units) -> str:
    """Return the settings of a cut on one line."""
    feed = cut.get("feed_mm_rev")
    parts = [
        quantity(cut["spindle_rev_min"], "rev/min", units),
        "hand feed" if feed is None else quantity(feed, "mm/rev", units),
        f"depth {quantity(cut['depth_mm'], 'mm', units)}",
    ]
    if cut.get("coolant"):
        parts.append(str(cut["coolant"]))
    return ", ".join(parts)


def check_line(check: Json, units: Units) -> str:
    """Return one limit: value, bound and a word for how near it is."""
    value = quantity(check["value"], check.get("unit"), units)
    bound = quantity(check["bound"], check.get("unit"), units)
    side = "at least" if check.get("kind") == "min" else "at most"
    return f"{check['limit']}: {value} ({side} {bound}) {SEVERITY_WORDS[check['severity']]}"


def plan_lines(plan: Json, units: Units) -> list[str]:
    """Return a pass plan as lines of text."""
    if not plan["feasible"]:
        lines = [f"No plan: {plan['why_not']}"]
        lines += [f"  Would help  {text}" for text in plan["would_help"]]
    else:
        lines = [_plan_pass(step, units) for step in plan["passes"]]
        seconds = sum(step.get("seconds") or 0 for step in plan["passes"])
        lines.append(f"Cutting time about {max(round(seconds / 60), 1)} min.")
    return lines + [f"  Caution  {text}" for text in plan["cautions"]]


def _plan_pass(step: Json, units: Units) -> str:
    text = f"{step['number']:>2}  {step['kind']}"
    if step.get("diameter_from_mm") is not None and step.get("diameter_to_mm") is not None:
        ends = [quantity(step[k], "mm", units) for k in ("diameter_from_mm", "diameter_to_mm")]
        shown = " \N{RIGHTWARDS ARROW} ".join(dict.fromkeys(ends))
        text += f"  \N{DIAMETER SIGN} {shown}"
    if step.get("cut"):
        text += f"  {cut_line(step['cut'], units)}"
    if step.get("dial_divisions") is not None:
        text += f"  dial {step['dial_divisions']:g} divisions"
        if step.get("dial_from_touch_off") is not None:
            text += f", {step['dial_from_touch_off']:g} from touch-off"
    if step.get("expected_diameter_error_mm"):
        error = about(step["expected_diameter_error_mm"], "mm", units, spread=True)
        text += f"  expect {error} off size"
    if step.get("seconds"):
        text += f"  {step['seconds']:g} s to the shoulder"
    if step.get("note"):
        text += f"\n      {step['note']}"
    return text
