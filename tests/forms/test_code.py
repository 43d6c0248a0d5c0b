"""Codes: the limits and words of the contract, written out here again by hand.

Long is 100 mm along a ribbon and 50 mm of coil along its axis; within 15 % both codes
stand. Limits are the project's own (common practice, no source): ISO 3685 gives words.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vision.forms.code import code_of
from vision.records import ChipGeometry, Measured

SIZE = {"1": "length_mm", "2": "coil_length_mm", "4": "coil_length_mm", "5": "coil_length_mm"}
LIMIT = {"1": 100.0, "2": 50.0, "4": 50.0, "5": 50.0}


def sized(group, mm, bound=None, **more):
    return ChipGeometry(**{SIZE[group]: Measured(value=mm, u=1.0, bound=bound), **more})


@pytest.mark.parametrize("group", SIZE)
@pytest.mark.parametrize(
    ("share", "words"),
    [
        (0.05, "2"),
        (0.84, "2"),
        (0.86, "21"),
        (0.99, "21"),
        (1.01, "12"),
        (1.14, "12"),
        (1.16, "1"),
        (8.0, "1"),
    ],
)
def test_long_short_and_the_grey_zone_between(group, share, words):
    codes = code_of(group, sized(group, share * LIMIT[group]), nest=False)
    assert codes == tuple(f"{group}.{w}" for w in words)


@pytest.mark.parametrize("group", SIZE)
@given(share=st.floats(0.01, 20))
def test_two_codes_exactly_in_the_grey_zone(group, share):
    codes = code_of(group, sized(group, share * LIMIT[group]), nest=False)
    if abs(share - 0.85) > 1e-6 and abs(share - 1.15) > 1e-6:  # rounding decides there
        assert (len(codes) == 2) == (0.85 < share < 1.15)
    likelier = f"{group}.1" if share >= 1 else f"{group}.2"
    if abs(share - 1) > 1e-9:
        assert codes[0] == likelier


def test_a_ribbon_goes_by_its_line_and_a_coil_by_its_axis():
    # 400 mm of metal wound into 20 mm of coil is a short coil; a ribbon of it is long.
    both = ChipGeometry(
        length_mm=Measured(value=400, u=5), coil_length_mm=Measured(value=20, u=0.5)
    )
    assert code_of("2", both, nest=False) == ("2.2",)
    assert code_of("1", both, nest=False) == ("1.1",)


@pytest.mark.parametrize("group", SIZE)
def test_no_size_no_code(group):
    assert code_of(group, ChipGeometry(), nest=False) == ()


@pytest.mark.parametrize("group", SIZE)
def test_at_least_short_may_be_long(group):
    limit = LIMIT[group]
    long, short = f"{group}.1", f"{group}.2"
    assert set(code_of(group, sized(group, 0.4 * limit, "at_least"), nest=False)) == {
        long,
        short,
    }
    assert code_of(group, sized(group, 1.3 * limit, "at_least"), nest=False) == (long,)


@pytest.mark.parametrize("group", "12345678")
@pytest.mark.parametrize(
    "geometry", [ChipGeometry(), ChipGeometry(length_mm=Measured(value=900, u=9))]
)
def test_snarled_needs_no_scale_and_only_four_groups_snarl(group, geometry):
    codes = code_of(group, geometry, nest=True)
    assert codes == ((f"{group}.3",) if group in "1245" else ())


@pytest.mark.parametrize("label", ["3.1", "3.2", "6.1", "6.2", "7", "8"])
def test_words_of_shape_pass_through(label):
    huge = ChipGeometry(
        length_mm=Measured(value=500, u=5), coil_length_mm=Measured(value=500, u=5)
    )
    assert code_of(label, ChipGeometry(), nest=False) == (label,)
    assert code_of(label, huge, nest=False) == (label,)
