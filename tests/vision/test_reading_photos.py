"""Photos turned, empty, or several of one pass; progress told on the way."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from tests.vision.drawn import as_jpeg, matched, tallied
from vision import combine_readings, read_photo
from vision.as_json import reading_json
from vision.errors import NoChips
from vision.reading import parts_of
from vision.synthetic import make_scene


def test_a_turned_phone_gives_the_same_chips_in_upright_pixels(strips):
    """Orientation 6 (Exif 2.32, tag 0x0112): the stored picture is to be turned clockwise."""
    scene, plain = strips
    tags = Image.Exif()
    tags[0x0112] = 6
    stored = np.rot90(scene.rgb, 1)  # anticlockwise, so that clockwise makes it upright
    turned = read_photo(as_jpeg(stored, exif=tags.tobytes()))
    assert turned.size_px == plain.size_px
    assert turned.scale.px_per_mm.value == pytest.approx(plain.scale.px_per_mm.value, rel=0.003)
    numbers = {d.number for d, _ in matched(scene, plain)}
    again = {d.number for d, _ in matched(scene, turned)}
    # Another JPEG of the same picture: one chip at the edge of "half" may change sides.
    assert len(numbers ^ again) <= 1
    assert len(again) >= 4


def test_an_empty_card_has_no_chips():
    scene = make_scene(np.random.default_rng(5), chips=[])
    with pytest.raises(NoChips) as nothing:
        read_photo(scene.jpeg)
    assert nothing.value.code == "no-chips"
    assert len(nothing.value.message) > 20


def test_a_shadow_and_a_spot_of_oil_are_no_chips():
    scene = make_scene(np.random.default_rng(5), chips=[], distractors=("shadow", "oil"))
    with pytest.raises(NoChips):
        read_photo(scene.jpeg)


def test_two_photos_of_a_pass_make_one_reading(strips):
    _, reading = strips
    first, second = (
        replace(reading, photo=name, photos=(name,)) for name in ("a.jpg", "b.jpg")
    )
    both = combine_readings([first, second])
    assert both.photos == ("a.jpg", "b.jpg")
    assert [c.number for c in both.chips] == list(range(1, 2 * len(reading.chips) + 1))
    assert tallied(both.chips) == tallied([*reading.chips, *reading.chips])
    assert both.form.main == reading.form.main
    assert both.form.mix == pytest.approx(reading.form.mix)
    outlines = [c.outline_px for c in reading.chips]
    assert all(
        a.outline_px is b for a, b in zip(both.chips, [*outlines, *outlines], strict=True)
    )


def test_each_photo_of_a_pass_is_drawn_with_the_numbers_of_the_whole(strips):
    _, reading = strips
    count = len(reading.chips)
    small = replace(reading, photo="b.jpg", sha256s=("b",), chips=reading.chips[:2])
    both = combine_readings([reading, small])
    assert [c.photo_number for c in both.chips] == [1] * count + [2] * 2
    assert both.sha256s == (reading.sha256, "b")
    first, second = parts_of(both, [reading, small])
    assert first == reading
    assert [c.number for c in second.chips] == [count + 1, count + 2]
    assert second.photo == "b.jpg"
    assert second.chips[1].outline_px is reading.chips[1].outline_px
    told = reading_json(both)
    assert [c["photo_number"] for c in told["chips"]] == [1] * count + [2] * 2
    assert told["sha256s"] == [reading.sha256, "b"]


def test_a_reading_of_several_can_take_in_another(strips):
    _, reading = strips
    two = combine_readings([reading, reading])
    three = combine_readings([two, reading])
    assert len(three.photos) == len(three.sha256s) == 3
    assert {c.photo_number for c in three.chips} == {1, 2, 3}


def test_one_reading_stays_itself_and_none_is_a_mistake(strips):
    _, reading = strips
    assert combine_readings([reading]) is reading
    with pytest.raises(ValueError, match="no readings"):
        combine_readings([])


def test_progress_is_told_and_never_goes_back(strips):
    scene, _ = strips
    told = []
    read_photo(scene.jpeg, progress=lambda stage, share: told.append((stage, share)))
    shares = [share for _, share in told]
    assert shares == sorted(shares)
    assert (shares[0], shares[-1]) == (0.0, 1.0)
    assert len({stage for stage, _ in told}) == len(told) >= 4
