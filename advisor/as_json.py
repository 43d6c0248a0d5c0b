"""Advice and plans as JSON: keys and units of the contract, sentences filled in.

Numbers are always metric; only the words follow ``show``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from advisor.records import Reason
from advisor.tables import source_text
from advisor.wording import Show, because, expect, if_not, metric_text

if TYPE_CHECKING:
    from collections.abc import Iterable

    from advisor.records import Advice, Change, Cut, LimitCheck, PassPlan, PlanStep

__all__ = ["RULES_VERSION", "advice_json", "plan_json"]

#: Changes whenever a rule, a limit or a table value changes what is advised.
RULES_VERSION: Final = "2026.11.27"

_PLACES: Final = 6


def _round(value: float) -> float:
    return float(f"{value:.{_PLACES}g}")


def _cited(reason: Reason) -> list[str]:
    return [source_text(key) for key in dict.fromkeys(reason.sources)]


def _says(reasons: Iterable[Reason], show: Show) -> list[str]:
    return [because(reason, show) for reason in reasons]


def _setting(value: float | str | Reason | None, show: Show) -> float | str | None:
    return because(value, show) if isinstance(value, Reason) else value


def _change(change: Change, show: Show) -> dict[str, Any]:
    return {
        "lever": change.lever,
        "from": _setting(change.from_, show),
        "to": _setting(change.to, show),
        "unit": change.unit,
        "because": because(change.reason, show),
        "expect": expect(change.reason, show),
        "if_not": if_not(change.reason, show),
        "sources": _cited(change.reason),
    }


def _cut(cut: Cut) -> dict[str, Any]:
    return {
        "spindle_rev_min": cut.spindle_rev_min,
        "feed_mm_rev": cut.feed_mm_rev,
        "depth_mm": cut.depth_mm,
        "power_feed": cut.power_feed,
        "coolant": cut.coolant,
        "direction": cut.direction,
        "diameter_mm": _round(cut.diameter_mm),
    }


def _checks(checks: Iterable[LimitCheck]) -> list[dict[str, Any]]:
    return [
        {
            "limit": check.limit,
            "value": _round(check.value),
            "bound": _round(check.bound),
            "kind": check.kind,
            "unit": check.unit,
            "severity": check.severity,
            "source": check.source,
        }
        for check in checks
    ]


def advice_json(advice: Advice, *, show: Show = metric_text) -> dict[str, Any]:
    """Return an advice as JSON of schema ``bluecurl.advice/1``.

    Parameters
    ----------
    advice : Advice
    show : callable
        From a metric value and its unit to text; the default is metric.
    """
    change = None
    if advice.change is not None:
        change = _change(advice.change, show)
        change["also"] = [_change(other, show) for other in advice.also]
    next_cut = None
    if advice.next_cut is not None:
        next_cut = _cut(advice.next_cut) | dict(advice.setup_words)
    return {
        "schema": "bluecurl.advice/1",
        "verdict": advice.verdict,
        "because": because(advice.reason, show),
        "sources": _cited(advice.reason),
        "do": _says(advice.do, show),
        "cautions": _says(advice.cautions, show),
        "change": change,
        "alternatives": [_change(other, show) for other in advice.alternatives],
        "next_cut": next_cut,
        "checks": _checks(advice.checks),
        "recommended": [
            {key: value for key, value in row.items() if key != "severity"}
            | {"inside": row["severity"] != "exceeded"}
            for row in _checks(advice.recommended)
        ],
        "trust": advice.trust,
        "trust_why": _says(advice.trust_why, show),
        "rules_version": RULES_VERSION,
    }


def _measured(pair: tuple[float, float] | None) -> dict[str, float] | None:
    return None if pair is None else {"value": _round(pair[0]), "u": _round(pair[1])}


def _step(step: PlanStep, number: int, show: Show) -> dict[str, Any]:
    return {
        "number": number,
        "kind": step.kind,
        "diameter_from_mm": _round(step.diameter_from_mm),
        "diameter_to_mm": _round(step.diameter_to_mm),
        "cut": None if step.cut is None else _cut(step.cut),
        "dial_divisions": step.dial_divisions,
        "dial_from_touch_off": step.dial_from_touch_off,
        "checks": _checks(step.checks),
        "expected_deflection_mm": _measured(step.deflection_mm),
        "expected_diameter_error_mm": _measured(step.diameter_error_mm),
        "seconds": None if step.seconds is None else round(step.seconds),
        "note": None if step.note is None else because(step.note, show),
    }


def plan_json(plan: PassPlan, *, show: Show = metric_text) -> dict[str, Any]:
    """Return a plan as JSON of schema ``bluecurl.plan/1``; arguments as ``advice_json``."""
    return {
        "schema": "bluecurl.plan/1",
        "feasible": plan.feasible,
        "passes": [_step(step, number, show) for number, step in enumerate(plan.steps, 1)],
        "cautions": _says(plan.cautions, show),
        "why_not": None if plan.why_not is None else because(plan.why_not, show),
        "would_help": _says(plan.would_help, show),
        "rules_version": RULES_VERSION,
    }
