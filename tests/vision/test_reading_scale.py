"""Without a card, with a typed scale, with a card printed small: millimetres or none."""

from __future__ import annotations

import numpy as np
import pytest

from tests.vision.drawn import field_corners, matched, true_density
from vision import read_photo
from vision.as_json import reading_json
from vision.errors import CardNotFound
from vision.terms import Flag


def assert_no_millimetres(found):
    """Every field of the JSON that ends in _mm is null, however deep."""
    if isinstance(found, dict):
        for key, value in found.items():
            if key.endswith("_mm"):
                assert value is None, key
            assert_no_millimetres(value)
    elif isinstance(found, list):
        for value in found:
            assert_no_millimetres(value)


def test_without_a_card_nothing_is_in_millimetres(bare):
    reading = read_photo(bare)
    assert (reading.scale.source, reading.scale.px_per_mm) == ("none", None)
    assert Flag.NO_SCALE in reading.flags
    assert reading.usable != "yes"
    plain = reading_json(reading)
    plain["scale"].pop("px_per_mm")  # a density, not a length, and checked above
    assert_no_millimetres(plain)
    assert reading.chips
    for chip in reading.chips:
        assert chip.group is not None or chip.kind == "nest"
        assert chip.outline_px
        # Long and short are words about millimetres.
        if chip.kind == "chip" and chip.group in ("1", "2", "4", "5"):
            assert chip.form is None


def test_a_photo_without_card_is_refused_where_the_card_is_needed(bare):
    with pytest.raises(CardNotFound) as refused:
        read_photo(bare, need_card=True)
    assert refused.value.code == "card-not-found"
    assert len(refused.value.message) > 20


def test_a_typed_scale_gives_millimetres(bare, strips):
    scene, _ = strips
    density = true_density(scene, *field_corners(scene).mean(axis=0))
    reading = read_photo(bare, px_per_mm=density)
    assert reading.scale.source == "typed"
    assert reading.scale.px_per_mm.value == pytest.approx(density)
    assert Flag.NO_SCALE not in reading.flags
    longest = max(c.geometry.extent_mm.value for c in reading.chips if c.geometry.extent_mm)
    # The camera is tilted by 8 degrees, which a typed scale cannot know: a few percent
    # between the near and the far side of the sheet.
    true = max(c.extent_mm for c in scene.chips)
    assert longest == pytest.approx(true, rel=0.1)


def test_the_card_wins_over_a_typed_scale(strips):
    scene, reading = strips
    typed = read_photo(scene.jpeg, px_per_mm=3.0, name="drawn.jpg")
    assert typed.scale == reading.scale


def test_a_card_printed_small_shrinks_every_length(strips):
    """A line of 100 mm that measures 97: every length is 0.97 of what it was.

    1.5 %: the picture is flattened anew at another density, so outlines move by a part of
    a pixel.
    """
    scene, plain = strips
    small = read_photo(scene.jpeg, check_line_mm=97.0)
    ratio = small.scale.px_per_mm.value / plain.scale.px_per_mm.value
    assert ratio == pytest.approx(1 / 0.97, rel=0.002)
    extents = {}
    for drawn, read in matched(scene, plain):
        extents[drawn.number] = [read.geometry.extent_mm]
    for drawn, read in matched(scene, small):
        extents.setdefault(drawn.number, []).append(read.geometry.extent_mm)
    ratios = [
        b.value / a.value for a, b in (e for e in extents.values() if len(e) == 2) if a and b
    ]
    assert len(ratios) >= 4
    assert np.median(ratios) == pytest.approx(0.97, rel=0.015)
