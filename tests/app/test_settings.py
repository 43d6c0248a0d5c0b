"""Settings: remembered, whole after a crash, and honest about a damaged file."""

from __future__ import annotations

import json

import pytest

from app.errors import SettingsInvalid
from app.settings import Settings, home, load_settings, save_settings, update_settings
from app.show import Units


def test_usual_settings_where_none_are_stored(data_home):
    assert load_settings() == Settings()
    assert home() == data_home


def test_round_trip():
    save_settings(Settings(units=Units.INCH, job_id=7, check_line_mm=98.5))
    assert load_settings() == Settings(units=Units.INCH, job_id=7, check_line_mm=98.5)
    assert update_settings(job_id=None).units is Units.INCH
    assert load_settings().job_id is None


def test_keys_of_a_later_version_are_left_alone(data_home):
    home()
    (data_home / "settings.json").write_text(json.dumps({"units": "inch", "later": 1}))
    assert load_settings() == Settings(units=Units.INCH)


@pytest.mark.parametrize(
    "stored",
    [
        "{not json",
        "[]",
        '{"units": "cubits"}',
        '{"job_id": "seven"}',
        '{"job_id": 0}',
        '{"check_line_mm": 10}',
        '{"check_line_mm": "100"}',
        '{"units": ["inch"]}',
    ],
)
def test_a_damaged_file_says_so(data_home, stored):
    home()
    (data_home / "settings.json").write_text(stored)
    with pytest.raises(SettingsInvalid):
        load_settings()


def test_a_crash_while_writing_leaves_the_old_file(data_home, monkeypatch):
    save_settings(Settings(job_id=3))
    monkeypatch.setattr(
        "pathlib.Path.replace", lambda *_: (_ for _ in ()).throw(OSError(28, "full"))
    )
    with pytest.raises(Exception, match="full"):
        save_settings(Settings(job_id=4))
    assert json.loads((data_home / "settings.json").read_text())["job_id"] == 3
