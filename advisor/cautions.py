"""Warnings that stand beside every advice where they apply. Common practice and shop rules."""

from __future__ import annotations

from typing import TYPE_CHECKING

from advisor.records import Reason
from advisor.terms import FormClass, form_class

if TYPE_CHECKING:
    from advisor.records import Case

__all__ = ["cautions_for"]


def _say(reason: str, *sources: str) -> Reason:
    return Reason(id=reason, sources=sources or ("shop-safety",))


def cautions_for(case: Case, *, holding: str | None = None) -> tuple[Reason, ...]:
    """Return the cautions for metal, chips, holding and direction of a case, gravest first.

    Parameters
    ----------
    case : Case
    holding : str or None
        How the next cut is held, where that differs from the job.
    """
    metal = case.metal
    last = case.passes[-1] if case.passes else None
    form = last.evidence.form if last else None
    kind = form_class(form) if form else None
    out: list[Reason] = []
    if kind in {FormClass.SNARLED, FormClass.LONG_COIL, FormClass.LONG_RIBBON} or (
        last and "wrapped on work" in last.noticed
    ):
        out += [_say("caution-nest"), _say("caution-ribbon")]
    if "titanium fire" in metal.hazards:
        out.append(_say("caution-titanium", "nfpa484"))
    if "unknown" in metal.hazards:
        out.append(_say("caution-unknown-metal", "practice"))
    if "lead" in metal.hazards:
        out.append(_say("caution-lead", "practice"))
    if "iron dust" in metal.hazards:
        out.append(_say("caution-iron-dust", "practice"))
    if case.work.stock in {"hex", "square"}:
        out.append(_say("caution-corners", "practice"))
    if (holding or case.work.holding) in {"chuck and centre", "between centres"}:
        out.append(_say("caution-centre", "practice"))
    direction = last.cut.direction if last else case.work.direction
    if direction == "part off":
        out.append(_say("caution-parting", "war-lathe"))
    if metal.wants_oil or (last is not None and last.cut.coolant != "dry"):
        out.append(_say("caution-oily", "nfpa484"))
    return (*out, _say("caution-guard"), _say("caution-manual"))
