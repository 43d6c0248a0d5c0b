"""What ends the cut at once, and the order of hands that follows."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from advisor.edge_moves import cooling
from advisor.geometry import holds_back
from advisor.limits import is_legal
from advisor.moves import Move, Proposal, realise
from advisor.records import Reason
from advisor.rules import form_moves, heat_moves
from advisor.search import nearest_legal
from advisor.terms import FormClass, form_class

if TYPE_CHECKING:
    from advisor.situation import Situation

__all__ = ["Danger", "find_danger", "hands", "legal_or_nearest", "safest_move"]


@dataclass(frozen=True, slots=True)
class Danger:
    """A danger by its name, with the levers that may lower it, in order."""

    name: str
    moves: tuple[Move, ...]


def _less(lever: str, reason: str) -> Move:
    return Move(lever=lever, way=-1, reason=reason)  # type: ignore[arg-type]


def find_danger(now: Situation) -> Danger | None:
    """Return the gravest danger after a pass, or None."""
    noticed = now.last.noticed
    if "wrapped on work" in noticed:
        more = Move(lever="feed", way=1, reason="wrapped-feed", sources=("jawahir1993",))
        return Danger("wrapped", (*form_moves(now), more))
    for sign, slower in (("smoke", "smoke-slower"), ("sparks", "sparks-slower")):
        if sign in noticed:
            cool = [*heat_moves(now), *cooling(now, "heat-dry")]
            return Danger(sign, (_less("speed", slower), *cool))
    if now.cut.direction == "part off" and now.setup.holding in {
        "chuck and centre",
        "between centres",
    }:
        return Danger("parting-centre", tuple(_centre_away(now)))
    if _titanium_dust(now):
        more = Move(lever="feed", way=1, reason="titanium-fines", sources=("ti-notes",))
        deeper = Move(lever="depth", way=1, reason="titanium-fines", sources=("ti-notes",))
        return Danger("titanium-dust", (more, deeper))
    for sign in ("dug in", "slipped", "stalled"):
        if sign in noticed:
            name = sign.replace(" ", "-")
            lighter = (_less("depth", f"{name}-less"), _less("feed", f"{name}-less"))
            return Danger(name, (*(holds_back(now) if sign == "dug in" else ()), *lighter))
    return None


def _titanium_dust(now: Situation) -> bool:
    """Return whether titanium comes off as fines: crumbs while rubbing or by a thin chip."""
    form = now.last.evidence.form
    if now.setup.metal.nature != "titanium" or form is None:
        return False
    fine = form_class(form) in {FormClass.ELEMENTAL, FormClass.NEEDLE}
    thin = now.made.section.thickness_mm < 2.0 * now.setup.thinnest_mm
    return fine and (thin or "rubbing" in now.last.noticed)


def _centre_away(now: Situation) -> list[Move]:
    return [
        Move(
            lever="support",
            way=0,
            reason="parting-centre",
            sources=("war-lathe",),
            words=(now.setup.holding, "chuck"),
            setup=replace(now.setup, holding="chuck", spring=1.0),
            setup_words={"holding": "chuck"},
        )
    ]


def safest_move(now: Situation, danger: Danger) -> Proposal | None:
    """Return the first legal move that lowers a danger.

    Where no single move is legal, the nearest legal cut with a smaller one still is: it
    comes as a proposal of the lever that moved most.
    """
    for move in danger.moves:
        proposal = realise(now, move, free=True)
        if proposal is not None:
            return proposal
    return None


def legal_or_nearest(now: Situation) -> Situation:
    """Return the situation with its present cut brought inside every limit, if it can be."""
    if is_legal(now.setup, now.cut, now.stock):
        return now
    cut = nearest_legal(now.setup, now.cut, now.stock)
    return now if cut is None else replace(now, cut=cut)


def hands(name: str) -> tuple[Reason, ...]:
    """Return the order of hands for a danger: feed off, tool out, spindle off, the rest."""
    first = ("hand-feed-off", "hand-tool-out", "hand-spindle-off", "hand-isolate")
    if name in {"dug-in", "stalled"}:  # the tool is caught: power off before it is drawn
        first = ("hand-spindle-off", "hand-feed-off", "hand-isolate", "hand-tool-out")
    then = {
        "wrapped": ("hand-hook",),
        "smoke": ("hand-cool", "hand-look-edge"),
        "sparks": ("hand-look-edge", "hand-cool"),
        "parting-centre": ("hand-centre-back",),
        "titanium-dust": ("hand-titanium-dust",),
        "dug-in": ("hand-look-edge", "hand-check-bar", "hand-check-slides"),
        "slipped": ("hand-grip", "hand-check-bar"),
        "stalled": ("hand-look-edge", "hand-check-bar"),
    }
    return tuple(
        Reason(id=step, sources=("shop-safety",)) for step in (*first, *then.get(name, ()))
    )
