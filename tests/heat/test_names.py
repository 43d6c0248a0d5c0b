"""Families of metals and the names of tints."""

from __future__ import annotations

from itertools import pairwise

import pytest

from vision.heat.names import TINT_FILM_NM, family_of, names_of, tint_band_nm, tint_name
from vision.heat.optics import film_lab
from vision.terms import TINTS


@pytest.mark.parametrize(
    ("metal", "family"),
    [
        # Designations of UNS and EN for the same metals (common practice, no source).
        *((m, "steel") for m in ("1018", "12L14", "1045", "4140", "O1", "grey iron")),
        *((m, "stainless") for m in ("303", "304", "316", "S30400", "1.4301")),
        *((m, "titanium") for m in ("Ti grade 2", "Ti-6Al-4V", "ti 6al 4v", "R56400")),
        *((m, "none") for m in ("6061", "C360", "bronze", "EN AW-6061")),
        *((m, None) for m in (None, "", "oak", "unobtainium")),
    ],
)
def test_family_of_a_metal(metal, family):
    assert family_of(metal) == family


@pytest.mark.parametrize("family", ["steel", "stainless", "titanium"])
def test_names_cover_every_film_once_and_in_order(family):
    names = TINTS[: len(TINT_FILM_NM[family])]
    edges = [tint_band_nm(n, family) for n in names]
    assert edges[0][0] == 0.0
    assert edges[-1][1] == float("inf")
    assert all(a[1] == b[0] for a, b in pairwise(edges))
    assert [tint_name(d, family) for d in TINT_FILM_NM[family]] == list(names)


def test_only_titanium_has_a_second_order():
    assert tint_name(112, "titanium") == "second yellow"
    assert tint_name(135, "titanium") == "second purple"
    assert tint_name(200, "steel") == "grey"


@pytest.mark.parametrize(
    ("lab", "family", "names"),
    [
        # Colours and names of the fact base's table for a 15 % spread (computed apart
        # from this package). On titanium the yellows coincide, so both must stand.
        ((77.0, 0.4, 2.0), "steel", {"bright"}),
        ((60.9, -0.4, 20.3), "steel", {"straw"}),
        ((27.4, 19.9, -6.5), "steel", {"purple"}),
        ((25.2, 21.6, -43.6), "steel", {"dark blue"}),
        ((67.3, 1.7, 25.9), "titanium", {"straw", "second yellow"}),
        ((77.2, 1.3, 29.7), "titanium", {"straw", "second yellow"}),
        ((46.5, -1.5, -30.2), "stainless", {"blue"}),
    ],
)
def test_names_of_table_colours(fix_of, lab, family, names):
    fix = fix_of(lab, family=family, u_colour=1.5)
    near, sure = names_of(fix, family)
    assert names <= set(near)
    assert sure == (len(near) == 1)


def test_grey_without_a_clear_hue_may_be_bright_or_burnt(fix_of):
    # Between bare steel (warm) and burnt grey (greenish): neither can be ruled out.
    fix = fix_of((60.0, -2.5, -2.5), family="steel", u_colour=4.0)
    near, sure = names_of(fix, "steel")
    assert {"bright", "grey"} <= set(near)
    assert not sure


def test_straw_of_an_unnamed_metal_is_never_sure(fix_of):
    # It may be bare brass: 70/30 brass is L* 90.8, a* -2.5, b* 28.6 (computed from
    # Querry's n and k), a yellow like straw. Blue is no metal's own colour.
    straw = fix_of(
        film_lab("fe3o4", "fe", film_nm=20.0, spread=0.15), family=None, u_colour=1.0
    )
    assert not names_of(straw, None)[1]
    brass = fix_of((90.8, -2.5, 28.6), family=None, u_colour=2.0)
    assert brass is None or not names_of(brass, None)[1]
