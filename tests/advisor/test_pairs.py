"""Pairs of cases that differ in one thing only, and must therefore get other advice.

All are common practice, no source, unless a line names one.
"""

from __future__ import annotations

import pytest

LONG, GOOD = {"form": "2.1"}, {"form": "6.2"}


def _said(advice):
    change = advice["change"]
    return advice["verdict"], change and (change["lever"], change["from"], change["to"])


def _metal(new_job, new_pass):
    return [new_job(metal, [new_pass(17, 0.1, **LONG)]) for metal in ("1045", "Ti-6Al-4V")]


def _stainless_kin(new_job, new_pass):
    # 303 breaks by itself, 304 only with feed: at 0.12 mm/rev a dead edge against a keep.
    return [new_job(metal, [new_pass(18, 0.12, **LONG)]) for metal in ("303", "304")]


def _holding(new_job, new_pass):
    one = new_pass(28, 0.1, noticed=["chatter"], **GOOD)
    slender = {"stickout_mm": 60.0}
    return [
        new_job("1045", [one], work={**slender, "holding": held})
        for held in ("chuck", "chuck and centre")
    ]


def _edge_state(new_job, new_pass):
    one = new_pass(20, 0.04, **LONG)
    return [new_job("303", [one], edge={"condition": state}) for state in ("fresh", "dull")]


def _edge_material(new_job, new_pass):
    # Blue is normal for coated carbide cutting steel dry, too hot for HSS.
    one = new_pass(36, 0.1, form="6.2", tint="blue")
    return [
        new_job("1045", [one], edge={"material": stuff}) for stuff in ("HSS", "coated carbide")
    ]


def _history(new_job, new_pass):
    # The same last pass: after a good one at the same settings the edge is suspected.
    last = new_pass(28, 0.1, **LONG)
    before = new_pass(28, 0.1, **GOOD)
    return [new_job("1045", [last]), new_job("1045", [before, last])]


def _failed_twice(new_job, new_pass):
    tried = [new_pass(14, feed, form="1.3") for feed in (0.04, 0.06, 0.1)]
    return [new_job("304", tried[-1:]), new_job("304", tried)]


def _feed_cost(new_job, new_pass):
    # A dial against ten minutes of change gears.
    one = new_pass(28, 0.05, 0.3, **LONG)
    return [new_job("1045", [one], lathe={"feed_change": how}) for how in ("lever", "gears")]


def _range(new_job, new_pass):
    # The same power, but a drive rated high has little torque at low speed.
    one = new_pass(28, 0.15, 1.0, **GOOD)
    return [
        new_job(
            "1045",
            [one],
            lathe={"power_w": 300, "ranges": [{"from": 50, "to": 2500, "rated_rev_min": r}]},
        )
        for r in (400, 2400)
    ]


def _stock(new_job, new_pass):
    # Corners that strike, or a chip that does.
    one = new_pass(28, 0.1, form="7", noticed=["hammering"])
    return [new_job("1045", [one], work={"stock": stock}) for stock in ("round", "hex")]


def _thick_end(new_job, new_pass):
    # The same difference, turned round: a bar that bends, or an edge that dulled on the way.
    ends = ([[4, 15.2], [28, 15.4]], [[4, 15.4], [28, 15.2]])
    return [new_job("1045", [new_pass(28, 0.1, measured_mm=m, **GOOD)]) for m in ends]


def _direction(new_job, new_pass):
    # A face is fed lighter than a bar.
    return [
        new_job("1045", [new_pass(28, 0.05, 0.3, direction=way, form="1.1")])
        for way in ("along", "face")
    ]


def _coolant(new_job, new_pass):
    torn = {"form": "2.2", "noticed": ["tearing"]}
    return [
        new_job("1018", [new_pass(28, 0.1, coolant=oil, **torn)])
        for oil in ("dry", "cutting oil")
    ]


def _looked(new_job, new_pass):
    # Titanium without curl: the edge first, and the feed once it was found sharp.
    return [
        new_job("Ti-6Al-4V", [new_pass(17, 0.05, form="1.1", edge_looked_at=found)])
        for found in ("not yet", "sharp")
    ]


PAIRS = [
    _metal,
    _stainless_kin,
    _holding,
    _edge_state,
    _edge_material,
    _history,
    _failed_twice,
    _feed_cost,
    _range,
    _stock,
    _thick_end,
    _direction,
    _coolant,
    _looked,
]


@pytest.mark.parametrize("pair", PAIRS, ids=lambda pair: pair.__name__.strip("_"))
def test_one_difference_changes_the_advice(pair, new_job, new_pass, ask):
    one, other = (_said(ask(case)) for case in pair(new_job, new_pass))
    assert one != other
