"""Safety copies: a restored logbook equals the one that was copied."""

from __future__ import annotations

import json
import zipfile

import pytest

from app.errors import BackupInvalid
from app.intake import from_upload
from app.logbook.backup import back_up, restore
from app.logbook.export import log_json
from app.logbook.store import DATABASE_NAME, Logbook

CUT = {"direction": "along", "spindle_rev_min": 900, "feed_mm_rev": 0.04, "depth_mm": 0.3}


def _fill(folder, name):
    book = Logbook(folder)
    job = book.add_job(name, work={"material": "304"}, edge={"material": "HSS"}, lathe={})
    photos = [
        book.keep_photo(from_upload("chips.png", f"photo {n} of {name}".encode()))
        for n in (1, 2)
    ]
    book.add_pass(job.id, cut=CUT, photo_sha256s=[p.sha256 for p in photos])
    return book


def test_restore_equals_backup(tmp_path):
    folder, copy = tmp_path / "data", tmp_path / "copy.zip"
    book = _fill(folder, "Spacer")  # stays open: the copy is made during a session
    expected, photos = log_json(book), sorted(p.name for p in (folder / "photos").iterdir())
    assert back_up(folder, copy) == copy
    book.add_job("Made after the copy", work={}, edge={}, lathe={})
    book.close()

    kept = restore(copy, folder)

    again = Logbook(folder)
    assert log_json(again) == expected
    assert sorted(p.name for p in (folder / "photos").iterdir()) == photos
    again.close()
    replaced = Logbook(kept)
    assert [job.name for job in replaced.jobs()] == ["Made after the copy", "Spacer"]
    replaced.close()


def test_restore_into_an_empty_folder(tmp_path):
    _fill(tmp_path / "data", "Axle").close()
    copy = back_up(tmp_path / "data", tmp_path)
    assert copy.parent == tmp_path
    fresh = tmp_path / "fresh"
    fresh.mkdir()
    assert restore(copy, fresh) is None
    book = Logbook(fresh)
    assert [job.name for job in book.jobs()] == ["Axle"]
    book.close()


def _not_a_zip(path, _good):
    path.write_bytes(b"no zip at all")


def _foreign_zip(path, _good):
    with zipfile.ZipFile(path, "w") as out:
        out.writestr("readme.txt", "hello")


def _flipped_byte(path, good):
    data = bytearray(good.read_bytes())
    with zipfile.ZipFile(good) as packed:
        info = packed.getinfo(next(n for n in packed.namelist() if n.startswith("photos/")))
    data[info.header_offset + 30 + len(info.filename) + 2] ^= (
        0xFF  # 30: fixed part of a local header
    )
    path.write_bytes(bytes(data))


def _no_logbook(path, _good):
    with zipfile.ZipFile(path, "w") as out:
        out.writestr("backup.json", json.dumps({"schema": "bluecurl.backup/1"}))


def _broken_logbook(path, _good):
    with zipfile.ZipFile(path, "w") as out:
        out.writestr("backup.json", json.dumps({"schema": "bluecurl.backup/1"}))
        out.writestr(DATABASE_NAME, b"garbage" * 500)


@pytest.mark.parametrize(
    "spoil", [_not_a_zip, _foreign_zip, _flipped_byte, _no_logbook, _broken_logbook]
)
def test_a_bad_copy_changes_nothing(tmp_path, spoil):
    folder = tmp_path / "data"
    book = _fill(folder, "Spacer")
    expected = log_json(book)
    good = back_up(folder, tmp_path / "good.zip")
    bad = tmp_path / "bad.zip"
    spoil(bad, good)
    with pytest.raises(BackupInvalid):
        restore(bad, folder)
    assert log_json(book) == expected
    book.close()


def test_names_that_climb_out_of_the_folder_are_not_unpacked(tmp_path):
    folder = tmp_path / "data"
    _fill(folder, "Spacer").close()
    good = back_up(folder, tmp_path / "good.zip")
    with zipfile.ZipFile(good, "a") as out:
        out.writestr("../outside.txt", "no")
        out.writestr("photos/../../outside2.txt", "no")
        out.writestr("surprise.py", "no")
    restore(good, folder)
    assert not list(tmp_path.glob("outside*"))
    assert not (folder / "surprise.py").exists()
