"""The verdict over a photo, against the rules of the contract written out by hand."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vision.forms.verdict import doubts_of, is_dangerous, verdict_of
from vision.records import ChipGeometry, ChipReading
from vision.terms import Flag

CODES = (
    *(f"{g}.{w}" for g in (1, 2, 4, 5) for w in (1, 2, 3)),
    *("3.1", "3.2", "6.1", "6.2", "7", "8"),
)
#: Long and snarled ribbons and coils wrap; no spiral, arc, crumb or needle does.
DANGEROUS = {"1.1", "1.3", "2.1", "2.3", "4.1", "4.3", "5.1", "5.3"}


def chip(form, weight=1.0, *, sure=True, candidates=(), group=None, kind="chip", count=None):
    return ChipReading(
        number=0,
        kind=kind,
        outline_px=(),
        group=group or (form[:1] if form else None),
        form=form,
        sure=sure,
        candidates=candidates or ((form,) if form else ()),
        probability={},
        p_not_chip=0.0,
        why=(),
        geometry=ChipGeometry(),
        tint=None,
        volume_weight=weight,
        count=count,
    )


def test_which_forms_endanger():
    assert {c for c in CODES if is_dangerous(c)} == DANGEROUS
    assert not any(is_dangerous(group) for group in "12345678")


def test_no_chips_no_verdict():
    assert verdict_of([]) is None
    assert verdict_of([chip(None)]) is None
    assert verdict_of([chip("6.2", 0.0)]) is None


def test_shares_go_by_volume_not_by_number():
    # One spiral of 12 mm3 against nine arcs of 0.5: 12 / 16.5 and 4.5 / 16.5.
    verdict = verdict_of([chip("3.1", 12.0), *(chip("6.2", 0.5) for _ in range(9))])
    assert verdict.mix == pytest.approx({"3.1": 12 / 16.5, "6.2": 4.5 / 16.5})
    assert (verdict.code, verdict.main, verdict.group) == ("3.1", "3.1", "3")
    assert verdict.share == pytest.approx(12 / 16.5)
    assert list(verdict.mix) == ["3.1", "6.2"]
    assert verdict.sure


def test_a_nest_outweighs_fifty_crumbs():
    crumbs = chip("7", 0.5, kind="grains", count=50)
    verdict = verdict_of([chip("1.3", 60.0, kind="nest"), crumbs])
    assert (verdict.code, verdict.main) == ("1.3", "1.3")
    assert verdict.sure


def test_danger_is_named_first_whatever_its_share():
    chips = [*(chip("6.2", 3.0) for _ in range(8)), chip("2.1", 1.0)]
    verdict = verdict_of(chips)
    assert (verdict.code, verdict.main) == ("2.1", "6.2")
    assert verdict.share == pytest.approx(1 / 25)  # that of the code, not of the main form
    assert verdict.group == "2"
    assert verdict.sure
    assert verdict.candidates == ("2.1",)


def test_doubtful_danger_is_not_named_first():
    chips = [*(chip("6.2", 3.0) for _ in range(8)), chip("2.1", 1.0, sure=False)]
    verdict = verdict_of(chips)
    assert verdict.code == verdict.main == "6.2"


def test_of_two_dangers_the_larger():
    chips = [chip("1.1", 2.0), chip("2.3", 5.0), *(chip("6.2", 9.0) for _ in range(6))]
    assert verdict_of(chips).code == "2.3"


@pytest.mark.parametrize(("count", "sure"), [(1, False), (4, False), (5, True), (9, True)])
def test_five_chips_make_a_verdict(count, sure):
    verdict = verdict_of([chip("6.2")] * count)
    assert verdict.sure is sure
    assert verdict.code == "6.2"


def test_grains_count_one_by_one():
    assert verdict_of([chip("7", kind="grains", count=12)]).sure
    assert not verdict_of([chip("7", kind="grains", count=3)]).sure


@pytest.mark.parametrize("code", sorted(DANGEROUS))
def test_one_nest_or_long_chip_is_enough(code):
    verdict = verdict_of([chip(code)])
    assert verdict.sure
    assert verdict.code == code


def test_a_nest_whose_group_is_open_names_every_candidate_and_is_not_sure():
    groups = ("2.3", "1.3", "5.3", "4.3")
    snarl = chip(None, kind="nest", candidates=groups)
    verdict = verdict_of([snarl])
    assert verdict.code == "2.3"
    assert verdict.candidates == groups
    assert not verdict.sure
    named = verdict_of([snarl, chip("2.3", 0.5, kind="nest")])
    assert named.candidates == ("2.3",)
    assert named.sure


def test_an_even_mix_is_not_sure_and_names_the_rivals():
    verdict = verdict_of(
        [*(chip("6.2") for _ in range(4)), *(chip("3.1", 0.9) for _ in range(4))]
    )
    assert not verdict.sure
    assert verdict.candidates == ("6.2", "3.1")


def test_chips_that_are_not_sure_make_no_sure_verdict():
    assert not verdict_of([chip("6.2", sure=False)] * 9).sure


def test_without_a_scale_the_group_is_given_and_no_code():
    tubes = [chip(None, group="2", candidates=("2",))] * 6
    verdict = verdict_of(tubes)
    assert (verdict.code, verdict.main, verdict.group) == (None, None, "2")
    assert verdict.mix == {"2": 1.0}


chips_of_a_photo = st.lists(
    st.builds(
        chip,
        st.sampled_from(CODES),
        st.floats(1e-6, 1e6),
        sure=st.booleans(),
        count=st.one_of(st.none(), st.integers(1, 80)),
    ),
    min_size=1,
    max_size=30,
)


@given(chips=chips_of_a_photo)
def test_rules_that_hold_for_every_photo(chips):
    verdict = verdict_of(chips)
    # Thirty shares are added in floating point: 1e-9 is far more than that loses.
    assert sum(verdict.mix.values()) == pytest.approx(1, abs=1e-9)
    assert all(0 < v <= 1 for v in verdict.mix.values())
    assert list(verdict.mix.values()) == sorted(verdict.mix.values(), reverse=True)
    assert set(verdict.mix) == {c.form for c in chips}
    assert verdict.main == max(verdict.mix, key=verdict.mix.get)
    assert verdict.share == verdict.mix[verdict.code]
    assert verdict.group == verdict.code[:1]
    assert verdict.candidates[0] == verdict.code
    sure_danger = {c.form for c in chips if c.sure and c.form in DANGEROUS}
    if sure_danger:
        assert verdict.code in sure_danger
        assert verdict.sure
    else:
        assert verdict.code == verdict.main
        assert not verdict.sure or sum(c.count or 1 for c in chips) >= 5


@given(chips=chips_of_a_photo, factor=st.floats(0.01, 100))
def test_the_unit_of_volume_does_not_matter(chips, factor):
    scaled = [chip(c.form, c.volume_weight * factor, sure=c.sure, count=c.count) for c in chips]
    one, other = verdict_of(chips), verdict_of(scaled)
    assert other.mix == pytest.approx(one.mix)
    assert set(one.mix) == set(other.mix)


def test_doubts_tell_an_open_nest_from_a_doubtful_form():
    every = ("1.3", "2.3", "4.3", "5.3")
    nest = [chip(None, 9.0, kind="nest", candidates=every)]
    assert doubts_of(verdict_of(nest), nest) == (Flag.NEST_OPEN,)
    # Perhaps no nest at all: then the form is what is in doubt.
    perhaps = [chip(None, 9.0, kind="nest", candidates=every, sure=False)]
    assert doubts_of(verdict_of(perhaps), perhaps) == (Flag.FEW_CHIPS,)
    mixed = [chip(code, sure=False) for code in ("2.2", "5.2") * 3]
    assert doubts_of(verdict_of(mixed), mixed) == (Flag.NOT_SURE,)
    clear = [chip("7") for _ in range(6)]
    assert doubts_of(verdict_of(clear), clear) == ()
    assert doubts_of(None, []) == ()
