"""The whole table, form by metal by edge material, against what holds without exception.

Speeds lie inside the printed tables, or below where this lathe turns no faster: HSS and
carbide sheets by hardness, technical-college and school-laboratory sheets (read); titanium,
bronze and the like from memory or common practice. Which form is right in which metal is
common practice, no source, in line with the ratings of Kluft et al., CIRP Annals 28/2,
1979 (memory).
"""

from __future__ import annotations

import pytest

# metal -> m/min with HSS, m/min with carbide, a feed that suits a bench lathe, mm/rev
METALS = {
    "1018": (28, 110, 0.12),
    "12L14": (46, 120, 0.12),
    "1045": (28, 110, 0.12),
    "4140": (19, 75, 0.12),
    "O1": (18, 75, 0.12),
    "303": (21, 60, 0.1),
    "304": (14, 55, 0.1),
    "316": (14, 55, 0.1),
    "Ti grade 2": (20, 50, 0.06),
    "Ti-6Al-4V": (17, 45, 0.06),
    "6061": (60, 100, 0.12),
    "C360": (60, 100, 0.1),
    "bronze": (35, 80, 0.1),
    "grey iron": (22, 80, 0.1),
}
CRUMBLES = {"C360", "grey iron"}
TITANIUM = {"Ti grade 2", "Ti-6Al-4V"}
SHORT = ("2.2", "3.1", "3.2", "4.2", "5.2", "6.2")
LONG_COILS = ("2.1", "4.1", "5.1")
SNARLED = ("1.3", "2.3", "4.3", "5.3")
EDGES = {"HSS": 0, "carbide": 1}

BOTH = [(metal, edge) for metal in METALS for edge in EDGES]


@pytest.fixture
def say(new_job, new_pass, ask):
    def answer(metal, edge, form, **more):
        speed, feed = METALS[metal][EDGES[edge]], METALS[metal][2]
        one = new_pass(speed, more.pop("feed", feed), form=form, **more)
        return ask(new_job(metal, [one], edge={"material": edge}))

    return answer


@pytest.mark.parametrize(("metal", "edge"), BOTH)
def test_a_snarl_is_never_left_alone_and_never_reached_into(metal, edge, say):
    for form in SNARLED:
        advice = say(metal, edge, form)
        assert advice["verdict"] not in {"keep", "done"}, form
        assert any("hook" in text.lower() for text in advice["cautions"]), form


@pytest.mark.parametrize(("metal", "edge"), BOTH)
def test_a_straight_ribbon_that_never_curls_is_never_left_alone(metal, edge, say):
    assert say(metal, edge, "1.1")["verdict"] != "keep"


@pytest.mark.parametrize(
    ("metal", "edge"), [pair for pair in BOTH if pair[0] not in {*CRUMBLES, "bronze"}]
)
def test_short_curls_at_a_good_feed_are_left_alone(metal, edge, say):
    for form in SHORT:
        advice = say(metal, edge, form)
        assert advice["verdict"] == "keep", (form, advice["because"])


@pytest.mark.parametrize(("metal", "edge"), [p for p in BOTH if p[0] in CRUMBLES])
def test_crumbs_are_right_in_brass_and_grey_iron(metal, edge, say):
    assert say(metal, edge, "7")["verdict"] == "keep"


@pytest.mark.parametrize(("metal", "edge"), [p for p in BOTH if p[0] in TITANIUM])
def test_long_coils_under_control_are_right_in_titanium(metal, edge, say):
    for form in LONG_COILS:
        assert say(metal, edge, form)["verdict"] == "keep", form


@pytest.mark.parametrize(
    ("metal", "edge"), [p for p in BOTH if p[0] not in {*TITANIUM, *CRUMBLES, "bronze"}]
)
def test_long_coils_at_a_light_feed_want_more_feed_everywhere_else(metal, edge, say):
    for form in LONG_COILS:
        change = say(metal, edge, form, feed=0.04)["change"]
        assert change, form
        assert change["lever"] == "feed", (form, change["because"])
        assert change["to"] > change["from"]


@pytest.mark.parametrize(
    ("metal", "edge"), [p for p in BOTH if p[0] in {"6061", "C360", "bronze"}]
)
def test_tint_moves_nothing_where_it_says_nothing(metal, edge, say):
    # 10 nm of oxide shift the colour of aluminium by 0.3 (dE00) and bare brass is as yellow
    # as straw: computed from published optical constants.
    assert say(metal, edge, "7", tint="straw") == say(metal, edge, "7", tint="blue")
