"""The head of the machinist: from metal, lathe, cut and chips to the next change.

Pure: JSON-like objects in, frozen records out; no files but its own tables, no clock.
"""

from __future__ import annotations

from advisor.advise import advise
from advisor.as_json import RULES_VERSION, advice_json, plan_json
from advisor.errors import (
    AdvisorError,
    CaseInvalid,
    LimitExceeded,
    OutOfTable,
    SourceMissing,
)
from advisor.gauges_json import gauges_json, thickness_trend_json
from advisor.heat_trend import HeatTrend, heat_passes, heat_trend
from advisor.own_metals import parse_metals
from advisor.parse import parse_case
from advisor.plan import plan_passes
from advisor.records import (
    Advice,
    Case,
    Change,
    Cut,
    Edge,
    Evidence,
    Lathe,
    LimitCheck,
    PassPlan,
    PassRecord,
    PlanStep,
    Quantity,
    Reason,
    Work,
)
from advisor.tables import Material, material, material_names

__all__ = [
    "RULES_VERSION",
    "Advice",
    "AdvisorError",
    "Case",
    "CaseInvalid",
    "Change",
    "Cut",
    "Edge",
    "Evidence",
    "HeatTrend",
    "Lathe",
    "LimitCheck",
    "LimitExceeded",
    "Material",
    "OutOfTable",
    "PassPlan",
    "PassRecord",
    "PlanStep",
    "Quantity",
    "Reason",
    "SourceMissing",
    "Work",
    "advice_json",
    "advise",
    "gauges_json",
    "heat_passes",
    "heat_trend",
    "material",
    "material_names",
    "parse_case",
    "parse_metals",
    "plan_json",
    "plan_passes",
    "thickness_trend_json",
]
