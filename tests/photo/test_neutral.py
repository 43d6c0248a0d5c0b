"""A neutral that a person points at: what it does to tints, and where it is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.vision.drawn import as_jpeg
from vision.photo.colour import srgb_from_linear
from vision.photo.neutral import with_tapped_neutral
from vision.photo.opened import open_photo
from vision.terms import Flag

#: Linear colour of a grey thing under a warm lamp, and of other spots on the bench.
WARM = np.array([0.40, 0.28, 0.16])
SPOTS = {
    "grey": (WARM, None),
    "red": (np.array([0.5, 0.05, 0.05]), None),
    "dark": (0.02 * WARM, None),
    "clipped": (np.array([1.0, 1.0, 1.0]), None),
    "rough": (WARM, 0.5),
}


@pytest.fixture
def bench(rng):
    """A photo of a brown bench with one square of each kind, and where they lie."""
    picture = np.tile(np.array([0.10, 0.05, 0.02]), (600, 1000, 1))
    at = {}
    for k, (name, (colour, scatter)) in enumerate(SPOTS.items()):
        left = 40 + 190 * k
        square = np.tile(colour, (120, 120, 1))
        if scatter:
            square *= rng.uniform(1 - scatter, 1 + scatter, (120, 120, 1))
        picture[200:320, left : left + 120] = square
        at[name] = (left + 60.0, 260.0)
    jpeg = as_jpeg(srgb_from_linear(np.clip(picture, 0, 1).astype(np.float32)))
    return open_photo(jpeg), at


def test_a_grey_spot_gives_the_colour_of_the_lamp(bench):
    opened, at = bench
    assert Flag.NO_NEUTRAL in opened.light.flags
    light = with_tapped_neutral(opened.light, opened.plane, at["grey"])
    luma = WARM @ np.array([0.2126, 0.7152, 0.0722])  # IEC 61966-2-1
    # 3 %: eight-bit coding and JPEG.
    assert light.tapped == pytest.approx(WARM / luma, rel=0.03)
    assert Flag.NO_NEUTRAL not in light.flags


@pytest.mark.parametrize("spot", ["red", "dark", "clipped", "rough"])
def test_what_is_no_neutral_is_refused(bench, spot):
    opened, at = bench
    light = with_tapped_neutral(opened.light, opened.plane, at[spot])
    assert light.tapped is None
    assert Flag.NO_NEUTRAL in light.flags


def test_a_point_outside_the_photo_is_refused(bench):
    opened, _ = bench
    assert with_tapped_neutral(opened.light, opened.plane, (1000.0, 10.0)).tapped is None


def test_the_sheets_own_white_goes_first(bench):
    opened, at = bench
    found = replace(opened.light, neutral=True)
    assert with_tapped_neutral(found, opened.plane, at["grey"]) is found


def test_balance_for_finding_chips_does_not_change(bench):
    opened, at = bench
    light = with_tapped_neutral(opened.light, opened.plane, at["grey"])
    view = np.full((8, 8, 3), 0.3, np.float32)
    box = (0.0, 0.0, 1.0, 1.0)
    assert np.array_equal(light.apply(view.copy(), box), opened.light.apply(view.copy(), box))
