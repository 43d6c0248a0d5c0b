"""The photos of a pass on the page: good and bad ones, several at once, taken out again."""

from __future__ import annotations

from contextlib import closing

import pytest

from app.intake import from_upload
from app.logbook.store import Logbook

pytestmark = pytest.mark.usefixtures("cores")


def test_a_reading_cut_short_is_made_up_for(page, job, data_home, fakes, hands):
    photo = from_upload("chips.jpg", fakes.photo_bytes())
    with closing(Logbook(data_home)) as book:
        book.keep_photo(photo)
        book.add_pass(job.id, cut=hands.CUT, photo_sha256s=[photo.sha256])
    page.run()
    assert hands.rows(data_home)[0].reading is not None
    assert "long tubular coil (2.1)" in hands.text(page)


@pytest.mark.usefixtures("job")
def test_a_bad_photo_is_told_in_words_and_the_next_one_works(page, data_home, fakes, hands):
    page.run()
    hands.upload(page, b"no picture", name="broken.jpg")
    assert not page.exception
    assert "photo-unreadable" in page.error[0].value
    assert "cannot be read as a photo" in page.error[0].value
    assert len(hands.rows(data_home)) == 1
    hands.upload(page, fakes.photo_bytes())
    assert not page.error
    (row,) = hands.rows(data_home)
    assert row.reading is not None, "the second photo belongs to the same pass"


@pytest.mark.usefixtures("job")
def test_the_same_photo_for_a_second_pass_is_noticed(page, data_home, fakes, hands):
    page.run()
    hands.upload(page, fakes.photo_bytes())
    hands.button(page, "I changed it").click().run()
    hands.upload(page, fakes.photo_bytes())
    assert "already belongs to pass 1" in page.info[0].value
    assert len(hands.rows(data_home)) == 1


@pytest.mark.usefixtures("job")
def test_a_photo_to_take_again_says_so(page, fakes, cores, hands):
    cores.usable = "retake"
    page.run()
    hands.upload(page, fakes.photo_bytes())
    assert "Take the photo again" in page.error[0].value
    assert "Use soft light" in page.error[0].value


@pytest.mark.usefixtures("job")
def test_several_photos_at_once_are_one_pass_and_one_reading(page, data_home, fakes, hands):
    page.run()
    hands.upload(page, fakes.photo_bytes(1), fakes.photo_bytes(2))
    assert not page.exception
    (row,) = hands.rows(data_home)
    assert len(row.photo_sha256s) == 2
    assert [c["photo_number"] for c in row.reading["chips"]] == [1] * 5 + [2] * 5
    assert [c["number"] for c in row.reading["chips"]] == list(range(1, 11))
    text = hands.text(page)
    assert "Photo 1 of 2: chips 1 to 5" in text
    assert "Photo 2 of 2: chips 6 to 10" in text
    assert "2 taken together, good photo" in text
    # Each photo is kept with its own outlines drawn in.
    drawn = {path.stem: path.read_bytes() for path in (data_home / "pictures").iterdir()}
    assert set(drawn) == set(row.photo_sha256s)
    assert len(set(drawn.values())) == 2


@pytest.mark.usefixtures("job")
def test_a_photo_joins_the_pass_and_what_was_read_is_not_read_again(
    page, data_home, fakes, cores, hands
):
    page.run()
    hands.upload(page, fakes.photo_bytes(1))
    assert len(cores.read_calls) == 1
    hands.upload(page, fakes.photo_bytes(2))
    assert not page.exception
    assert len(cores.read_calls) == 2
    (row,) = hands.rows(data_home)
    assert len(row.reading["chips"]) == 10
    assert cores.cases[-1]["passes"][-1]["reading"]["photos"] == ["chips.jpg"] * 2


@pytest.mark.usefixtures("job")
def test_a_photo_can_be_taken_out_again(page, data_home, fakes, hands):
    page.run()
    hands.upload(page, fakes.photo_bytes(1), fakes.photo_bytes(2))
    first, second = hands.rows(data_home)[0].photo_sha256s
    hands.button(page, "Take out").click().run()
    assert not page.exception
    (row,) = hands.rows(data_home)
    assert row.photo_sha256s == (second,)
    assert len(row.reading["chips"]) == 5
    assert row.reading["sha256"] == second
    assert not [b for b in page.button if b.label == "Take out"]
    assert first  # and its file stays with the logbook
    assert len(list((data_home / "photos").iterdir())) == 2


@pytest.mark.usefixtures("job")
def test_one_bad_photo_among_several_is_told_by_name_and_left_out(
    page, data_home, fakes, hands
):
    page.run()
    files = [
        ("good.jpg", fakes.photo_bytes(1), "image/jpeg"),
        ("empty.jpg", fakes.photo_bytes(2), "image/jpeg"),
    ]
    page.get("file_uploader")[0].set_value(files).run()
    assert not page.exception
    assert page.error[0].value.startswith("empty.jpg: ")
    assert "no-chips" in page.error[0].value
    (row,) = hands.rows(data_home)
    assert len(row.photo_sha256s) == 1
    assert len(row.reading["chips"]) == 5


@pytest.mark.usefixtures("job")
def test_a_photo_that_is_no_use_is_replaced_not_joined(page, data_home, fakes, cores, hands):
    cores.usable = "retake"
    page.run()
    hands.upload(page, fakes.photo_bytes(1))
    (bad,) = hands.rows(data_home)[0].photo_sha256s
    assert page.get("file_uploader")[0].label == "A better photo, instead"
    cores.usable = "yes"
    hands.upload(page, fakes.photo_bytes(2))
    (row,) = hands.rows(data_home)
    assert len(row.photo_sha256s) == 1
    assert row.photo_sha256s[0] != bad


@pytest.mark.usefixtures("job")
def test_the_same_photo_twice_counts_once(page, data_home, fakes, hands):
    page.run()
    hands.upload(page, fakes.photo_bytes(1), fakes.photo_bytes(1))
    hands.upload(page, fakes.photo_bytes(1))
    assert "already belongs to this pass" in page.info[0].value
    (row,) = hands.rows(data_home)
    assert len(row.photo_sha256s) == 1


@pytest.mark.usefixtures("job")
def test_photos_beyond_ten_are_left(page, data_home, fakes, hands):
    page.run()
    hands.upload(page, *(fakes.photo_bytes(n, size=(160, 120)) for n in range(12)))
    assert "Only 10 photos" in page.info[0].value
    assert len(hands.rows(data_home)[0].photo_sha256s) == 10


@pytest.mark.usefixtures("job")
def test_the_log_shows_every_photo_of_a_pass(page, fakes, hands):
    page.run()
    hands.upload(page, fakes.photo_bytes(1), fakes.photo_bytes(2))
    page.switch_page("screens/log.py").run()
    assert not page.exception
    assert "Photo 2 of 2: chips 6 to 10" in hands.text(page)
    assert not [b for b in page.button if b.label == "Take out"]


@pytest.mark.usefixtures("job")
def test_a_picture_that_is_gone_does_not_shift_the_others(page, data_home, fakes, hands):
    page.run()
    hands.upload(page, fakes.photo_bytes(1), fakes.photo_bytes(2))
    first, second = hands.rows(data_home)[0].photo_sha256s
    (data_home / "pictures" / f"{first}.jpg").unlink()
    page.run()
    assert not page.exception
    assert "Photo 2 of 2: chips 6 to 10" in hands.text(page)
    next(b for b in page.button if b.label == "Take out").click().run()
    assert hands.rows(data_home)[0].photo_sha256s == (second,)
