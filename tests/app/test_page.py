"""The page, driven without a browser: words, values and rows of the logbook, not layout."""

from __future__ import annotations

import json
from contextlib import closing

import pytest

from app.logbook.store import Logbook
from app.settings import Settings, load_settings, save_settings
from app.show import Units

pytestmark = pytest.mark.usefixtures("cores")


def test_first_visit_explains_and_offers_the_set_up(page, hands):
    page.run()
    assert not page.exception
    assert "Photograph your chips" in page.title[0].value
    assert hands.button(page, "Set up")


@pytest.mark.usefixtures("job")
def test_from_photo_to_advice_to_logbook(page, data_home, fakes, cores, hands):
    page.run()
    assert "A careful first cut" in hands.text(page)
    hands.upload(page, fakes.photo_bytes())
    assert not page.exception
    text = hands.text(page)
    assert "long tubular coil (2.1)" in text
    assert "straw" in text
    assert "0.04 mm/rev → 0.06 mm/rev" in text
    assert "Shorter coils" in text
    assert "Go back and take more depth" in text
    assert "Stop the lathe before you clear long chips" in text

    (row,) = hands.rows(data_home)
    assert row.reading["form"]["code"] == "2.1"
    assert row.advice["change"]["to"] == 0.06
    assert row.followed is None
    assert row.versions["program"].startswith("bluecurl")

    # The reader was told the metal, the advisor got the reading inside a case of the contract.
    assert cores.read_calls[-1][1]["metal"] == "Ti-6Al-4V"
    case = cores.cases[-1]
    assert case["schema"] == "bluecurl.case/1"
    assert case["passes"][-1]["reading"]["form"]["code"] == "2.1"
    assert case["passes"][-1]["cut"]["spindle_rev_min"] == 900

    hands.button(page, "I changed it").click().run()
    (row,) = hands.rows(data_home)
    assert row.followed is True
    # The next pass starts from the advised cut.
    assert any("Pass 2" in e.label and "0.06 mm/rev" in e.label for e in page.expander)


@pytest.mark.usefixtures("job")
def test_not_now_keeps_the_old_settings(page, data_home, fakes, hands):
    page.run()
    hands.upload(page, fakes.photo_bytes())
    hands.button(page, "Not now").click().run()
    assert hands.rows(data_home)[0].followed is False
    assert any("Pass 2" in e.label and "0.04 mm/rev" in e.label for e in page.expander)


@pytest.mark.usefixtures("job")
def test_a_new_visit_finds_the_pass_in_hand(page, fakes, cores, hands):
    page.run()
    hands.upload(page, fakes.photo_bytes())
    calls = len(cores.read_calls)
    again = hands.visit()
    assert "0.04 mm/rev → 0.06 mm/rev" in hands.text(again)
    assert len(cores.read_calls) == calls, "a kept reading is not made again"


@pytest.mark.usefixtures("job")
def test_a_fault_of_ours_shows_no_traceback_and_no_secret(page, fakes, data_home, hands):
    page.run()
    hands.upload(page, fakes.photo_bytes(), name="fault.jpg")
    assert not page.exception
    shown = page.error[0].value
    assert "unexpected" in shown
    assert "secret detail" not in hands.text(page)
    assert "secret detail" in (data_home / "bluecurl.log").read_text(encoding="utf-8")


@pytest.mark.usefixtures("job")
def test_when_unsure_the_eye_may_name_the_form(page, data_home, fakes, cores, hands):
    cores.sure = False
    page.run()
    hands.upload(page, fakes.photo_bytes())
    assert "Not sure about the form" in [s.value for s in page.subheader]
    choice = next(s for s in page.selectbox if s.label == "What do you see?")
    choice.select("2.2").run()
    assert hands.rows(data_home)[0].label == "2.2"
    signs = cores.cases[-1]["passes"][-1]["signs"]
    assert (signs["form"], signs["sure"], signs["tint"]) == ("2.2", True, "straw")
    assert signs["length_mm"] == 161.0
    assert cores.cases[-1]["passes"][-1]["reading"] is None


@pytest.mark.usefixtures("job")
def test_a_pass_with_a_doubtful_photo_can_be_left_behind(
    page, data_home, fakes, monkeypatch, hands
):
    from app import engine

    retake = {**fakes.ADVICE, "verdict": "retake the photo", "change": None}
    monkeypatch.setattr(
        engine, "advise_case", lambda case, *_: retake if case["passes"] else fakes.START
    )
    page.run()
    hands.upload(page, fakes.photo_bytes())
    hands.button(page, "Go on without").click().run()
    assert hands.rows(data_home)[0].followed is False
    assert any(e.label.startswith("Pass 2") for e in page.expander)


@pytest.mark.usefixtures("job")
def test_what_was_noticed_reaches_the_advisor(page, data_home, fakes, cores, hands):
    page.run()
    hands.upload(page, fakes.photo_bytes())
    noticed = next(g for g in page.get("button_group") if g.label == "Noticed")
    noticed.select("rubbing").run()
    assert cores.cases[-1]["passes"][-1]["noticed"] == ["rubbing"]
    assert hands.rows(data_home)[0].told["noticed"] == ["rubbing"]


@pytest.mark.usefixtures("job")
def test_changing_the_settings_asks_the_advisor_again(page, data_home, fakes, cores, hands):
    page.run()
    hands.upload(page, fakes.photo_bytes())
    depth = next(t for t in page.text_input if t.label.startswith("Depth"))
    depth.set_value("0,25").run()
    assert cores.cases[-1]["passes"][-1]["cut"]["depth_mm"] == 0.25
    assert hands.rows(data_home)[0].cut["depth_mm"] == 0.25


def test_set_up_takes_a_decimal_comma_and_lists_what_is_wrong(page, data_home):
    page.run()
    page.switch_page("screens/setup.py").run()
    fields = {t.label: t for t in page.text_input}
    fields["Name"].set_value("Spacer")
    fields["Bar diameter at the start, mm"].set_value("12,7")
    fields["Spindle speeds, rev/min"].set_value("160 two")
    page.button[0].click().run()
    shown = page.error[0].value
    assert "Metal is needed" in shown
    assert "Spindle speeds" in shown
    assert "Feeds is needed" in shown
    assert "“two” is not a number" in shown

    fields = {t.label: t for t in page.text_input}
    fields["Spindle speeds, rev/min"].set_value("100-2000")
    fields["Feeds, mm/rev"].set_value("0,04; 0,06")
    next(s for s in page.selectbox if s.label == "Metal").select("304")
    page.button[0].click().run()
    assert not page.exception
    with closing(Logbook(data_home)) as book:
        (saved,) = book.jobs()
    assert saved.work["diameter_mm"] == 12.7
    assert saved.work["material"] == "304"
    assert saved.lathe["spindle_rev_min"] == {"from": 100, "to": 2000}
    assert saved.lathe["feeds_mm_rev"] == [0.04, 0.06]
    assert load_settings().job_id == saved.id


def test_grip_and_direction_of_feed_are_kept_with_the_job_and_reach_the_advisor(
    page, job, data_home, *, fakes, cores, hands
):
    page.run()
    page.switch_page("screens/setup.py").run()
    grip = next(t for t in page.text_input if t.label.startswith("Length gripped"))
    direction = next(s for s in page.selectbox if s.label == "Direction of feed")
    assert (grip.value, direction.value) == ("", "along")  # neither has to be given
    grip.set_value("18,5")
    direction.select("face")
    hands.button(page, "Correct the job").click().run()
    assert not page.exception
    with closing(Logbook(data_home)) as book:
        work = book.job(job.id).work
    assert (work["grip_mm"], work["direction"]) == (18.5, "face")

    again = hands.visit()
    again.switch_page("screens/setup.py").run()
    shown = {t.label: t.value for t in again.text_input}
    assert shown["Length gripped by the jaws, mm (if known)"] == "18.5"
    assert next(s for s in again.selectbox if s.label == "Direction of feed").value == "face"

    page.switch_page("screens/read.py").run()
    hands.upload(page, fakes.photo_bytes())
    told = cores.cases[-1]["work"]
    assert (told["grip_mm"], told["direction"]) == (18.5, "face")


def test_a_grip_left_empty_is_not_made_up(page, job, data_home, hands):
    page.run()
    page.switch_page("screens/setup.py").run()
    hands.button(page, "Correct the job").click().run()
    with closing(Logbook(data_home)) as book:
        assert "grip_mm" not in book.job(job.id).work


def test_in_inches_the_same_job_is_stored_in_millimetres(page, job, data_home, hands):
    save_settings(Settings(units=Units.INCH))
    page.run()
    page.switch_page("screens/setup.py").run()
    fields = {t.label: t for t in page.text_input}
    assert fields["Bar diameter at the start, in"].value == "0.472441"  # 12 mm / 25.4
    fields["Bar diameter at the start, in"].set_value("0.5")
    hands.button(page, "Correct the job").click().run()
    with closing(Logbook(data_home)) as book:
        assert book.job(job.id).work["diameter_mm"] == pytest.approx(12.7)  # 0.5 x 25.4


@pytest.mark.usefixtures("job")
def test_the_log_lists_deletes_and_takes_back(page, data_home, fakes, hands):
    page.run()
    hands.upload(page, fakes.photo_bytes())
    hands.button(page, "I changed it").click().run()
    page.switch_page("screens/log.py").run()
    assert not page.exception
    assert any("Pass 1" in e.label and "form 2.1" in e.label for e in page.expander)
    hands.button(page, "Delete this pass").click().run()
    assert hands.rows(data_home) == []
    hands.button(page, "Undo: pass deleted").click().run()
    assert len(hands.rows(data_home)) == 1


@pytest.mark.usefixtures("job")
def test_a_note_on_what_came_of_it(page, data_home, fakes, hands):
    page.run()
    hands.upload(page, fakes.photo_bytes())
    page.switch_page("screens/log.py").run()
    page.text_input[0].set_value("much shorter").run()
    assert hands.rows(data_home)[0].outcome == "much shorter"


def test_about_puts_safety_first(page):
    page.run()
    page.switch_page("screens/about.py").run()
    assert not page.exception
    assert page.header[0].value == "Safety"
    assert "manual of your lathe" in page.markdown[0].value


def test_a_damaged_settings_file_is_told_in_words(page, data_home):
    data_home.mkdir(parents=True, exist_ok=True)
    (data_home / "settings.json").write_text("{")
    page.run()
    assert not page.exception
    assert "settings-invalid" in page.error[0].value


def test_a_demo_is_read_and_leaves_nothing(
    page, data_home, fakes, *, tmp_path, monkeypatch, hands
):
    from app import demo

    folder = tmp_path / "demos"
    folder.mkdir()
    (folder / "titanium-bolt.jpg").write_bytes(fakes.photo_bytes())
    (folder / "titanium-bolt.case.json").write_text(json.dumps(fakes.CASE))
    monkeypatch.setattr(demo, "_PLACES", (folder,))
    page.run()
    hands.button(page, "Titanium bolt").click().run()
    assert not page.exception
    text = hands.text(page)
    assert "long tubular coil (2.1)" in text
    assert "0.04 mm/rev → 0.06 mm/rev" in text
    assert hands.rows(data_home) == []
    assert not list((data_home / "photos").glob("*"))
    hands.button(page, "Leave the demo").click().run()
    assert "Photograph your chips" in page.title[0].value
