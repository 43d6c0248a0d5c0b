"""Thickness and width of the chip as typed on the page.

Only the reader is a stand-in; the advice is the real one.
"""

from __future__ import annotations

from contextlib import closing

import pytest

from app.logbook.store import Logbook
from app.settings import Settings, save_settings
from app.show import Units

pytestmark = pytest.mark.usefixtures("eye")


@pytest.fixture
def page(page, axle, data_home, *, fakes, hands, eye):  # noqa: ARG001 - in place before it
    """The page with a pass in hand that was photographed."""
    with closing(Logbook(data_home)) as book:
        book.add_pass(axle.id, cut=hands.CUT)
    page.run()
    hands.upload(page, fakes.photo_bytes())
    assert not page.exception
    return page


def _way(page, way):
    group = next(g for g in page.get("button_group") if g.label == "Thickness measured by")
    return group.set_value(way).run()


def _field(page, start):
    return next(t for t in page.text_input if t.label.startswith(start))


def test_the_page_says_what_a_growing_thickness_means_before_anything_is_typed(page, hands):
    assert "best sign of a dulling edge under oil, where tint is blind" in hands.text(page)
    assert "gross pushing away" in hands.text(page)


def test_micrometer_readings_become_thickness_compression_and_shear_angle(
    page, data_home, hands
):
    _way(page, "micrometer")
    _field(page, "Thickness at one").set_value("0,25 0.26; 0.24").run()
    assert not page.exception
    row = hands.rows(data_home)[-1]
    assert row.told["chip"] == {"thickness_mm": [0.25, 0.26, 0.24]}
    thickness = row.advice["gauges"]["thickness"]
    assert thickness["thickness_mm"]["value"] == 0.25
    # h = f sin 75° = 0.0966 mm where the nose is left behind: 0.25 / 0.0966
    assert thickness["compression"]["value"] == pytest.approx(2.588, abs=0.01)
    text = hands.text(page)
    assert "Chip 0.250 mm ± 0.013 thick by micrometer; compression 2.59 ± 0.17" in text
    assert "shear angle" in text


def test_a_piece_is_weighed_with_what_was_typed(page, data_home, hands):
    _way(page, "weighing")
    _field(page, "Weight of the piece").set_value("0.5").run()
    _field(page, "Length along").set_value("320").run()
    _field(page, "Width of a flat").set_value("0.65").run()
    chip = hands.rows(data_home)[-1].told["chip"]
    assert chip == {"mass_g": 0.5, "length_mm": 320.0, "width_mm": 0.65}
    # 0.5 g / (7.85 g/cm3 x 320 mm x 0.65 mm)
    measured = hands.rows(data_home)[-1].advice["gauges"]["thickness"]["thickness_mm"]
    assert measured["value"] == pytest.approx(0.3062, abs=2e-4)


def test_a_piece_of_the_photo_brings_its_length_and_width_with_their_doubt(
    page, data_home, hands
):
    _way(page, "weighing")
    next(s for s in page.selectbox if s.label == "Length from the photo").select(2).run()
    _field(page, "Weight of the piece").set_value("0.5").run()
    chip = hands.rows(data_home)[-1].told["chip"]
    assert chip["length_mm"] == {"value": 161.0, "u": 6.0}
    assert chip["width_mm"] == {"value": 1.12, "u": 0.05}
    u = hands.rows(data_home)[-1].advice["gauges"]["thickness"]["thickness_mm"]
    assert u["u"] / u["value"] == pytest.approx(
        (0.01**2 + 0.0373**2 + 0.0446**2) ** 0.5, rel=0.1
    )
    _field(page, "Length along").set_value("150").run()  # a hand's measure comes first
    assert hands.rows(data_home)[-1].told["chip"]["length_mm"] == 150.0


def test_what_is_still_needed_is_said(page, hands):
    _way(page, "weighing")
    needed = "Still needed for a thickness: the weight, the length, the width."
    assert needed in hands.text(page)
    _field(page, "Weight of the piece").set_value("0.5").run()
    _field(page, "Length along").set_value("320").run()
    assert "Still needed for a thickness: the width." in hands.text(page)
    _field(page, "Width of a flat").set_value("0.65").run()
    assert "Still needed" not in hands.text(page)
    _way(page, "whole length")
    assert "the turns or the length cut" in hands.text(page)


def test_a_length_that_is_all_doubt_or_hidden_is_not_offered(page, data_home, hands):
    reading = hands.rows(data_home)[-1].reading
    reading["chips"][0]["length_mm"] = {"value": 80.0, "u": 41.0}
    reading["chips"][1]["length_mm"] = {"value": 80.0, "u": 4.0, "bound": "at_least"}
    reading["chips"][2]["kind"] = "nest"
    reading["chips"][3]["length_mm"] = None
    with closing(Logbook(data_home)) as book:
        book.fill_pass(hands.rows(data_home)[-1].id, reading=reading)
    page.run()
    _way(page, "whole length")
    offered = next(s for s in page.selectbox if s.label == "Length from the photo").options
    assert offered == ["measured by hand", "chip 5: 161 mm ± 12"]


def test_a_whole_chip_by_its_turns_or_its_cut_but_not_both(page, data_home, hands):
    _way(page, "whole length")
    _field(page, "Length along").set_value("180").run()
    _field(page, "Turns").set_value("10").run()
    assert hands.rows(data_home)[-1].told["chip"] == {"length_mm": 180.0, "turns": 10.0}
    assert hands.rows(data_home)[-1].advice["gauges"]["thickness"]["measured"] == "length"
    _field(page, "Or length cut").set_value("480").run()
    assert "not both" in page.error[0].value
    assert hands.rows(data_home)[-1].told["chip"] == {"length_mm": 180.0, "cut_mm": 480.0}


def test_what_cannot_be_read_is_told_and_changes_nothing(page, data_home, hands):
    _way(page, "micrometer")
    _field(page, "Thickness at one").set_value("thin").run()
    assert "is not a number" in page.error[0].value
    assert "chip" not in hands.rows(data_home)[-1].told


def test_not_measured_takes_the_measure_away_again(page, data_home, hands):
    _way(page, "micrometer")
    _field(page, "Thickness at one").set_value("0.25").run()
    _way(page, "not measured")
    assert "chip" not in hands.rows(data_home)[-1].told
    assert hands.rows(data_home)[-1].advice["gauges"]["thickness"] is None


def test_in_inches_the_same_thickness_is_kept_in_millimetres(axle, data_home, fakes, hands):
    save_settings(Settings(units=Units.INCH))
    with closing(Logbook(data_home)) as book:
        book.add_pass(axle.id, cut=hands.CUT)
    tab = hands.visit()
    hands.upload(tab, fakes.photo_bytes())
    _way(tab, "micrometer")
    _field(tab, "Thickness at one").set_value("0.010").run()
    chip = hands.rows(data_home)[-1].told["chip"]
    assert chip["thickness_mm"] == [pytest.approx(0.254)]  # 25.4 / 100
    assert "Chip 0.0100 in ± 0.0010 thick" in hands.text(tab)


@pytest.mark.usefixtures("page")
def test_a_chip_that_thickens_calls_the_edge_on_the_page_and_in_the_log(axle, data_home, hands):
    with closing(Logbook(data_home)) as book:
        first = book.passes()[0]
        book.fill_pass(first.id, told={"chip": {"thickness_mm": [0.2]}}, followed=True)
        book.add_pass(axle.id, cut=hands.CUT, reading=first.reading, label="6.2")
        book.fill_pass(first.id, label="6.2")
    tab = hands.visit()
    _way(tab, "micrometer")
    _field(tab, "Thickness at one").set_value("0.2").run()
    assert "Look at the edge" not in [h.value for h in tab.header]
    assert "No thicker than before" in hands.text(tab)
    _field(tab, "Thickness at one").set_value("0.29").run()
    assert not tab.exception
    assert "Look at the edge" in [h.value for h in tab.header]
    assert "Chip thickness over the passes" in [s.value for s in tab.subheader]
    assert "the edge has gone dull or carries a lump" in hands.text(tab)

    tab.switch_page("screens/log.py").run()
    assert not tab.exception
    assert "Chip thickness over the passes" in [s.value for s in tab.subheader]
    assert any("chip 0.29 mm thick" in e.label for e in tab.expander)


def test_a_width_far_off_is_told_outside_the_folded_part(page):
    _field(page, "Width of a flat").set_value("0.3").run()
    assert any("pushed away" in w.value for w in page.warning)
    _field(page, "Width of a flat").set_value("0.6").run()
    assert not any("pushed away" in w.value for w in page.warning)


@pytest.mark.usefixtures("page")
def test_a_form_named_by_eye_leaves_the_width_of_the_photo(data_home, eye, hands):
    reading = hands.rows(data_home)[-1].reading
    for chip in reading["chips"]:
        chip |= {"group": "1", "form": "1.2", "width_mm": {"value": 1.6, "u": 0.6}}
    with closing(Logbook(data_home)) as book:
        row = book.passes()[0]
        book.fill_pass(row.id, reading=reading, label="1.2", cut={**hands.CUT, "depth_mm": 1.5})
    tab = hands.visit()
    assert not tab.exception
    width = hands.rows(data_home)[-1].advice["gauges"]["width"]
    assert (width["state"], width["chips"]) == ("sound", [1, 2, 3, 4, 5])
    assert eye.read_calls  # and the photo was read by the stand-in
