"""Render what the advisor says as text to read: the whole table, or the written cases.

Run as ``python tests/bench/advice_table.py`` for every metal, edge material and chip form
on one small lathe at a light and at a good feed, and with ``--cases`` for the written cases
with the answer of the book beside ours. ``--metal 304`` keeps to one metal.
"""

from __future__ import annotations

import argparse
import importlib.util
import tomllib
from collections import Counter
from pathlib import Path

import advisor

ADVISOR_TESTS = Path(__file__).parents[1] / "advisor"
FORMS = ["1.1", "1.2", "1.3", "2.1", "2.2", "2.3", "3.1", "3.2", "4.1", "4.2", "4.3", "5.1"]
FORMS += ["5.2", "5.3", "6.1", "6.2", "7", "8"]


def _module(name):
    """Load a module of the advisor's tests; test folders are no packages."""
    spec = importlib.util.spec_from_file_location(name, ADVISOR_TESTS / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


shop = _module("conftest")


def short(advice):
    """An advice in a few words."""
    change = advice["change"]
    if change is None:
        return advice["verdict"]
    unit = "" if change["unit"] is None else f" {change['unit']}"
    ends = [f"{v:.4g}" if isinstance(v, float) else v for v in (change["from"], change["to"])]
    return f"{advice['verdict']}: {change['lever']} {ends[0]} -> {ends[1]}{unit}"


def table(metals):
    """Lines of the whole table, and how often each verdict was given."""
    lines, counts = [], Counter()
    for name in metals:
        metal = advisor.material(name)
        for stuff, span in (("HSS", metal.hss_m_min), ("carbide", metal.carbide_m_min)):
            speed = min((span.low + span.high) / 2, 110.0)
            light, good = metal.feed_mm_rev.low * 0.8, 0.6 * metal.feed_mm_rev.high
            near = [min(shop.FEEDS, key=lambda f, w=wish: abs(f - w)) for wish in (light, good)]
            title = f"{name}, {stuff}, {speed:.0f} m/min, {near[0]:g} and {near[1]:g} mm/rev"
            lines += ["", title, "-" * len(title)]
            for form in FORMS:
                said = []
                for feed in near:
                    one = shop.one_pass(speed, feed, form=form)
                    case = shop.job(name, [one], edge={"material": stuff})
                    case["edge"]["rake_deg"] = metal.rake_deg.value
                    advice = shop.advice_of(case)
                    counts[advice["verdict"]] += 1
                    said.append(short(advice))
                lines.append(f"{form:4}  {said[0]:44}  {said[1]}")
    return lines, counts


def cases():
    """Lines of the written cases: the book's answer, then ours."""
    text = (ADVISOR_TESTS / "forty_cases.toml").read_text(encoding="utf-8")
    written = _module("test_forty_cases").written
    lines = []
    for number, case in enumerate(tomllib.loads(text)["case"], 1):
        advice = shop.advice_of(written(case, shop.job, shop.one_pass))
        lines += ["", f"{number}. {case['metal']}: {case['id']}"]
        lines.append(f"   book  {case['book']} [{case['source']}]")
        lines.append(f"   ours  {short(advice)}")
        lines.append(f"         {advice['because']}")
        change = advice["change"]
        if change:
            lines.append(f"         Expect: {change['expect']} If not: {change['if_not']}")
        if "argued" in case:
            lines.append(f"   why   {case['argued']}")
    return lines


def main():
    """Print the one or the other."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cases", action="store_true", help="the written cases")
    parser.add_argument("--metal", help="one metal only")
    chosen = parser.parse_args()
    if chosen.cases:
        print("\n".join(cases()))  # noqa: T201
        return
    names = [chosen.metal] if chosen.metal else advisor.material_names()
    lines, counts = table(names)
    print("\n".join(lines))  # noqa: T201
    print(f"\n{sum(counts.values())} answers: {dict(counts)}")  # noqa: T201


if __name__ == "__main__":
    main()
