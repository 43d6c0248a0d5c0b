"""A logbook of an older layout: brought up to date, nothing lost, the old file kept."""

from __future__ import annotations

import csv
import io
import sqlite3
import zipfile
from contextlib import closing
from pathlib import Path

import pytest

from app.errors import LogbookBusy, LogbookDamaged
from app.intake import from_upload
from app.logbook import migrations
from app.logbook import store as store_module
from app.logbook.backup import back_up, restore
from app.logbook.export import log_csv, log_json
from app.logbook.models import SCHEMA_VERSION
from app.logbook.store import DATABASE_NAME, Logbook

OLD = Path(__file__).with_name("old") / "logbook-layout-1.sql"
OLD_2 = OLD.with_name("logbook-layout-2.sql")
KEPT = "logbook-layout-1.sqlite3"
ONE, TWO = (from_upload("x.jpg", b"\xff\xd8 photo %d of an old logbook" % n) for n in (1, 2))


@pytest.fixture
def folder(tmp_path):
    """A data folder with a logbook of layout 1, as that program left it."""
    with closing(sqlite3.connect(tmp_path / DATABASE_NAME)) as book:
        book.executescript(OLD.read_text(encoding="utf-8"))
    (tmp_path / "photos").mkdir()
    for photo in (ONE, TWO):
        (tmp_path / "photos" / f"{photo.sha256}.jpg").write_bytes(photo.data)
    return tmp_path


@pytest.fixture
def folder_2(tmp_path):
    """The same of layout 2, without its photos."""
    with closing(sqlite3.connect(tmp_path / DATABASE_NAME)) as book:
        book.executescript(OLD_2.read_text(encoding="utf-8"))
    return tmp_path


def _old_rows(path, table):
    with closing(sqlite3.connect(path)) as book:
        book.row_factory = sqlite3.Row
        return [dict(row) for row in book.execute(f"SELECT * FROM {table} ORDER BY id")]  # noqa: S608


def _layout(path):
    with closing(sqlite3.connect(path)) as book:
        return book.execute("PRAGMA user_version").fetchone()[0]


def test_everything_is_still_there(folder):
    before = {table: _old_rows(folder / DATABASE_NAME, table) for table in ("pass", "event")}
    with closing(Logbook(folder)) as book:
        rows = book.passes(with_deleted=True)
        assert [r.photo_sha256s for r in rows] == [(ONE.sha256,), (), (TWO.sha256,)]
        assert [r.number for r in rows] == [1, 2, 3]
        assert rows[0].told == {"noticed": ["burr"]}
        assert rows[0].reading["usable"] == "with care"
        assert rows[0].advice["change"]["to"] == 0.06
        assert (rows[0].followed, rows[1].followed) == (True, None)
        assert rows[1].outcome == "too long, all of it"
        assert rows[2].deleted_at_utc is not None
        assert [job.name for job in book.jobs(with_deleted=True)] == ["Axle", "Spacer"]
        assert book.photo(ONE.sha256)[1] == ONE.data
        assert len(book.events()) == len(before["event"])
    after = _old_rows(folder / DATABASE_NAME, "pass")
    for old, new in zip(before["pass"], after, strict=True):
        old.pop("photo_sha256")
        assert old == new


def test_undo_still_works_on_what_was_done_before(folder):
    with closing(Logbook(folder)) as book:
        assert book.undo().what == "job deleted"
        book.undo()
        assert book.undo().what == "pass deleted"
        assert [row.number for row in book.passes()] == [1, 2, 3]


def test_a_new_pass_goes_on_counting_and_takes_two_photos(folder):
    with closing(Logbook(folder)) as book:
        row = book.add_pass(1, cut={}, photo_sha256s=[TWO.sha256, ONE.sha256])
        assert (row.number, row.photo_sha256s) == (4, (TWO.sha256, ONE.sha256))


def test_the_old_file_is_kept_as_it_was(folder):
    before = _old_rows(folder / DATABASE_NAME, "pass")
    Logbook(folder).close()
    assert _layout(folder / DATABASE_NAME) == SCHEMA_VERSION
    assert _layout(folder / KEPT) == 1
    assert _old_rows(folder / KEPT, "pass") == before


def test_it_is_done_once(folder):
    Logbook(folder).close()
    Logbook(folder).close()
    assert sorted(p.name for p in folder.glob("logbook-layout*")) == [KEPT]


def test_a_second_old_file_does_not_overwrite_the_first_copy(folder):
    Logbook(folder).close()
    (folder / DATABASE_NAME).unlink()
    with closing(sqlite3.connect(folder / DATABASE_NAME)) as book:
        book.executescript(OLD.read_text(encoding="utf-8"))
    Logbook(folder).close()
    assert {p.name for p in folder.glob("logbook-layout*")} == {
        KEPT,
        "logbook-layout-1-2.sqlite3",
    }


@pytest.mark.parametrize("old", ["folder", "folder_2"])
def test_the_layout_is_the_same_as_that_of_a_new_logbook(old, request, tmp_path_factory):
    """Columns, keys and indexes: an old file must not differ from a new one."""
    folder = request.getfixturevalue(old)
    fresh = tmp_path_factory.mktemp("fresh")
    Logbook(fresh).close()
    Logbook(folder).close()
    ways = ("table_info", "foreign_key_list", "index_list")

    def shape(path):
        with closing(sqlite3.connect(path)) as book:
            names = book.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
            return {
                (name, way): sorted(map(str, book.execute(f"PRAGMA {way}({name})")))
                for (name,) in names.fetchall()
                for way in ways
            }

    assert shape(folder / DATABASE_NAME) == shape(fresh / DATABASE_NAME)


def test_a_photo_of_layout_2_takes_a_place_of_something_grey(folder_2):
    before = _old_rows(folder_2 / DATABASE_NAME, "pass")
    with closing(Logbook(folder_2)) as book:
        (row,) = book.passes()
        assert (row.photo_sha256s, row.neutrals_px) == ((TWO.sha256, ONE.sha256), (None, None))
        assert (row.followed, row.told) == (True, {"noticed": ["burr"]})
        book.keep_neutral(ONE.sha256, (12, 0))
        assert book.one_pass(row.id).neutrals_px == (None, (12, 0))
    assert _old_rows(folder_2 / DATABASE_NAME, "pass") == before
    assert _layout(folder_2 / "logbook-layout-2.sqlite3") == 2


def test_a_step_that_fails_leaves_the_old_file(folder, monkeypatch):
    steps = (*migrations._STEPS[1][:-1], "DROP TABLE no_such_table")
    monkeypatch.setitem(migrations._STEPS, 1, steps)
    before = _old_rows(folder / DATABASE_NAME, "pass")
    with pytest.raises(LogbookDamaged):
        Logbook(folder)
    assert _layout(folder / DATABASE_NAME) == 1
    assert _old_rows(folder / DATABASE_NAME, "pass") == before


def test_a_photo_row_that_is_gone_stops_the_change(folder):
    with closing(sqlite3.connect(folder / DATABASE_NAME)) as book:
        book.execute("DELETE FROM photo")
        book.commit()
    with pytest.raises(LogbookDamaged, match="gone"):
        Logbook(folder)
    assert _layout(folder / DATABASE_NAME) == 1


def test_a_held_old_file_is_busy_not_damaged(folder, monkeypatch):
    monkeypatch.setattr(store_module, "BUSY_TIMEOUT_S", 0.05)
    holder = sqlite3.connect(folder / DATABASE_NAME)
    holder.execute("BEGIN EXCLUSIVE")
    with pytest.raises(LogbookBusy):
        Logbook(folder)
    holder.close()


def test_a_safety_copy_of_an_old_logbook_can_be_restored(folder, tmp_path_factory):
    """Copies that the older program wrote hold the old layout and one photo a pass."""
    old_copy = tmp_path_factory.mktemp("copies") / "old.zip"
    with zipfile.ZipFile(old_copy, "w") as out:
        out.write(folder / DATABASE_NAME, DATABASE_NAME)
        for path in (folder / "photos").iterdir():
            out.write(path, f"photos/{path.name}")
        out.writestr("backup.json", '{"schema": "bluecurl.backup/1", "layout": 1}')
    fresh = tmp_path_factory.mktemp("fresh")
    restore(old_copy, fresh)
    with closing(Logbook(fresh)) as book:
        assert book.passes()[0].photo_sha256s == (ONE.sha256,)
        assert book.photo(TWO.sha256)[1] == TWO.data


def test_a_copy_of_the_renewed_logbook_equals_it(folder, tmp_path_factory):
    with closing(Logbook(folder)) as book:
        book.fill_pass(2, photo_sha256s=[ONE.sha256, TWO.sha256])
        expected = log_json(book)
        copy = back_up(folder, tmp_path_factory.mktemp("copies"))
    fresh = tmp_path_factory.mktemp("fresh")
    restore(copy, fresh)
    with closing(Logbook(fresh)) as book:
        assert log_json(book) == expected


def test_exports_name_every_photo(folder):
    with closing(Logbook(folder)) as book:
        book.fill_pass(1, photo_sha256s=[ONE.sha256, TWO.sha256])
        first = log_json(book)["jobs"][0]["passes"][0]
        table = list(csv.DictReader(io.StringIO(log_csv(book))))
    assert first["photo_sha256s"] == [ONE.sha256, TWO.sha256]
    assert first["photo_sha256"] == ONE.sha256
    assert table[0]["photo_sha256s"] == f"{ONE.sha256} {TWO.sha256}"
    assert (table[1]["photo_sha256"], table[1]["photo_sha256s"]) == ("", "")
