"""Logbook: what goes in comes out, deleting loses nothing, every decision can be undone."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.errors import (
    LogbookBusy,
    LogbookDamaged,
    LogbookNoRow,
    LogbookTooNew,
)
from app.intake import Incoming, from_upload
from app.logbook import store as store_module
from app.logbook.models import SCHEMA_VERSION
from app.logbook.store import DATABASE_NAME, Logbook

WORK = {"material": "Ti-6Al-4V", "diameter_mm": 12.0}
EDGE = {"material": "HSS", "id": "hss-3"}
LATHE = {"spindle_rev_min": [430, 900], "feeds_mm_rev": [0.04, 0.06]}
CUT = {"direction": "along", "spindle_rev_min": 900, "feed_mm_rev": 0.04, "depth_mm": 0.3}


@pytest.fixture
def logbook(tmp_path):
    book = Logbook(tmp_path / "book")
    yield book
    book.close()


@pytest.fixture
def job(logbook):
    return logbook.add_job("Bottle-cage bolt", work=WORK, edge=EDGE, lathe=LATHE)


def test_round_trip_through_a_new_connection(tmp_path):
    folder = tmp_path / "book"
    first = Logbook(folder)
    job = first.add_job("Bolt", work=WORK, edge=EDGE, lathe=LATHE)
    kept = first.add_pass(
        job.id,
        cut=CUT,
        told={"noticed": ["rubbing"]},
        reading={"schema": "bluecurl.reading/1", "chips": []},
        advice=None,
        versions={"reader": "1"},
    )
    first.close()
    again = Logbook(folder)
    assert again.job(job.id) == job
    assert again.one_pass(kept.id) == kept
    assert kept.made_at_utc.tzinfo is not None
    assert abs(datetime.now(UTC) - kept.made_at_utc) < timedelta(minutes=1)
    again.close()


def test_times_in_other_zones_come_back_as_utc(tmp_path):
    noon_in_vienna = datetime(2024, 7, 1, 12, tzinfo=timezone(timedelta(hours=2)))
    book = Logbook(tmp_path / "book", now=lambda: noon_in_vienna)
    job = book.add_job("Bolt", work=WORK, edge=EDGE, lathe=LATHE)
    stored = book.job(job.id).made_at_utc
    assert stored == noon_in_vienna
    assert stored.utcoffset() == timedelta(0)
    assert stored.hour == 10
    book.close()


def test_a_time_without_zone_is_refused(tmp_path):
    book = Logbook(tmp_path / "book", now=lambda: datetime(2024, 7, 1))  # noqa: DTZ001
    with pytest.raises(Exception, match="zone"):
        book.add_job("Bolt", work=WORK, edge=EDGE, lathe=LATHE)
    book.close()


def test_passes_are_numbered_inside_their_job(logbook, job):
    other = logbook.add_job("Spacer", work=WORK, edge=EDGE, lathe=LATHE)
    numbers = [logbook.add_pass(j, cut=CUT).number for j in (job.id, other.id, job.id, job.id)]
    assert numbers == [1, 1, 2, 3]


def test_a_deleted_pass_keeps_its_number(logbook, job):
    logbook.add_pass(job.id, cut=CUT)
    second = logbook.add_pass(job.id, cut=CUT)
    logbook.delete("pass", second.id)
    assert [row.number for row in logbook.passes(job.id)] == [1]
    assert logbook.add_pass(job.id, cut=CUT).number == 3
    assert [row.number for row in logbook.passes(job.id, with_deleted=True)] == [1, 2, 3]


def test_passes_of_a_deleted_job_are_hidden_and_come_back(logbook, job):
    logbook.add_pass(job.id, cut=CUT)
    logbook.delete("job", job.id)
    assert logbook.jobs() == []
    assert logbook.passes() == []
    assert logbook.undo().what == "job deleted"
    assert [row.id for row in logbook.jobs()] == [job.id]
    assert len(logbook.passes()) == 1


def test_undo_takes_back_one_change_at_a_time(logbook, job):
    row = logbook.add_pass(job.id, cut=CUT)
    logbook.change_pass(row.id, "answered", followed=True)
    logbook.change_pass(row.id, "answered", followed=False, outcome="better")
    logbook.undo()
    assert (logbook.one_pass(row.id).followed, logbook.one_pass(row.id).outcome) == (True, None)
    logbook.undo()
    assert logbook.one_pass(row.id).followed is None
    logbook.undo()
    assert logbook.one_pass(row.id).deleted_at_utc is not None
    logbook.undo()
    assert logbook.job(job.id).deleted_at_utc is not None
    assert logbook.undo() is None


def test_filling_a_draft_is_no_decision(logbook, job):
    row = logbook.add_pass(job.id, cut=CUT)
    logbook.fill_pass(row.id, reading={"usable": "yes"})
    assert [e.what for e in logbook.events()] == ["pass kept", "job started"]
    assert logbook.one_pass(row.id).reading == {"usable": "yes"}


@given(
    st.lists(
        st.fixed_dictionaries(
            {
                "followed": st.sampled_from([None, True, False]),
                "outcome": st.none() | st.text(max_size=9),
            }
        ),
        min_size=1,
        max_size=5,
    )
)
def test_undoing_everything_gives_the_first_state(tmp_path_factory, changes):
    book = Logbook(tmp_path_factory.mktemp("book"))
    job = book.add_job("Bolt", work=WORK, edge=EDGE, lathe=LATHE)
    before = book.add_pass(job.id, cut=CUT)
    for change in changes:
        book.change_pass(before.id, "answered", **change)
    for _ in changes:
        book.undo()
    assert book.one_pass(before.id) == before
    book.close()


def test_the_same_photo_is_stored_once(logbook, tmp_path):
    photo = from_upload("chips.jpg", b"\xff\xd8 not a real photo")
    first = logbook.keep_photo(photo)
    again = logbook.keep_photo(Incoming(name="again.jpg", data=photo.data, sha256=photo.sha256))
    assert first == again
    assert len(list((tmp_path / "book" / "photos").iterdir())) == 1
    assert logbook.photo(photo.sha256) == (first, photo.data)


def _kept(logbook, *contents):
    return [
        logbook.keep_photo(from_upload(f"{text}.jpg", text.encode())).sha256
        for text in contents
    ]


def test_a_pass_holds_all_its_photos_in_their_order(logbook, job):
    one, two, three = _kept(logbook, "one", "two", "three")
    row = logbook.add_pass(job.id, cut=CUT, photo_sha256s=[two, one])
    assert logbook.one_pass(row.id).photo_sha256s == (two, one)
    assert row.photo_sha256 == two
    turned = logbook.fill_pass(row.id, photo_sha256s=[one, three, two], label="2.1")
    assert turned.photo_sha256s == (one, three, two)
    assert turned.label == "2.1"
    assert logbook.fill_pass(row.id, label=None).photo_sha256s == (one, three, two)
    assert logbook.fill_pass(row.id, photo_sha256s=()).photo_sha256 is None


def test_where_something_grey_lies_belongs_to_the_photo(logbook, job):
    one, two = _kept(logbook, "one", "two")
    row = logbook.add_pass(job.id, cut=CUT, photo_sha256s=[one, two])
    assert row.neutrals_px == (None, None)
    logbook.keep_neutral(two, (0, 7))
    assert logbook.one_pass(row.id).neutrals_px == (None, (0, 7))
    assert logbook.photo(two)[0].neutral_px == (0, 7)
    assert logbook.fill_pass(row.id, photo_sha256s=[two]).neutrals_px == ((0, 7),)
    again = logbook.keep_photo(from_upload("two.jpg", b"two"))  # comes in once more
    assert again.neutral_px == (0, 7)
    logbook.keep_neutral(two, None)
    assert logbook.passes(job.id)[0].neutrals_px == (None,)


def test_a_photo_that_was_never_kept_is_refused(logbook, job):
    (one,) = _kept(logbook, "one")
    row = logbook.add_pass(job.id, cut=CUT, photo_sha256s=[one])
    with pytest.raises(LogbookNoRow):
        logbook.fill_pass(row.id, photo_sha256s=[one, "0" * 64])
    assert logbook.one_pass(row.id).photo_sha256s == (one,)


def test_undo_and_photos_do_not_meet(logbook, job):
    one, two = _kept(logbook, "one", "two")
    row = logbook.add_pass(job.id, cut=CUT, photo_sha256s=[one, two])
    logbook.delete("pass", row.id)
    logbook.undo()
    assert logbook.passes(job.id)[0].photo_sha256s == (one, two)


def test_unknown_rows_have_their_own_error(logbook):
    for ask in (
        lambda: logbook.job(9),
        lambda: logbook.one_pass(9),
        lambda: logbook.photo("0" * 64),
        lambda: logbook.keep_neutral("0" * 64, (1, 1)),
    ):
        with pytest.raises(LogbookNoRow):
            ask()
    with pytest.raises(LogbookNoRow):
        logbook.add_pass(9, cut=CUT)  # the foreign key holds


def test_a_file_that_is_no_logbook(tmp_path):
    (tmp_path / DATABASE_NAME).write_bytes(b"This is a shopping list, not a database." * 40)
    with pytest.raises(LogbookDamaged):
        Logbook(tmp_path)


def test_a_database_of_somebody_else_is_not_touched(tmp_path):
    path = tmp_path / DATABASE_NAME
    with sqlite3.connect(path) as other:
        other.execute("CREATE TABLE recipe (name TEXT)")
    other.close()
    with pytest.raises(LogbookDamaged):
        Logbook(tmp_path)


def test_a_logbook_of_a_later_version_is_refused(tmp_path):
    Logbook(tmp_path).close()
    with sqlite3.connect(tmp_path / DATABASE_NAME) as later:
        later.execute("PRAGMA user_version = 99")
    later.close()
    with pytest.raises(LogbookTooNew):
        Logbook(tmp_path)


def test_a_busy_logbook_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr(store_module, "BUSY_TIMEOUT_S", 0.05)
    book = Logbook(tmp_path)
    holder = sqlite3.connect(tmp_path / DATABASE_NAME)
    holder.execute("BEGIN EXCLUSIVE")
    with pytest.raises(LogbookBusy):
        book.add_job("Bolt", work=WORK, edge=EDGE, lathe=LATHE)
    holder.close()
    book.close()


def test_the_layout_number_and_safe_modes_are_set(tmp_path):
    Logbook(tmp_path).close()
    with sqlite3.connect(tmp_path / DATABASE_NAME) as raw:
        assert raw.execute("PRAGMA user_version").fetchone() == (SCHEMA_VERSION,)
        assert raw.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    raw.close()
