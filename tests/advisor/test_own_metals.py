"""A user's own file of metals: what it may leave out, and what it may not.

The metal here is 904L, an austenitic stainless steel; its figures are invented, since what
is tested is where they go and not what they are.
"""

from __future__ import annotations

import pytest

import advisor

OWN = """
[[material]]
name = "904L"
aliases = ["1.4539", "N08904"]
like = "316"
hss_m_min = { low = 8, high = 12, source = "three jobs of mine" }
kc11_n_mm2 = { value = 2600, source = "supplier's sheet" }
"""


def _ask(case, text=OWN):
    return advisor.advice_json(
        advisor.advise(advisor.parse_case(case, metals=advisor.parse_metals(text)))
    )


def test_what_is_given_counts_and_the_rest_is_borrowed(new_job):
    (metal,) = advisor.parse_metals(OWN)
    assert (metal.hss_m_min.low, metal.hss_m_min.high) == (8, 12)
    assert metal.mc == advisor.material("316").mc
    case = advisor.parse_case(new_job("1.4539"), metals=(metal,))
    assert case.work.material == "904L"
    assert dict(metal.stand_in)["mc"].startswith("316")
    assert "kc11_n_mm2" not in dict(metal.stand_in)


def test_the_start_follows_the_own_speed_and_names_the_own_source(new_job):
    advice = _ask(new_job("904L"))
    speed = 3.14159 * 16.0 * advice["next_cut"]["spindle_rev_min"] / 1000
    assert 8 <= speed <= 12
    assert any("three jobs of mine" in source for source in advice["sources"])


def test_unknown_hazards_are_said_until_they_are_named(new_job):
    said = " ".join(_ask(new_job("904L"))["cautions"])
    assert "Nobody has said" in said
    known = OWN + "hazards = []\n"
    assert "Nobody has said" not in " ".join(_ask(new_job("904L"), known)["cautions"])


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ('[[material]]\nname = "X"\n', "like"),
        ('[[material]]\nlike = "316"\n', "name"),
        ('[[material]]\nname = "X"\nlike = "316"\nkc11_n_mm2 = 900\n', "kc11_n_mm2"),
        ('[[material]]\nname = "X"\nlike = "316"\nmc = { value = 0.2 }\n', "mc"),
        ('[[material]]\nname = "X"\nlike = "316"\nmc = { value = 0.2, source = " " }\n', "mc"),
        ('[[material]]\nname = "X"\nlike = "316"\nmc = { value = -1, source = "s" }\n', "mc"),
        ('[[material]]\nname = "X"\nlike = "316"\nnature = "springy"\n', "nature"),
        ('[[material]]\nname = "X"\nlike = "316"\nhardnes = 1\n', "hardnes"),
        (
            '[[material]]\nname = "X"\nlike = "316"\nmc = { low = 9, high = 5, source = "s" }',
            "X",
        ),
        ("metal = 3", "metals"),
        ("[[material", "metals"),
    ],
)
def test_a_value_without_a_source_or_a_strange_word_does_not_load(text, place):
    with pytest.raises(advisor.CaseInvalid) as caught:
        advisor.parse_metals(text)
    assert place in caught.value.path


def test_nothing_to_borrow_from_is_outside_the_tables():
    with pytest.raises(advisor.OutOfTable):
        advisor.parse_metals('[[material]]\nname = "X"\nlike = "unobtainium"\n')


def test_at_least_eighteen_metals_and_each_says_its_compression():
    names = advisor.material_names()
    assert len(names) >= 18
    for name in names:
        span = advisor.material(name).compression
        assert 1.0 <= span.low < span.high <= 7.0
