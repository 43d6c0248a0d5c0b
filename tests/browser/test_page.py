"""The page in a real browser, on a phone and on a desk: reach, reading, reload, privacy."""

from __future__ import annotations

from contextlib import closing
from urllib.parse import urlsplit

import pytest

from app.logbook.store import Logbook

pytestmark = pytest.mark.browser

TARGET_MIN_PX = 44  # WCAG 2.2, 2.5.5
MAIN_MIN_PX = 72  # ours: an oily thumb

#: Everything a finger can press; the skip link shows itself only to keyboards. An input
#: counts with the box drawn around it, a slider with its knob.
SMALL_TARGETS = """limit => [...document.querySelectorAll(
    'button, a[href], summary, [role=radio], [role=button], [role=combobox],'
    + 'input:not([type=file])')]
  .filter(e => {
    const r = e.getBoundingClientRect(), s = getComputedStyle(e);
    return r.width > 1 && r.height > 1 && s.visibility !== 'hidden' && s.opacity !== '0';
  })
  .filter(e => {
    const around = e.type === 'range' ? e.parentElement.parentElement
      : e.closest('[data-baseweb], [data-testid=stTextInputRootElement]') || e;
    return Math.max(...[e, around].map(x => x.getBoundingClientRect().height)) < limit;
  })
  .map(e => `${e.tagName} ${e.innerText || e.ariaLabel} ${e.getBoundingClientRect().height}`)
"""

SIDEWAYS = "() => document.documentElement.scrollWidth - window.innerWidth"


def _comfortable(tab):
    assert tab.evaluate(SIDEWAYS) <= 0, "the page scrolls sideways"
    assert tab.evaluate(SMALL_TARGETS, TARGET_MIN_PX) == []


def _no_traceback(tab):
    assert tab.locator("[data-testid=stException]").count() == 0
    assert "Traceback" not in tab.inner_text("body")


def _take_photo(tab, photo, settled):
    tab.locator("input[type=file]").first.set_input_files(photo)
    tab.get_by_text("Form", exact=True).first.wait_for()
    settled(tab)


@pytest.mark.parametrize("screen", ["", "log", "setup", "about"])
def test_every_screen_is_within_reach(visit, screen):
    tab = visit(screen)
    _no_traceback(tab)
    _comfortable(tab)
    assert tab.get_by_role("link", name="Read", exact=True).is_visible()


@pytest.mark.usefixtures("job")
def test_photo_to_advice_reload_and_logbook(visit, settled, fresh_photo, home):
    tab = visit()
    _take_photo(tab, fresh_photo(), settled)
    _no_traceback(tab)
    _comfortable(tab)

    picture = tab.locator("[data-testid=stImage] img").first
    assert picture.get_attribute("alt").startswith("Photo with")
    assert picture.evaluate("e => e.complete && e.naturalWidth > 300")
    verdict = tab.locator("h2").first.inner_text()
    seen = tab.locator(".bc-facts").first.inner_text()
    assert verdict
    assert "pass=" in tab.url

    tab.reload()
    settled(tab)
    assert tab.locator("h2").first.inner_text() == verdict
    assert tab.locator(".bc-facts").first.inner_text() == seen

    # A doubtful reading has only the way on; a sound one has the large button as well.
    main = tab.locator("[class*=st-key-main-answer] button")
    if main.count():
        assert main.bounding_box()["height"] >= MAIN_MIN_PX
    way_on = main if main.count() else tab.locator("[class*=st-key-no-] button")
    changed = main.count() > 0
    way_on.click()
    settled(tab)
    _no_traceback(tab)
    with closing(Logbook(home)) as book:
        last = max(book.passes(), key=lambda row: row.id)
    assert last.followed is changed
    assert last.reading["schema"] == "bluecurl.reading/1"
    assert last.advice["schema"] == "bluecurl.advice/1"
    tab.get_by_role("link", name="Log", exact=True).click()
    settled(tab)
    assert tab.get_by_text("Pass 1:").first.is_visible()
    _comfortable(tab)


@pytest.mark.usefixtures("job")
def test_two_photos_at_once_are_one_pass_and_one_can_be_taken_out(
    visit, settled, fresh_photo, home
):
    tab = visit()
    _take_photo(tab, [fresh_photo("one"), fresh_photo("two")], settled)
    _no_traceback(tab)
    _comfortable(tab)
    pictures = tab.locator("[data-testid=stImage] img")
    assert pictures.count() == 2
    assert [pictures.nth(n).get_attribute("alt")[:7] for n in (0, 1)] == ["Photo 1", "Photo 2"]
    assert tab.get_by_text("2 taken together").is_visible()
    with closing(Logbook(home)) as book:
        both = max(book.passes(), key=lambda row: row.id)
    assert len(both.photo_sha256s) == len(both.reading["photos"]) == 2
    assert {chip["photo_number"] for chip in both.reading["chips"]} == {1, 2}

    tab.get_by_role("button", name="Take out").first.click()
    settled(tab)
    assert pictures.count() == 1
    with closing(Logbook(home)) as book:
        one = book.one_pass(both.id)
    assert one.photo_sha256s == both.photo_sha256s[1:]
    assert 2 * len(one.reading["chips"]) == len(both.reading["chips"])


@pytest.mark.usefixtures("job")
def test_a_thickness_typed_on_the_page_is_kept_and_answered(visit, settled, fresh_photo, home):
    tab = visit()
    _take_photo(tab, fresh_photo(), settled)
    tab.get_by_text("Thickness and width of the chip").click()
    tab.get_by_role("radio", name="micrometer").click()
    settled(tab)
    field = tab.get_by_label("Thickness at one place or several, mm")
    field.fill("0,24 0.25")
    field.press("Enter")
    settled(tab)
    _no_traceback(tab)
    _comfortable(tab)
    assert tab.get_by_text("thick by micrometer").is_visible()
    assert tab.get_by_text("best sign of a dulling edge under oil").first.is_visible()
    with closing(Logbook(home)) as book:
        row = max(book.passes(), key=lambda row: row.id)
    assert row.told["chip"] == {"thickness_mm": [0.24, 0.25]}
    assert row.advice["gauges"]["thickness"]["thickness_mm"]["value"] == 0.245


def _slide(tab, name, percent, settled):
    """Bring a slider to a place by the keyboard."""
    tab.get_by_role("slider", name=name).focus()
    tab.keyboard.press("Home")
    for _ in range(percent):
        tab.keyboard.press("ArrowRight")
    settled(tab)


@pytest.mark.usefixtures("job")
def test_something_grey_gives_a_tint_where_no_white_was_found(
    visit, settled, yellow_photo, home
):
    tab = visit()
    _take_photo(tab, yellow_photo, settled)
    assert "not read" in tab.locator(".bc-facts").first.inner_text()
    tab.get_by_role("button", name="Show me something grey").click()
    settled(tab)
    cross = tab.locator("[class*=st-key-grey-] [data-testid=stImage] img")
    first = cross.get_attribute("src")
    _slide(tab, "Across", 5, settled)
    _slide(tab, "Down", 6, settled)
    assert cross.get_attribute("alt") == "The photo with a cross 5 % across and 6 % down."
    assert cross.get_attribute("src") != first
    assert cross.evaluate("e => e.complete && e.naturalWidth > 300")
    _comfortable(tab)

    tab.get_by_role("button", name="Read again with this grey").click()
    tab.get_by_text("Tint by the grey you pointed at").wait_for()
    settled(tab)
    _no_traceback(tab)
    _comfortable(tab)
    with closing(Logbook(home)) as book:
        row = max(book.passes(), key=lambda row: row.id)
    width, height = row.reading["size_px"]
    assert row.neutrals_px == ((5 * width // 100, 6 * height // 100),)
    assert row.reading["heat"]["film_nm"]["u"] > 0
    assert "not read" not in tab.locator(".bc-facts").first.inner_text()


@pytest.mark.usefixtures("job")
def test_nothing_leaves_this_computer(visit, settled, fresh_photo, address):
    tab = visit()
    _take_photo(tab, fresh_photo(), settled)
    for screen in ("log", "setup", "about"):
        visit(screen)
    hosts = {
        urlsplit(url).netloc for url in tab.asked if not url.startswith(("data:", "blob:"))
    }
    assert hosts == {urlsplit(address).netloc}


@pytest.mark.usefixtures("job")
def test_a_broken_photo_is_told_in_words(visit, settled, tmp_path):
    broken = tmp_path / "broken.jpg"
    broken.write_bytes(b"\xff\xd8\xff\xe0 cut short")
    tab = visit()
    tab.locator("input[type=file]").first.set_input_files(broken)
    tab.get_by_text("photo-unreadable").wait_for()
    settled(tab)
    _no_traceback(tab)
    _comfortable(tab)


def test_a_demo_is_two_taps_away_from_an_advice(visit, settled, home):
    with closing(Logbook(home)) as book:
        before = len(book.passes())
    tab = visit()
    opener = tab.get_by_text("Try a demo photo")
    if opener.count():
        opener.click()
    tab.locator("[class*=st-key-demo-] button").first.click()
    tab.get_by_text("Form", exact=True).first.wait_for()
    settled(tab)
    _no_traceback(tab)
    _comfortable(tab)
    assert tab.locator("h2").count() >= 1
    with closing(Logbook(home)) as book:
        assert len(book.passes()) == before


def test_the_keyboard_reaches_everything(visit):
    """WCAG 2.2, 2.1.1: Tab alone comes to every link of the row on top."""
    tab = visit()
    reached = set()
    for _ in range(12):
        tab.keyboard.press("Tab")
        reached.add(tab.evaluate("() => document.activeElement.innerText?.trim()"))
    assert {"Read", "Log", "Set-up", "About"} <= reached
