"""The one next move after a pass, in the order an old hand goes through it.

Danger, size, an edge known to be bad, an edge that gives itself away, hard limits, the
photo, then support and geometry, feed, depth and speed.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from advisor.aim import feed_in_order
from advisor.assess import same_settings
from advisor.built_up import unweld
from advisor.cautions import cautions_for
from advisor.danger import find_danger, hands, legal_or_nearest, safest_move
from advisor.edge_moves import fresh_edge
from advisor.edge_signs import edge_reason
from advisor.geometry import angle_for_heat, geometry_moves, nose_out_of_reach
from advisor.history import FIELDS
from advisor.keep import (
    feed_stopped_by,
    finer_feed,
    keep_reason,
    keep_steps,
    ladder,
    last_depth,
    spring_pass,
)
from advisor.legal import changes_between, cure, way_out
from advisor.limits import check_limits, check_recommended, floor_mm, is_legal
from advisor.moves import Move, Proposal, realise, reason_for
from advisor.records import Advice, Case, Quantity, Reason
from advisor.rules import form_moves, heat_moves, over_ceiling
from advisor.search import depths_for
from advisor.signs import chatter_short_of_stock, sign_moves, surface_moves
from advisor.situation import Situation, situation_after
from advisor.start import first_cut
from advisor.taper import taper_moves
from advisor.trust import is_shaky, trust_in

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["advise"]

_MOST_ALTERNATIVES = 2


def advise(case: Case) -> Advice:
    """Return the next move for a case.

    Parameters
    ----------
    case : Case
        From ``parse_case``.

    Returns
    -------
    Advice
        ``next_cut`` can be set on this lathe and is inside every hard limit with the
        forces 30 % above the tables; None only where there is no such cut.

    Notes
    -----
    Not to be trusted for: threads, boring bars in deep holes, work that a failed cut
    could turn loose. The machine's manual and the person at the lathe come first.

    References
    ----------
    [kienzle1957], [jawahir1993], [li-zhou], [outokumpu], [ti-notes]; the order of the
    moves is common practice.
    """
    trust, why = trust_in(case)
    if not case.passes:
        return replace(first_cut(case), trust=trust, trust_why=why)
    now = situation_after(case)
    for step in _ORDER:
        advice = step(now)
        if advice is not None:
            break
    else:  # pragma: no cover - the last step always answers
        raise AssertionError("no step answered")
    holding = str(advice.setup_words.get("holding", now.setup.holding))
    cautions = cautions_for(case, holding=holding)
    return replace(advice, cautions=cautions, trust=trust, trust_why=why)


def _say(now: Situation, reason: str, *sources: str) -> Reason:
    return reason_for(now, reason, sources or ("practice",), None)


def _answer(now: Situation, proposal: Proposal | None, **parts: Any) -> Advice:  # noqa: ANN401
    """Return an advice around a proposal, or around the present cut where there is none."""
    cut = proposal.cut if proposal else now.cut
    setup = proposal.setup if proposal else now.setup
    legal = is_legal(setup, cut, now.stock)
    return Advice(
        change=proposal.change if proposal else None,
        next_cut=cut if legal else None,
        setup_words=proposal.setup_words if proposal else {},
        checks=check_limits(setup, cut, now.stock),
        recommended=check_recommended(setup, cut, now.stock),
        **parts,
    )


def _danger(now: Situation) -> Advice | None:
    danger = find_danger(now)
    if danger is None:
        return None
    safe = legal_or_nearest(now)
    proposal = safest_move(safe, danger)
    cut = proposal.cut if proposal else safe.cut
    others = changes_between(now, cut)
    change = proposal.change if proposal else None
    if change is None and others:
        change = others[0]
    elif change is not None and change.unit is not None:
        change = replace(change, from_=getattr(now.cut, FIELDS[change.lever]))
    also = tuple(other for other in others if change and other.lever != change.lever)
    answer = _answer(
        safe,
        proposal,
        verdict="stop",
        reason=_say(now, f"danger-{danger.name}", "shop-safety"),
        do=hands(danger.name),
        also=also,
    )
    return replace(answer, change=change)


def _size(now: Situation) -> Advice | None:
    """Return done or undersize where the diameter says so; the cut along the bar only."""
    target, left = now.case.work.target_diameter_mm, now.stock.left_mm
    if target is None or left is None:
        return None
    tolerance = now.stock.tolerance_mm
    sizes = [d for _, d in now.last.measured_mm] or [now.cut.diameter_mm]
    sign = 1.0 if now.cut.direction == "along" else -1.0
    worst = min(sign * (d - target) for d in sizes)
    if worst < -tolerance * (1 + 1e-9):
        reason = _sized(now, "undersize", -worst)
        return Advice(verdict="stop", reason=reason, do=(_say(now, "do-undersize"),))
    rest = max(sign * (d - target) for d in sizes)
    measure = () if now.last.measured_mm else (_say(now, "do-measure"),)
    if rest <= tolerance * (1 + 1e-9):
        return Advice(verdict="done", reason=_sized(now, "size-reached", rest), do=measure)
    floor = floor_mm(now.setup, now.stock, finishing=False)
    depths = depths_for(now.setup, now.cut, now.stock)
    if any(d >= floor - 1e-9 for d in depths):
        return None
    hard = now.setup.metal.hardens
    reason = _sized(now, "too-little-left-hard" if hard else "too-little-left", rest)
    spring = spring_pass(now)
    return Advice(
        verdict="done", reason=reason, do=(*measure, *(() if spring is None else (spring,)))
    )


def _sized(now: Situation, reason: str, rest_mm: float) -> Reason:
    said = _say(now, reason, "ti-notes" if now.setup.metal.nature == "titanium" else "practice")
    named = dict(said.values)
    named["rest"] = Quantity(abs(rest_mm), "mm")
    named["target"] = Quantity(now.case.work.target_diameter_mm or 0.0, "mm")
    named["tolerance"] = Quantity(now.stock.tolerance_mm, "mm")
    return Reason(id=reason, values=named, sources=said.sources)


def _photo(now: Situation) -> Advice | None:
    chips = now.last.evidence
    shaky = is_shaky(chips, hopeless=now.surely_wrong or _looked_twice(now)) or _of_two_minds(
        now
    )
    if sign_moves(now) or not shaky:
        return None
    unsure = "retake-form" if chips.usable != "retake" else "retake"
    do = (_say(now, "do-retake"), _say(now, "do-hold-settings"))
    return _answer(now, None, verdict="retake the photo", reason=_say(now, unsure), do=do)


def _of_two_minds(now: Situation) -> bool:
    """Return whether a photo names forms of which one asks for a change and another not."""
    chips = now.last.evidence
    if chips.source != "reading" or chips.sure or not now.mark.form or chips.nest:
        return False
    return not _looked_twice(now) and min(now.candidate_marks, default=1) == 0


def _looked_twice(now: Situation) -> bool:
    """Return whether this cut was made and photographed before: a third costs stock."""
    return len(now.case.passes) > 1 and same_settings(now.case.passes[-2], now.last)


def _bad_edge(now: Situation) -> Advice | None:
    """Return what an edge that was found chipped, worn or built up asks for."""
    looked = now.last.edge_looked_at
    if looked in {"not yet", "sharp"}:
        dull = now.last.edge.condition == "dull" and looked == "not yet"
        if not dull or not (now.mark.form or now.mark.troubles or now.mark.heat):
            return None
        looked = "dull"
    moves = [fresh_edge(now, "edge-fresh", looked, "practice")]
    if looked == "built-up":
        moves = unweld(now, looked)
    return _first(now, moves, reason=f"edge-{looked}", free=True)


def _limits(now: Situation) -> Advice | None:
    cured = cure(now)
    if cured is None:
        return None
    if cured.proposal is None:
        reason = _say(now, "no-legal-cut")
        named = dict(reason.values) | {"limit": cured.worst.limit}
        named["value"] = Quantity(cured.worst.value, cured.worst.unit)
        named["bound"] = Quantity(cured.worst.bound, cured.worst.unit)
        reason = Reason(id=reason.id, values=named)
        out = Reason(id=way_out(cured.worst), values=named)
        return _answer(now, None, verdict="stop", reason=reason, do=(out,))
    sharpen = () if now.last.edge_looked_at in {"not yet", "sharp"} else ("do-sharpen",)
    if cured.single:
        return _answer(
            now,
            cured.proposal,
            verdict="change",
            reason=cured.proposal.change.reason,
            do=tuple(_say(now, step) for step in sharpen),
        )
    do = tuple(_say(now, step) for step in ("do-stop-cut", "do-set-all", *sharpen))
    reason = cured.proposal.change.reason
    return _answer(now, cured.proposal, verdict="stop", reason=reason, do=do, also=cured.also)


def _look(now: Situation) -> Advice | None:
    """Return "look at the edge" where the chips changed and no setting did."""
    name = edge_reason(now)
    if name is None:
        return None
    sources = ("ti-notes",) if name == "edge-no-curl" else ("chip-colour", "smith2008")
    do = tuple(
        _say(now, step, "shop-safety")
        for step in ("hand-feed-off", "hand-tool-out", "hand-spindle-off", "do-look-edge")
    )
    safe = legal_or_nearest(now)
    return _answer(
        safe, None, verdict="look at the edge", reason=_say(now, name, *sources), do=do
    )


def _moves(now: Situation) -> Advice | None:
    moves = [
        *over_ceiling(now),
        *heat_moves(now),
        *chatter_short_of_stock(now),
        *taper_moves(now),
        *geometry_moves(now),
        *sign_moves(now),
        *(nose_out_of_reach(now) if feed_in_order(now) else ()),
        *form_moves(now),
        *surface_moves(now),
        *(angle_for_heat(now) if now.mark.heat else ()),
        *finer_feed(now),
    ]
    if not moves:
        return None
    return _first(now, moves)


def _first(
    now: Situation, moves: list[Move], *, reason: str | None = None, free: bool = False
) -> Advice | None:
    """Return the first move that can be made, with the next ones as alternatives.

    Where every lever has had its trials in vain they are opened again: a bad cut made once
    more in the same way costs stock and teaches nothing.
    """
    found = _possible(now, moves, free=free) or _possible(now, moves, free=free, again=True)
    if not found:
        return None
    why = found[0].change.reason if reason is None else _say(now, reason)
    others = tuple(p.change for p in found[1:])
    return _answer(now, found[0], verdict="change", reason=why, alternatives=others)


def _possible(
    now: Situation, moves: list[Move], *, free: bool, again: bool = False
) -> list[Proposal]:
    found: list[Proposal] = []
    for move in moves:
        proposal = realise(now, move, free=free, again=again)
        if proposal is None or any(_same_lever(proposal, other) for other in found):
            continue
        found.append(proposal)
        if len(found) > _MOST_ALTERNATIVES:
            break
    return found


def _same_lever(one: Proposal, other: Proposal) -> bool:
    return (one.change.lever, one.change.to) == (other.change.lever, other.change.to)


def _to_size(now: Situation) -> Advice | None:
    """Return the depth of the last cut, set for how far this holding springs."""
    proposal = last_depth(now)
    if proposal is None:
        return None
    return _answer(now, proposal, verdict="change", reason=proposal.change.reason)


def _keep(now: Situation) -> Advice:
    """Return keep with its reason, and what else may be done for more metal a minute."""
    name = keep_reason(now)
    reason = _say(now, name)
    if name == "keep-stainless-limit":
        reason = replace(reason, values={**reason.values, "limit": feed_stopped_by(now) or ""})
    deeper = ladder(now)
    return _answer(
        now,
        None,
        verdict="keep",
        reason=reason,
        do=tuple(_say(now, step, *sources) for step, *sources in keep_steps(now)),
        alternatives=() if deeper is None else (deeper.change,),
    )


_ORDER: tuple[Callable[[Situation], Advice | None], ...] = (
    _danger,
    _size,
    _bad_edge,
    _look,
    _limits,
    _photo,
    _to_size,
    _moves,
    _keep,
)
