"""The first cut of a job: speed from diameter and metal, feed from the plate, a safe depth."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from advisor.assess import Mark
from advisor.cautions import cautions_for
from advisor.first_steps import first_steps, is_under_skin
from advisor.force import spindle_speed_rev_min
from advisor.lathes import settable_speeds
from advisor.legal import cure, way_out
from advisor.limits import check_limits, check_recommended
from advisor.records import Advice, Change, Cut, Evidence, PassRecord, Quantity, Reason
from advisor.search import nearest_legal, settings_for, snap
from advisor.situation import Situation, facts, stock_for
from advisor.state import Setup, cut_state, setup_of, speed_span, usual_feeds
from advisor.tables import rule_value

if TYPE_CHECKING:
    from advisor.limits import Stock
    from advisor.records import Case

__all__ = ["first_cut", "radial_wish", "starting_speed", "starting_wish"]


def starting_speed(
    setup: Setup, diameter_mm: float, direction: str = "along", *, skin: bool = False
) -> float:
    """Return the settable spindle speed for a first cut, rev/min.

    The middle of the table's range, on the next slower step; the next faster one only
    where the slower would be under half of the range. An edge that is used or dull, and a
    cut under a skin, get the low end.

    References
    ----------
    [od1645] for the next slower step, [navedtra] for a slower cut under scale.
    """
    low, high, _ = speed_span(setup, direction)
    wish = (low + high) / 2.0 if setup.edge.condition == "fresh" and not skin else low
    speeds = settable_speeds(setup.lathe)
    if not speeds:
        return setup.lathe.chuck_max_rev_min
    ideal, least, most = (
        spindle_speed_rev_min(v, diameter_mm) for v in (wish, 0.5 * low, high)
    )
    slower = [s for s in speeds if s <= ideal]
    if slower and slower[-1] >= least:
        return slower[-1]
    faster = [s for s in speeds if ideal < s <= most]
    if faster:
        return faster[0]
    return slower[-1] if slower else speeds[0]


def radial_wish(setup: Setup, stock: Stock, direction: str) -> Cut:
    """Return the first cut across the bar: facing by the speed of the rim, or with a blade.

    References
    ----------
    [tc-9-524] facing speed by the largest diameter; [war-lathe] parting feed. Half the
    speed class for a blade, and lighter feeds for facing, are common practice.
    """
    work = setup.work
    blank = replace(
        _blank(setup, work.diameter_mm, work.diameter_mm / 2.0), direction=direction
    )
    feeds = settings_for(setup, blank, stock, "feed")
    wish, _ = usual_feeds(setup, direction)
    depth = rule_value("finish", "facing_depth_mm")
    if direction != "face":
        depth = setup.edge.blade_width_mm or rule_value("radial_feed", "blade_mm")
    return replace(
        blank,
        spindle_rev_min=starting_speed(setup, work.diameter_mm, direction),
        feed_mm_rev=max((f for f in feeds if f <= wish * 1.05), default=feeds[0]),
        depth_mm=depth,
    )


def starting_wish(setup: Setup, stock: Stock, diameter_mm: float, length_mm: float) -> Cut:
    """Return the first cut along the bar as one would set it if nothing stood in the way.

    The very first cut of a bar with a skin goes under it, and slower.
    """
    metal = setup.metal
    skin = is_under_skin(setup, diameter_mm)
    nose = rule_value("finish", "nose_times") * setup.edge.re_mm
    depth = max(rule_value("finish", "first_depth_mm"), nose)
    if skin:
        depth = max(depth, rule_value("finish", "under_skin_mm"))
    depth = min(depth, metal.depth_mm.high)
    if stock.left_mm is not None:
        depth = min(depth, max(stock.left_mm, setup.lathe.dial.step_mm))
    feeds = settings_for(setup, _blank(setup, diameter_mm, length_mm), stock, "feed")
    start = metal.start_feed_mm_rev.value
    feed = max((f for f in feeds if f <= start * 1.05), default=feeds[0])
    return replace(
        _blank(setup, diameter_mm, length_mm),
        spindle_rev_min=starting_speed(setup, diameter_mm, skin=skin),
        feed_mm_rev=feed,
        depth_mm=depth,
    )


def _blank(setup: Setup, diameter_mm: float, length_mm: float) -> Cut:
    return Cut(
        direction="along",
        spindle_rev_min=1.0,
        feed_mm_rev=None,
        depth_mm=rule_value("finish", "first_depth_mm"),
        diameter_mm=diameter_mm,
        length_mm=length_mm,
        coolant="cutting oil" if setup.metal.wants_oil else "dry",
        power_feed=True,
    )


def first_cut(case: Case) -> Advice:
    """Return start, done, or stop where nothing is legal, for a job without a pass."""
    setup, work = setup_of(case), case.work
    along = work.direction in {"along", "bore"}
    stock = stock_for(case, work.direction, work.diameter_mm)
    cautions = cautions_for(case)
    if work.direction == "part off" and "centre" in work.holding:
        return replace(_no_parting(setup, stock), cautions=cautions)
    if along:
        wish = starting_wish(setup, stock, work.diameter_mm, work.cut_length_mm)
        wish = replace(wish, direction=work.direction)
    else:
        wish = radial_wish(setup, stock, work.direction)
    wish = snap(setup, wish)
    named = facts(setup, wish, stock)
    if stock.left_mm is not None and stock.left_mm <= stock.tolerance_mm / 2.0:
        at_size = abs(stock.left_mm) <= stock.tolerance_mm / 2.0
        reason = Reason(id="start-at-size" if at_size else "start-undersize", values=named)
        return Advice(verdict="done" if at_size else "stop", reason=reason, cautions=cautions)
    cut = nearest_legal(setup, wish, stock)
    if cut is None:
        return replace(_cured(case, setup, wish, stock), cautions=cautions)
    named = facts(setup, cut, stock)
    sources = (speed_span(setup, cut.direction)[2], "practice")
    return Advice(
        verdict="start",
        reason=Reason(id="start" if along else "start-radial", values=named, sources=sources),
        do=tuple(Reason(id=step, values=named) for step in first_steps(setup)),
        cautions=cautions,
        next_cut=cut,
        checks=check_limits(setup, cut, stock),
        recommended=check_recommended(setup, cut, stock),
    )


def _no_parting(setup: Setup, stock: Stock) -> Advice:
    """Return the refusal to part off with the centre engaged."""
    named = facts(setup, radial_wish(setup, stock, "part off"), stock)
    reason = Reason(id="danger-parting-centre", values=named, sources=("war-lathe",))
    return Advice(
        verdict="stop",
        reason=reason,
        do=(Reason(id="hand-centre-back", sources=("war-lathe",)),),
        change=Change(
            lever="support",
            from_=setup.holding,
            to="chuck",
            unit=None,
            reason=Reason(id="parting-centre", values=named, sources=("war-lathe",)),
        ),
        setup_words={"holding": "chuck"},
    )


def _cured(case: Case, setup: Setup, wish: Cut, stock: Stock) -> Advice:
    """Return what must change before there is any first cut, such as the holding."""
    last = PassRecord(
        cut=wish,
        edge=setup.edge,
        holding=setup.holding,
        stickout_mm=setup.stickout_mm,
        evidence=Evidence(),
    )
    now = Situation(
        case=case,
        setup=setup,
        last=last,
        cut=wish,
        made=cut_state(setup, wish),
        stock=stock,
        mark=Mark(form=None, heat=0, troubles=0),
        marks=(),
        interrupted=False,
    )
    cured = cure(now)
    named = dict(facts(setup, wish, stock))
    if cured is None or cured.proposal is None:
        if cured is not None:
            worst = cured.worst
            named |= {"limit": worst.limit, "value": Quantity(worst.value, worst.unit)}
            named["bound"] = Quantity(worst.bound, worst.unit)
        out = "do-no-cut" if cured is None else way_out(cured.worst)
        return Advice(
            verdict="stop",
            reason=Reason(id="no-legal-cut", values=named),
            do=(Reason(id=out, values=named),),
            checks=check_limits(setup, wish, stock),
        )
    done = cured.proposal
    return Advice(
        verdict="stop",
        reason=done.change.reason,
        do=(Reason(id="do-set-all", values=named),),
        change=done.change,
        also=cured.also,
        next_cut=done.cut,
        setup_words=done.setup_words,
        checks=check_limits(done.setup, done.cut, stock),
    )
