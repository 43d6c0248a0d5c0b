"""Gauges and the trend of thickness as JSON: numbers with their ``u``, words by id.

Keys are those that ``bluecurl.advice/1`` carries under ``gauges``; always metric.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from advisor.gauges import thickness_gauge, width_gauge
from advisor.tables import rule_value
from advisor.thickness_trend import thickness_trend

if TYPE_CHECKING:
    from advisor.gauges import ThicknessGauge, WidthGauge
    from advisor.records import Case
    from advisor.thickness import Pair

__all__ = ["gauges_json", "thickness_trend_json"]

_PLACES = 4


def _measured(pair: Pair | None) -> dict[str, float] | None:
    if pair is None:
        return None
    return {"value": float(f"{pair[0]:.{_PLACES}g}"), "u": float(f"{pair[1]:.2g}")}


def _rounded(mm: float | None) -> float | None:
    return None if mm is None else round(mm, 4)


def _width(gauge: WidthGauge) -> dict[str, Any]:
    return {
        "state": gauge.state,
        "why": gauge.why or None,
        "ratio": _measured(gauge.ratio),
        "width_mm": _measured(gauge.width_mm),
        "expected_mm": _measured(gauge.expected_mm),
        "usual": {
            "low": rule_value("gauge", "spread_low"),
            "high": rule_value("gauge", "spread_high"),
        },
        "measured": "by hand" if gauge.by_hand else "in the photo",
        "chips": list(gauge.chips),
        "missing": list(gauge.missing),
    }


def _thickness(gauge: ThicknessGauge, trend: str) -> dict[str, Any]:
    return {
        "thickness_mm": _measured((gauge.thick.mm, gauge.thick.u_mm)),
        "measured": gauge.thick.way,
        "compression": _measured(gauge.ratio),
        "usual": {"low": gauge.usual[0], "high": gauge.usual[1]},
        "shear_angle_deg": _measured(gauge.shear_deg),
        "missing": list(gauge.missing),
        "trend": trend,
    }


def gauges_json(case: Case) -> dict[str, Any] | None:
    """Return the gauges of the last pass of a case; ``None`` for a new job.

    ``thickness`` is ``None`` where no thickness was measured.
    """
    if not case.passes:
        return None
    last = len(case.passes) - 1
    thickness = thickness_gauge(case, last)
    return {
        "width": _width(width_gauge(case, last)),
        "thickness": None
        if thickness is None
        else _thickness(thickness, thickness_trend(case).state),
    }


def thickness_trend_json(case: Case) -> dict[str, Any]:
    """Return the thickness over the passes of a job."""
    trend = thickness_trend(case)
    return {
        "state": trend.state,
        "points": [
            {
                "number": point.number,
                "thickness_mm": _measured((point.thick.mm, point.thick.u_mm)),
                "measured": point.thick.way,
                "compression": _measured(point.ratio),
                "before_mm": _rounded(point.before_mm),
                "call_mm": _rounded(point.call_mm),
                "state": point.state,
            }
            for point in trend.points
        ],
    }
