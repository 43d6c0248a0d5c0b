"""A photo without white paper: something grey is pointed at, and the photo is read again."""

from __future__ import annotations

from contextlib import closing

import pytest

from app.logbook.store import Logbook

OFFER, GO, ANOTHER = (
    "Show me something grey",
    "Read again with this grey",
    "Show me another grey",
)


@pytest.fixture
def page(page, cores, fakes, hands, job):  # noqa: ARG001 - in place before the page is
    """The page with a photo whose colour cannot be trusted; grey lies in its right half."""
    cores.grey_from_x_px = 800  # of 1600
    page.run()
    hands.upload(page, fakes.photo_bytes(1))
    assert not page.exception
    return page


def _labels(page):
    return [b.label for b in page.button]


def _point(page, across, down):
    sliders = {s.label.split(",")[0]: s for s in page.slider}
    sliders["Across"].set_value(across)
    sliders["Down"].set_value(down).run()


def test_it_is_offered_where_the_tint_could_not_be_read(page, data_home, hands):
    assert hands.rows(data_home)[0].reading["heat"] is None
    assert OFFER in _labels(page)
    assert not page.slider
    hands.button(page, OFFER).click().run()
    assert not page.exception
    words = hands.text(page)
    assert "same light as the chips" in words
    assert "Nothing shiny, nothing coloured" in words
    assert [s.value for s in page.slider] == [50, 50]


@pytest.mark.usefixtures("job")
def test_it_is_not_offered_where_white_was_found_or_the_photo_is_no_use(
    cores, fakes, hands, data_home
):
    tab = hands.visit()
    hands.upload(tab, fakes.photo_bytes(2))
    assert OFFER not in _labels(tab)
    cores.grey_from_x_px, cores.usable = 800, "retake"
    with closing(Logbook(data_home)) as book:
        book.fill_pass(hands.rows(data_home)[0].id, reading=None)
    again = hands.visit()
    hands.upload(again, fakes.photo_bytes(3))
    assert again.error
    assert OFFER not in _labels(again)


def test_the_place_reaches_the_reader_and_stays_with_the_photo(page, data_home, cores, hands):
    row = hands.rows(data_home)[0]
    with closing(Logbook(data_home)) as book:
        book.fill_pass(row.id, label="2.2")
    hands.button(page, OFFER).click().run()
    _point(page, 75, 25)
    hands.button(page, GO).click().run()
    assert not page.exception
    assert cores.read_calls[-1][1]["neutral_px"] == (1200, 300)  # of 1600 x 1200
    row = hands.rows(data_home)[0]
    assert row.neutrals_px == ((1200, 300),)
    assert row.reading["heat"]["tint"] == "straw"
    assert row.advice is not None
    assert row.label == "2.2"  # what an eye saw still holds
    assert "Tint by the grey you pointed at" in hands.text(page)
    assert not page.slider
    hands.button(page, ANOTHER).click().run()
    assert [s.value for s in page.slider] == [75, 25]


def test_read_again_later_it_is_the_same(page, fakes, cores, hands):
    hands.button(page, OFFER).click().run()
    _point(page, 75, 25)
    hands.button(page, GO).click().run()
    again = hands.visit()  # nothing is left of the first visit but the logbook
    cores.read_calls.clear()
    cores.grey_from_x_px = 0
    hands.upload(again, fakes.photo_bytes(2))
    assert not again.exception
    places = [options["neutral_px"] for _, options in cores.read_calls]
    assert places == [(1200, 300), None]


def test_a_place_that_cannot_serve_is_told_and_can_be_left_out(page, data_home, cores, hands):
    hands.button(page, OFFER).click().run()
    _point(page, 25, 25)
    hands.button(page, GO).click().run()
    assert "No tint came of the place" in page.warning[0].value
    assert [s.value for s in page.slider] == [25, 25]  # open at once, where it was
    hands.button(page, "Leave this grey out").click().run()
    assert hands.rows(data_home)[0].neutrals_px == (None,)
    assert OFFER in _labels(page)
    assert len(cores.read_calls) == 2  # the first reading is still at hand


def test_going_on_without_changes_nothing(page, data_home, hands):
    before = hands.rows(data_home)
    hands.button(page, OFFER).click().run()
    hands.button(page, "Go on without").click().run()
    assert not page.slider
    assert OFFER in _labels(page)
    assert hands.rows(data_home) == before


def test_of_several_photos_the_one_is_named(page, data_home, fakes, hands):
    hands.upload(page, fakes.photo_bytes(2))
    hands.button(page, OFFER).click().run()
    which = next(g for g in page.get("button_group") if g.label == "Which photo")
    which.set_value(1).run()
    _point(page, 60, 0)
    hands.button(page, GO).click().run()
    assert not page.exception
    row = hands.rows(data_home)[0]
    assert row.neutrals_px == (None, (960, 0))
    assert [bool(c["tint"]) for c in row.reading["chips"]] == [False] * 5 + [True] * 5
    assert row.reading["heat"] is not None


def test_the_log_says_that_a_grey_was_pointed_at(page, hands):
    hands.button(page, OFFER).click().run()
    _point(page, 75, 25)
    hands.button(page, GO).click().run()
    page.switch_page("screens/log.py").run()
    assert not page.exception
    assert "Tint by the grey you pointed at" in hands.text(page)
    assert ANOTHER not in _labels(page)
