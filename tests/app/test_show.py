"""Numbers to text and back. Expected: exact definitions of inch and pound, worked by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.show import (
    Units,
    about,
    convert,
    lab_to_hex,
    metric,
    parse_number,
    parse_numbers,
    quantity,
)

INCH = Units.INCH


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("0,25", 0.25),
        ("0.25", 0.25),
        (" 12 ", 12.0),
        (",5", 0.5),
        ("3,", 3.0),
        ("-0,05", -0.05),
        ("\N{MINUS SIGN}0.05", -0.05),
    ],
)
def test_decimal_comma_and_point(text, expected):
    assert parse_number(text) == expected


@pytest.mark.parametrize(
    "text", ["", "abc", "1,234.5", "1.2.3", "nan", "inf", "1e3", "12 mm", "0x10"]
)
def test_what_is_no_plain_number_is_refused(text):
    with pytest.raises(ValueError, match="not a number"):
        parse_number(text)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("160 260 430", [160, 260, 430]),
        ("160, 260, 430", [160, 260, 430]),
        ("0,04; 0,06", [0.04, 0.06]),
        ("0.04\n0.06", [0.04, 0.06]),
        ("", []),
    ],
)
def test_lists(text, expected):
    assert parse_numbers(text) == expected


@pytest.mark.parametrize(
    ("value", "unit", "inch_text"),
    [
        (25.4, "mm", "1 in"),  # inch: exactly 25.4 mm
        (0.127, "mm/rev", "0.005 in/rev"),  # 5 thousandths
        (30.48, "m/min", "100 ft/min"),  # foot: exactly 0.3048 m
        (745.69987158227022, "W", "1 hp"),  # 550 ft lbf/s from the exact foot and pound
        (4.4482216152605, "N", "1 lbf"),  # exact pound times standard gravity
        (0.1129848290276167, "N m", "1 lbf in"),  # product of the two
        (25.4, "um", "1000 µin"),
        (430, "rev/min", "430 rev/min"),
    ],
)
def test_inch_units(value, unit, inch_text):
    assert quantity(value, unit, INCH) == inch_text


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (0.06, "mm/rev", "0.06 mm/rev"),
        (0.3, "mm", "0.3 mm"),
        (900, "rev/min", "900 rev/min"),
        (0.0004, "mm/rev", "0.0004 mm/rev"),
        (None, "mm", "\N{EN DASH}"),
        (0, "mm", "0 mm"),
        (-0.05, "mm", "\N{MINUS SIGN}0.05 mm"),
        (3, None, "3"),
    ],
)
def test_set_values(value, unit, text):
    assert quantity(value, unit) == text


# Digits: JCGM 100:2008, 7.2.6, worked by hand: the last digit shown is the first of u.
@pytest.mark.parametrize(
    ("measured", "text"),
    [
        ({"value": 61.27, "u": 3.0}, "61 mm"),
        ({"value": 1.1234, "u": 0.05}, "1.12 mm"),
        ({"value": 184.0, "u": 20.0}, "180 mm"),
        ({"value": 12.4, "u": 0.3, "bound": "at_least"}, "at least 12.4 mm"),
        (None, "\N{EN DASH}"),
        ({"value": None, "u": None}, "\N{EN DASH}"),
    ],
)
def test_digits_follow_the_uncertainty(measured, text):
    assert about(measured, "mm") == text


def test_spread_is_two_u():
    assert about({"value": 61.27, "u": 3.0}, "mm", spread=True) == "61 mm ± 6"


@given(
    st.floats(1e-3, 1e4),
    st.sampled_from(["mm", "mm/rev", "m/min", "N", "W", "N m"]),
    st.sampled_from(list(Units)),
)
def test_entered_values_come_back(value, unit, units):
    shown, _ = convert(value, unit, units)
    assert metric(shown, unit, units) == pytest.approx(
        value, rel=1e-12
    )  # two roundings of a float


@given(st.floats(1e-2, 1e4), st.floats(1e-3, 1e2))
def test_text_is_within_the_uncertainty(value, u):
    shown = about({"value": value, "u": u}, "").replace("\N{MINUS SIGN}", "-")
    assert abs(float(shown) - value) <= u  # half of the last digit is at most half of 1 u


# Tolerance: both round to whole steps of 255, so they may differ by one.
@pytest.mark.parametrize(
    "lab",
    [(61.2, -0.3, 19.8), (50.0, 0.0, 0.0), (38.0, 14.0, -42.0), (95.0, 1.0, -2.0), (5, 0, 0)],
)
def test_swatch_agrees_with_colour_science(lab, colour_science):
    colour = colour_science
    white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    expected = np.clip(colour.XYZ_to_sRGB(colour.Lab_to_XYZ(lab, white)), 0, 1) * 255
    got = [int(lab_to_hex(lab)[i : i + 2], 16) for i in (1, 3, 5)]
    assert np.abs(np.asarray(got) - expected).max() <= 1


def test_swatch_of_an_impossible_colour_is_clipped():
    assert lab_to_hex((90.0, -120.0, 120.0)).startswith("#00")
