"""The command line: what goes where, exit codes, order of answers. The cores are stand-ins."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys

import pytest

from app.cli import main

pytestmark = pytest.mark.usefixtures("cores")


@pytest.fixture
def photos(tmp_path, fakes):
    folder = tmp_path / "photos"
    folder.mkdir()
    for i, name in enumerate(("a2.jpg", "a10.jpg"), 1):
        (folder / name).write_bytes(fakes.photo_bytes(i))
    return folder


@pytest.fixture
def bad(tmp_path):
    path = tmp_path / "bad.jpg"
    path.write_bytes(b"not a picture")
    return path


def _lines(text):
    return [json.loads(line) for line in text.splitlines()]


def _named(folder, name, fakes):
    path = folder / name
    path.write_bytes(fakes.photo_bytes(9))
    return path


# read -----------------------------------------------------------------------------


def test_read_json_prints_one_line_for_each_photo_in_order(photos, capsys):
    assert main(["read", str(photos), "--json"]) == 0
    out, _ = capsys.readouterr()
    assert [r["photo"] for r in _lines(out)] == ["a2.jpg", "a10.jpg"]
    assert all(r["schema"] == "bluecurl.reading/1" for r in _lines(out))


def test_a_bad_photo_has_its_error_line_in_its_place(photos, bad, capsys):
    assert (
        main(["read", str(photos / "a2.jpg"), str(bad), str(photos / "a10.jpg"), "--json"]) == 3
    )
    good, wrong, last = _lines(capsys.readouterr().out)
    assert (good["photo"], last["photo"]) == ("a2.jpg", "a10.jpg")
    assert set(wrong) == {"schema", "photo", "code", "message"}
    assert (wrong["schema"], wrong["photo"]) == ("bluecurl.error/1", "bad.jpg")
    assert wrong["code"] == "photo-unreadable"
    assert len(wrong["message"]) > 40


@pytest.mark.parametrize(
    ("name", "options", "code", "exit_code"),
    [
        ("missing.jpg", [], "photo-not-found", 3),
        ("nocard.jpg", ["--need-card"], "card-not-found", 4),
        ("empty.jpg", [], "no-chips", 5),
        ("fault.jpg", [], "unexpected", 1),
    ],
)
def test_exit_codes_of_read(tmp_path, fakes, capsys, name, options, code, exit_code):  # noqa: PLR0917
    path = tmp_path / name
    if name != "missing.jpg":
        path.write_bytes(fakes.photo_bytes())
    assert main(["read", str(path), "--json", *options]) == exit_code
    (line,) = _lines(capsys.readouterr().out)
    assert line["code"] == code


def test_the_first_failure_sets_the_exit_code(tmp_path, fakes, bad, capsys):
    empty = _named(tmp_path, "empty.jpg", fakes)
    assert main(["read", str(empty), str(bad), "--json"]) == 5
    assert main(["read", str(bad), str(empty), "--json"]) == 3
    capsys.readouterr()


def test_a_fault_tells_no_secret(tmp_path, fakes, capsys):
    main(["read", str(_named(tmp_path, "fault.jpg", fakes)), "--json"])
    assert "secret detail" not in "".join(capsys.readouterr())


def test_for_people_errors_are_talk(bad, photos, capsys):
    assert main(["read", str(bad), str(photos / "a2.jpg")]) == 3
    out, err = capsys.readouterr()
    assert "bad.jpg" in err
    assert "bad.jpg" not in out
    assert "long tubular coil (2.1)" in out
    assert "length 161 mm" in out  # u 6 mm: whole millimetres


def test_units_change_what_people_read_and_never_the_json(photos, capsys):
    one = str(photos / "a2.jpg")
    main(["--units", "metric", "read", one])
    metric = capsys.readouterr().out
    main(["read", one, "--units", "inch"])  # the option may stand anywhere
    inch = capsys.readouterr().out
    assert " mm" in metric
    assert " mm" not in inch
    assert "width 0.044 in" in inch  # 1.12 mm / 25.4 = 0.0441; u 0.002 in shows 3 decimals
    main(["--units", "inch", "read", one, "--json"])
    as_inch = capsys.readouterr().out
    main(["read", one, "--json"])
    assert capsys.readouterr().out == as_inch


def test_read_csv_has_a_line_for_each_chip_and_units_in_its_header(photos, capsys):
    assert main(["read", str(photos), "--csv"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert len(rows) == 10  # two photos of five chips
    assert (rows[0]["photo"], rows[5]["photo"]) == ("a2.jpg", "a10.jpg")
    assert (rows[0]["length_mm"], rows[0]["u_length_mm"]) == ("161.0", "6.0")
    assert rows[0]["curl_radius_mm"] == "2.13"
    assert rows[0]["tint"] == "straw"


def test_csv_keeps_errors_out_of_the_table(bad, capsys):
    assert main(["read", str(bad), "--csv"]) == 3
    out, err = capsys.readouterr()
    assert len(out.splitlines()) == 1
    assert "bad.jpg" in err


def test_json_and_csv_exclude_each_other(photos, capsys):
    assert main(["read", str(photos), "--json", "--csv"]) == 2
    assert capsys.readouterr().out == ""


def test_overlays_are_written_and_same_names_do_not_collide(photos, tmp_path, fakes, capsys):
    other = tmp_path / "other"
    other.mkdir()
    (other / "a2.jpg").write_bytes(fakes.photo_bytes(5))
    folder = tmp_path / "new" / "drawn"
    assert (
        main(["read", str(photos / "a2.jpg"), str(other), "--overlay", str(folder), "--json"])
        == 0
    )
    names = sorted(p.name for p in folder.iterdir())
    assert len(names) == 2
    assert names[0].startswith("a2-")
    assert all(p.read_bytes().startswith(b"\xff\xd8") for p in folder.iterdir())
    capsys.readouterr()


def test_options_reach_the_reader(cores, photos, tmp_path, fakes, capsys):
    case = fakes.case_file(tmp_path)
    options = [
        "--px-per-mm",
        "14.5",
        "--check-line-mm",
        "98.7",
        "--need-card",
        "--case",
        str(case),
    ]
    assert main(["read", str(photos / "a2.jpg"), "--json", *options]) == 0
    asked = cores.read_calls[-1][1]
    assert asked["px_per_mm"] == 14.5
    assert asked["check_line_mm"] == 98.7
    assert asked["need_card"] is True
    assert asked["metal"] == "Ti-6Al-4V"
    capsys.readouterr()


def test_the_check_line_of_the_settings_is_used_where_none_is_given(cores, photos, capsys):
    from app.settings import Settings, save_settings

    save_settings(Settings(check_line_mm=97.5))
    main(["read", str(photos / "a2.jpg"), "--json"])
    assert cores.read_calls[-1][1]["check_line_mm"] == 97.5
    capsys.readouterr()


@pytest.mark.parametrize(
    "option", [["--px-per-mm", "0"], ["--check-line-mm", "50"], ["--px-per-mm", "x"]]
)
def test_impossible_values_are_wrong_usage(cores, photos, capsys, option):
    assert main(["read", str(photos), *option]) == 2
    assert not cores.read_calls
    capsys.readouterr()


def test_with_a_case_people_get_the_advice_too(cores, photos, tmp_path, fakes, capsys):
    case = fakes.case_file(tmp_path)
    assert main(["read", str(photos / "a2.jpg"), "--case", str(case)]) == 0
    out = capsys.readouterr().out
    assert "0.04 mm/rev → 0.06 mm/rev" in out
    assert "Stop the lathe before you clear long chips." in out
    assert cores.cases[-1]["passes"][-1]["reading"]["photo"] == "a2.jpg"


def test_a_bad_case_stops_before_any_photo(cores, photos, tmp_path, capsys):
    (tmp_path / "case.json").write_text("{")
    assert main(["read", str(photos), "--case", str(tmp_path / "case.json"), "--json"]) == 2
    assert not cores.read_calls
    capsys.readouterr()


def test_one_pass_gives_one_reading(photos, bad, capsys):
    assert main(["read", str(photos), str(bad), "--one-pass", "--json"]) == 3
    wrong, reading = _lines(capsys.readouterr().out)
    assert wrong["code"] == "photo-unreadable"
    assert reading["photos"] == ["a2.jpg", "a10.jpg"]


def test_overlays_of_one_pass_carry_the_numbers_of_the_one_reading(
    cores, photos, tmp_path, capsys
):
    out = tmp_path / "drawn"
    assert main(["read", str(photos), "--one-pass", "--overlay", str(out), "--json"]) == 0
    (reading,) = _lines(capsys.readouterr().out)
    assert cores.drawn == [[1, 2, 3, 4, 5], [6, 7, 8, 9, 10]]
    assert [c["number"] for c in reading["chips"]] == list(range(1, 11))
    assert sorted(p.name for p in out.iterdir()) == ["a10-chips.jpg", "a2-chips.jpg"]


# the rest -------------------------------------------------------------------------


def _log_with_one_pass(data_home, fakes):
    from app.logbook.store import Logbook

    book = Logbook(data_home)
    job = book.add_job("Bolt", **{k: fakes.CASE[k] for k in ("work", "edge", "lathe")})
    book.add_pass(job.id, cut=fakes.CASE["passes"][0]["cut"], advice=fakes.ADVICE)
    book.close()


def test_log_list_export_and_undo(data_home, fakes, capsys, tmp_path):
    assert main(["log", "list"]) == 0
    assert "empty" in capsys.readouterr().out
    _log_with_one_pass(data_home, fakes)
    assert main(["log", "list", "--json"]) == 0
    (row,) = _lines(capsys.readouterr().out)
    assert (row["pass"], row["feed_mm_rev"], row["lever"]) == (1, 0.04, "feed")
    assert main(["log", "list"]) == 0
    assert "900 rev/min, 0.04 mm/rev" in capsys.readouterr().out
    assert main(["log", "export"]) == 0
    assert json.loads(capsys.readouterr().out)["schema"] == "bluecurl.log/1"
    assert main(["log", "export", "--csv", "--out", str(tmp_path / "log.csv")]) == 0
    assert len((tmp_path / "log.csv").read_text().splitlines()) == 2
    capsys.readouterr()
    assert main(["log", "undo"]) == 0
    assert "pass kept" in capsys.readouterr().out
    assert main(["log", "list", "--json"]) == 0
    assert capsys.readouterr().out == ""


def test_logbook_trouble_is_8(data_home, capsys, tmp_path):
    assert main(["log", "undo"]) == 8
    assert main(["log", "export", "--job", "7"]) == 8
    assert main(["restore", str(tmp_path / "none.zip"), "--yes"]) == 8
    (data_home / "logbook.sqlite3").write_bytes(b"scribble" * 300)
    assert main(["log", "list"]) == 8
    assert "restore" in capsys.readouterr().err


def test_backup_and_restore(data_home, fakes, capsys, tmp_path):
    _log_with_one_pass(data_home, fakes)
    assert main(["backup", str(tmp_path / "copy.zip")]) == 0
    main(["log", "undo"])
    assert main(["restore", str(tmp_path / "copy.zip"), "--yes"]) == 0
    capsys.readouterr()
    main(["log", "list", "--json"])
    assert len(_lines(capsys.readouterr().out)) == 1


def test_a_restore_that_is_not_confirmed_changes_nothing(
    data_home, fakes, capsys, tmp_path, monkeypatch
):
    _log_with_one_pass(data_home, fakes)
    main(["backup", str(tmp_path / "copy.zip")])
    monkeypatch.setattr(sys, "stdin", io.StringIO("n\n"))
    assert main(["restore", str(tmp_path / "copy.zip")]) == 1
    assert not list(data_home.glob("before-restore*"))
    capsys.readouterr()


@pytest.mark.parametrize(
    "arguments",
    [
        ["nonsense"],
        ["read"],
        ["advise"],
        ["card"],
        ["read", "--jsn", "x.jpg"],
        ["--units", "ell"],
    ],
)
def test_wrong_usage_is_2_and_prints_no_data(arguments, capsys):
    assert main(arguments) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err


def test_card_is_written_with_its_size(tmp_path, capsys):
    assert main(["card", "--out", str(tmp_path / "card.pdf")]) == 0
    assert (tmp_path / "card.pdf").read_bytes().startswith(b"%PDF")
    assert "210 x 148 mm" in capsys.readouterr().out  # ISO 216: A5
    assert (
        main(["card", "--out", str(tmp_path / "card.png"), "--size", "a4", "--px-per-mm", "8"])
        == 0
    )
    assert "mm" in capsys.readouterr().out
    assert main(["card", "--out", str(tmp_path / "card.doc")]) == 2
    assert main(["card", "--out", str(tmp_path / "none" / "card.pdf")]) == 2


def test_light_commands_start_without_the_reader():
    """Half of a second matters at the lathe: the large libraries load only for a photo."""
    code = (
        "import sys; from app.cli import main; main(['log', '--help']);"
        "print(sorted({'cv2', 'skimage', 'sklearn', 'streamlit', 'numpy'} & set(sys.modules)))"
    )
    done = subprocess.run(  # noqa: S603
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[-1] == "[]"


def test_the_demo_leaves_nothing_behind(data_home, fakes, tmp_path, monkeypatch, capsys):
    from app import demo

    (tmp_path / "bolt.jpg").write_bytes(fakes.photo_bytes())
    fakes.case_file(tmp_path, name="bolt.case.json")
    monkeypatch.setattr(demo, "_PLACES", (tmp_path,))
    assert main(["demo"]) == 0
    out, err = capsys.readouterr()
    assert "long tubular coil (2.1)" in out
    assert "0.04 mm/rev → 0.06 mm/rev" in out
    assert "invented" in err
    assert not data_home.exists()


def test_version(capsys):
    assert main(["--version"]) == 0
    assert capsys.readouterr().out.startswith("bluecurl 0")
