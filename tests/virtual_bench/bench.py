"""Runs a job with a player: trials until the chips are right, then a steady batch.

Trials use up stock. When the chips are right, the same cut is repeated on fresh blanks of a
batch, with the edge chipping at random, to see whether the player notices.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from .observe import look_at_edge, see
from .players import Decision, Made, Player, View
from .turn import Outcome, State, grade_of, one_pass, worn_out
from .world import Fault

if TYPE_CHECKING:
    from .jobs import Job, Settings

__all__ = ["MOST_PASSES", "Event", "Record", "Steady", "run_job"]

#: A job that is not solved after so many passes counts as so many.
MOST_PASSES = 12
#: Passes of a batch; in the first two of an edge it never chips, so that there is something
#: to compare with: "same settings" means the same edge.
STEADY_PASSES, SETTLED = 10, 2
#: In a batch the edge chips this often per pass, so that there is something to notice.
STEADY_HAZARD = 0.08
ASKS_A_PASS = 4
#: Wear between these shares of the edge's life: to call it is neither right nor wrong.
DOUBTFUL_WEAR = 0.5


@dataclass
class Event:
    """An edge that chipped in a steady pass: did the player call it, and how soon."""

    shows: bool
    passes_late: int | None = None


@dataclass
class Steady:
    """A batch at settings that make right chips."""

    passes: int = 0
    false_calls: int = 0
    events: list[Event] = field(default_factory=list)


@dataclass
class Record:
    """What became of a job."""

    job: Job
    passes: int = 0
    solved: bool = False
    ended: str = ""
    changes: int = 0
    worse: int = 0
    forced: int = 0
    spoiled: bool = False
    stops: int = 0
    looks: int = 0
    looks_sharp: int = 0
    stalled: int = 0
    grades: list[int] = field(default_factory=list)
    steps: list[tuple[Settings, Decision | None]] = field(default_factory=list)
    levers: list[str] = field(default_factory=list)
    steady: Steady = field(default_factory=Steady)
    views: list[View] = field(default_factory=list)


@dataclass
class _Table:
    """The bench while a job runs: true state, what the machinist knows, random numbers."""

    job: Job
    state: State
    rng: np.random.Generator
    made: list[Made] = field(default_factory=list)
    believed_mm: float = 0.0
    last: Outcome | None = None

    def cut(self, settings: Settings, hazard: float) -> Outcome:
        before, blade, bar = self.believed_mm, self.state.blade, self.state.bar
        self.state, outcome = one_pass(self.job, self.state, settings, self.rng, hazard=hazard)
        seen = see(self.job, settings, outcome, self.rng)
        self.made.append(Made(settings, before, blade, bar.holding, bar.stickout_mm, seen))
        if seen.measured_mm:
            self.believed_mm = sum(d for _, d in seen.measured_mm) / len(seen.measured_mm)
        elif not outcome.stalled:
            self.believed_mm = before - 2.0 * settings.depth_mm
        self.last = outcome
        return outcome

    def view(self) -> View:
        bar = self.state.bar
        condition = "fresh" if self.state.fault == Fault() else "used"
        return View(
            self.job,
            tuple(self.made),
            self.state.blade,
            condition,
            bar.holding,
            bar.stickout_mm,
        )

    def look(self) -> str:
        """Look at the edge; fit a sharp one where it is not."""
        found = look_at_edge(self.state, self.last, self.rng)
        self.made[-1] = replace(self.made[-1], looked=found)
        if found in {"chipped", "worn"}:
            self.fit_edge()
        return found

    def fit_edge(self, blade=None) -> None:
        number = self.state.edges_used + 1
        new = replace(blade or self.state.blade, id=f"edge-{number}")
        self.state = replace(self.state, blade=new, fault=Fault(), edges_used=number)

    def look_again(self, settings: Settings) -> None:
        """Take the photo again."""
        seen = see(self.job, settings, self.last, self.rng)
        self.made[-1] = replace(self.made[-1], seen=seen)


def run_job(job: Job, player: Player, seed: int, *, steady: bool = True) -> Record:
    """Run one job. The same seed gives the same first pass to every player."""
    rng = np.random.default_rng([seed, job.number, 1])
    table = _Table(job, State(job.bar, job.blade), rng, believed_mm=job.bar.diameter_mm)
    record = Record(job)
    settings = job.first
    decision: Decision | None = None
    while record.passes < MOST_PASSES:
        record.steps.append((settings, decision))
        outcome = table.cut(settings, job.world.hazard)
        record.passes += 1
        record.grades.append(outcome.grade)
        record.stalled += outcome.stalled
        if outcome.spoiled:
            record.spoiled, record.ended = True, "spoiled"
            break
        if outcome.grade == 2 and not outcome.chipped:
            record.solved, record.ended = True, "solved"
            break
        if table.state.bar.diameter_mm - job.leave_mm < 2.0 * job.lathe.depth_step_mm:
            record.ended = "stock used up"
            break
        record.views.append(table.view())
        decision = _ask(table, player, record)
        if decision.settings is None:
            record.ended = decision.verdict
            break
        settings = _apply(table, record, settings, decision)
    record.ended = record.ended or "not solved"
    if record.solved and steady:
        _one_more(table, player, record, settings)
        _steady(table, player, record, settings)
    return record


def _ask(table: _Table, player: Player, record: Record) -> Decision:
    """Ask until there is something to set; look at the edge or take the photo where told."""
    decision = player.decide(table.view(), table.rng)
    for _ in range(ASKS_A_PASS):
        if decision.verdict == "look at the edge":
            record.looks += 1
            record.looks_sharp += table.look() == "sharp"
        elif decision.verdict == "retake the photo":
            table.look_again(table.made[-1].settings)
        else:
            break
        decision = player.decide(table.view(), table.rng)
    record.stops += decision.verdict == "stop"
    return decision


def _moved(state: State, decision: Decision) -> State:
    bar = state.bar
    bar = replace(
        bar,
        holding=decision.holding or bar.holding,
        stickout_mm=decision.stickout_mm or bar.stickout_mm,
    )
    return replace(state, bar=bar)


def _worse(table: _Table, old: Settings, decision: Decision) -> bool:
    """Say whether the change makes the cut worse, with the edge as it is and no noise."""
    before = grade_of(table.job, table.state, old)
    after_state = _moved(table.state, decision)
    if decision.blade is not None:
        after_state = replace(after_state, blade=decision.blade)
    return grade_of(table.job, after_state, decision.settings) < before


def _no_longer_fits(table: _Table, old: Settings) -> bool:
    """Say whether the old depth would eat into the stock of the last cuts: it had to change."""
    return table.believed_mm - 2.0 * old.depth_mm < table.job.leave_mm


def _apply(table: _Table, record: Record, old: Settings, decision: Decision) -> Settings:
    if decision.verdict in {"change", "stop"}:
        record.changes += 1
        record.levers.append(decision.lever or "none")
        worse = _worse(table, old, decision)
        record.worse += worse
        record.forced += worse and _no_longer_fits(table, old)
    table.state = _moved(table.state, decision)
    if decision.blade is not None:
        table.fit_edge(decision.blade)
    elif decision.fresh:
        table.fit_edge()
    return decision.settings


def _one_more(table: _Table, player: Player, record: Record, settings: Settings) -> None:
    """Ask once after the right chips: a change that spoils them counts as made worse."""
    decision = player.decide(table.view(), table.rng)
    if decision.verdict == "change" and decision.settings is not None:
        record.changes += 1
        worse = _worse(table, settings, decision)
        record.worse += worse
        record.forced += worse and _no_longer_fits(table, settings)


def _steady(table: _Table, player: Player, record: Record, settings: Settings) -> None:
    if table.state.fault.chipped or worn_out(table.state.fault):
        table.fit_edge()
    blank = table.job.bar.diameter_mm
    table.state = replace(table.state, bar=replace(table.state.bar, diameter_mm=blank))
    if grade_of(table.job, table.state, settings) < 2:
        return
    event: Event | None = None
    before: Outcome | None = None
    settled = 0
    for _ in range(STEADY_PASSES):
        bar = replace(table.state.bar, diameter_mm=blank)
        table.state = replace(table.state, bar=bar)
        table.believed_mm = blank
        edge = table.state.edges_used
        may_chip = event is None and settled >= SETTLED
        outcome = table.cut(settings, STEADY_HAZARD if may_chip else 0.0)
        if outcome.chipped_now:
            event = Event(shows=_shows(before, outcome), passes_late=None)
            record.steady.events.append(event)
            since = 0
        elif event is not None:
            since += 1
        wear = table.state.fault.wear
        called = _calls(table, player)
        if event is None:
            record.steady.passes += wear < DOUBTFUL_WEAR
            record.steady.false_calls += called and wear < DOUBTFUL_WEAR
            if worn_out(table.state.fault):
                table.fit_edge()
        elif called:
            event.passes_late = since
            event = None
            if table.state.fault.chipped:
                table.fit_edge()
        elif since >= 1:
            break
        if not outcome.chipped:
            before = outcome
        settled = settled + 1 if table.state.edges_used == edge else 0


def _calls(table: _Table, player: Player) -> bool:
    decision = player.decide(table.view(), table.rng)
    if decision.verdict == "retake the photo":
        table.look_again(table.made[-1].settings)
        decision = player.decide(table.view(), table.rng)
    if decision.verdict != "look at the edge":
        return False
    table.look()
    return True


def _shows(before: Outcome | None, after: Outcome) -> bool:
    """Say whether an unerring reader would see the change in the chips.

    Another main form, a share of tangles that is now named first, or half the heap changed.
    """
    if before is None:
        return False
    moved = np.abs(before.mix - after.mix).sum() / 2.0
    other = int(np.argmax(before.mix)) != int(np.argmax(after.mix))
    return bool(moved >= 0.5 or (other and moved >= 0.25))
