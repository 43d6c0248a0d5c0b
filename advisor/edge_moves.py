"""Wishes for another edge, or for oil to it: what several rules ask for in the same words.

Which rake and which groove suit which metal is common practice.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from advisor.moves import Move
from advisor.state import with_edge
from advisor.tables import edge_number, rule_value

if TYPE_CHECKING:
    from advisor.situation import Situation

__all__ = ["cooling", "flat_rake", "fresh_edge", "groove", "more_rake", "positive_rake"]


def fresh_edge(now: Situation, reason: str, state: str, *sources: str) -> Move:
    """Return the wish for a sharp edge in place of the present one, which is in a state."""
    edge = now.setup.edge
    radius = edge_number("edge_radius_um", edge.material).value
    return Move(
        lever="edge",
        way=0,
        reason=reason,
        sources=sources or ("practice",),
        words=(f"{edge.id}, {state}", f"{edge.id}, fresh"),
        setup=with_edge(now.setup, condition="fresh", edge_radius_um=radius),
        setup_words={"edge": "fresh"},
    )


def groove(now: Situation, reason: str = "edge-groove", *sources: str) -> list[Move]:
    """Return the wish for a chip groove; none where the edge has one already."""
    edge = now.setup.edge
    if edge.chip_groove:
        return []
    return [
        Move(
            lever="edge",
            way=0,
            reason=reason,
            sources=sources or ("jawahir1993", "li-zhou", "smith2008"),
            words=(f"{edge.id}, flat top", f"{edge.id}, with a chip groove"),
            setup=with_edge(now.setup, chip_groove=True),
            setup_words={"edge": "with a chip groove"},
        )
    ]


def cooling(now: Situation, reason: str, *sources: str) -> list[Move]:
    """Return the wish for oil; none where the cut is not dry or the metal is cut dry."""
    if now.cut.coolant != "dry" or not now.setup.metal.wants_oil:
        return []
    return [
        Move(
            lever="coolant",
            way=0,
            reason=reason,
            sources=sources or ("practice",),
            words=("dry", "cutting oil"),
            coolant="cutting oil",
        )
    ]


def positive_rake(now: Situation) -> list[Move]:
    """Return the wish for a positive face; none where the rake is positive already."""
    if now.setup.edge.rake_deg > 0.0:
        return []
    return [_rake_of_metal(now, "titanium-rake")]


def more_rake(now: Situation, reason: str) -> list[Move]:
    """Return the wish for the rake of this metal; none where the edge has about as much."""
    lacks = now.setup.metal.rake_deg.value - now.setup.edge.rake_deg
    return [_rake_of_metal(now, reason)] if lacks > _shows_deg() else []


def flat_rake(now: Situation) -> list[Move]:
    """Return the wish for a flat face in brass and bronze, which a raked one is pulled into."""
    metal = now.setup.metal
    over = now.setup.edge.rake_deg - metal.rake_deg.value
    soft = metal.nature == "crumbles" and metal.iso_513 == "N"  # not iron
    return [_rake_of_metal(now, "brittle-rake")] if soft and over > _shows_deg() else []


def _shows_deg() -> float:
    return rule_value("tool", "turning_limit_deg")


def _rake_of_metal(now: Situation, reason: str) -> Move:
    edge, rake_deg = now.setup.edge, now.setup.metal.rake_deg.value
    return Move(
        lever="edge",
        way=0,
        reason=reason,
        words=(f"{edge.rake_deg:g}° of rake", f"{rake_deg:g}° of rake"),
        setup=with_edge(now.setup, rake_deg=rake_deg),
        setup_words={"edge": f"{rake_deg:g}° of rake"},
    )
