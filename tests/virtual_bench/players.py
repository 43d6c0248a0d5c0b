"""What a player is told and may answer, and the three players that need no advice."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Protocol

import numpy as np

from .search import is_right, right_settings, works
from .world import Fault, middle_world, strengths

if TYPE_CHECKING:
    from .cut import Bar
    from .jobs import Job, Settings
    from .observe import Seen
    from .world import Blade, World

__all__ = [
    "Decision",
    "Made",
    "NoAdvice",
    "Player",
    "RandomMoves",
    "SeesAll",
    "UpTheFeed",
    "View",
]


@dataclass(frozen=True, slots=True)
class Made:
    """A pass as its machinist knows it; ``diameter_mm`` before it, as believed."""

    settings: Settings
    diameter_mm: float
    blade: Blade
    holding: str
    stickout_mm: float
    seen: Seen
    looked: str = "not yet"


@dataclass(frozen=True, slots=True)
class View:
    """All a player may use: of the job its visible part, the passes made, the edge now."""

    job: Job
    passes: tuple[Made, ...]
    blade: Blade
    condition: str
    holding: str
    stickout_mm: float

    @property
    def last(self) -> Settings:
        return self.passes[-1].settings


@dataclass(frozen=True, slots=True)
class Decision:
    """What to do next. ``verdict`` in the words of the contract; no settings ends the job."""

    verdict: str
    settings: Settings | None
    lever: str | None = None
    holding: str | None = None
    stickout_mm: float | None = None
    blade: Blade | None = None
    fresh: bool = False
    why: str = field(default="", compare=False)


class Player(Protocol):
    """Anything that decides."""

    name: str

    def decide(self, view: View, rng: np.random.Generator) -> Decision: ...


def _fits(view: View, settings: Settings) -> Decision:
    """Return the cut as a decision, or the end where it would go below the target."""
    left = view.passes[-1].diameter_mm - 2.0 * view.last.depth_mm
    if left - 2.0 * settings.depth_mm < view.job.target_mm - 1e-9:
        return Decision("done", None)
    return Decision("change" if settings != view.last else "keep", settings)


class NoAdvice:
    """Keeps the settings it started with."""

    name = "no advice"

    def decide(self, view: View, rng: np.random.Generator) -> Decision:  # noqa: ARG002
        return _fits(view, view.last)


class UpTheFeed:
    """One factor at a time: the next feed up the plate; back one step where it stalled."""

    name = "up the feed"

    def decide(self, view: View, rng: np.random.Generator) -> Decision:  # noqa: ARG002
        feeds = view.job.lathe.feeds_mm_rev
        at = int(np.argmin(np.abs(np.array(feeds) - view.last.feed_mm_rev)))
        trouble = {"stalled", "dug in"} & {w for p in view.passes for w in p.seen.noticed}
        if {"stalled", "dug in"} & set(view.passes[-1].seen.noticed):
            at = max(0, at - 1)
        elif not trouble:
            at = min(len(feeds) - 1, at + 1)
        return _fits(view, replace(view.last, feed_mm_rev=feeds[at]))


class RandomMoves:
    """A move drawn by lot among those that run in the hidden world: luck with its eyes open."""

    name = "random legal moves"

    def decide(self, view: View, rng: np.random.Generator) -> Decision:
        job, bar = view.job, view.job.bar
        for _ in range(20):
            settings, lever = self._draw(view, rng)
            room = view.passes[-1].diameter_mm - 2.0 * view.last.depth_mm - job.leave_mm
            now = self._bar(view, bar)
            if 2.0 * settings.depth_mm <= room + 1e-9 and works(job, settings, Fault(), now):
                return Decision("change", settings, lever)
        return _fits(view, view.last)

    @staticmethod
    def _bar(view: View, bar: Bar) -> Bar:
        left = view.passes[-1].diameter_mm - 2.0 * view.last.depth_mm
        return replace(bar, diameter_mm=left, holding=view.holding)

    @staticmethod
    def _draw(view: View, rng: np.random.Generator) -> tuple[Settings, str]:
        lathe, last = view.job.lathe, view.last
        lever = str(rng.choice(["feed", "speed", "depth", "coolant"]))
        up = rng.random() < 0.5
        if lever in {"feed", "speed"}:
            steps = lathe.feeds_mm_rev if lever == "feed" else lathe.speeds_rev_min
            now = last.feed_mm_rev if lever == "feed" else last.speed_rev_min
            at = int(np.argmin(np.abs(np.array(steps) - now))) + (1 if up else -1)
            value = steps[min(max(at, 0), len(steps) - 1)]
            key = "feed_mm_rev" if lever == "feed" else "speed_rev_min"
            return replace(last, **{key: value}), lever
        if lever == "depth":
            step = lathe.depth_step_mm
            wanted = last.depth_mm * (1.5 if up else 1 / 1.5)
            return replace(last, depth_mm=max(1, round(wanted / step)) * step), lever
        return replace(last, coolant="dry" if last.oil else "cutting oil"), lever


#: How much tougher than in the book a metal is taken to be, again after each disappointment.
TOUGHER = 1.2


class SeesAll:
    """Knows the hidden world and still moves one lever at a time: what can be asked at most.

    Goes for the right cut that differs by the fewest levers; depth, which costs stock, last.
    """

    name = "sees the hidden world, one lever at a time"

    def decide(self, view: View, rng: np.random.Generator) -> Decision:  # noqa: ARG002
        last, made = view.last, view.passes[-1]
        if {"burr", "tearing"} & set(made.seen.noticed) and made.looked == "not yet":
            return Decision("look at the edge", last)
        left = made.diameter_mm - 2.0 * last.depth_mm
        job = self._believes(view)
        aims = right_settings(job, left, view.holding)
        if not aims and view.holding == "chuck" and view.job.lathe.has_tailstock:
            aims = right_settings(job, left, "chuck and centre")
            if aims:
                return replace(_fits(view, last), holding="chuck and centre")
        aims = [(self._levers(last, aim), aim.depth_mm, aim) for aim in aims]
        if not aims:
            return _fits(view, last)
        aim = min(aims, key=lambda entry: entry[:2])[2]
        for key in ("coolant", "feed_mm_rev", "speed_rev_min", "depth_mm"):
            if getattr(aim, key) != getattr(last, key):
                step = replace(last, **{key: getattr(aim, key)})
                return _fits(view, step)
        return _fits(view, last)

    def _believes(self, view: View) -> Job:
        """Return the job as this player takes it to be."""
        return view.job

    @staticmethod
    def _levers(one: Settings, other: Settings) -> int:
        keys = ("coolant", "feed_mm_rev", "speed_rev_min", "depth_mm")
        return sum(getattr(one, key) != getattr(other, key) for key in keys)


def _tougher(world: World) -> World:
    return replace(
        world,
        break_strain=world.break_strain * TOUGHER,
        control_mm=world.control_mm * TOUGHER,
    )


class KnowsTheBook(SeesAll):
    """Knows every relation and its middle constants, nothing of this job's: an able machinist.

    Aims a fifth further than the book asks. Where it expected right chips and they did not
    come, it takes this metal to be tougher by another fifth and goes on.
    """

    name = "knows the bench's own book, not the job"

    def _believes(self, view: View) -> Job:
        job = view.job
        book = middle_world(job.metal, view.blade, job.lathe)
        book = _tougher(replace(book, strength=strengths()))
        job = replace(job, blade=view.blade, world=book)
        for made in view.passes:
            bar = replace(job.bar, diameter_mm=made.diameter_mm, holding=made.holding)
            if is_right(job, made.settings, bar):
                book = _tougher(book)
                job = replace(job, world=book)
        return job
