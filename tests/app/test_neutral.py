"""``read --neutral``: what is asked of the reader, and what is told to the person."""

from __future__ import annotations

import pytest

from app.cli import main
from app.errors import UsageInvalid
from app.readcommand import neutral_of


@pytest.fixture
def photo(tmp_path, fakes):
    path = tmp_path / "a2.jpg"
    path.write_bytes(fakes.photo_bytes(1))
    return path


def test_a_pair_of_pixels():
    assert neutral_of("120,45.5") == (120.0, 45.5)


@pytest.mark.parametrize("text", ["", "12", "1,2,3", "-1,5", "x,y", "nan,3", "inf,3"])
def test_anything_else_is_wrong_usage(text):
    with pytest.raises(UsageInvalid, match="--neutral"):
        neutral_of(text)


def test_the_pixel_reaches_the_reader(cores, photo, capsys):
    assert main(["read", str(photo), "--json", "--neutral", "10,20"]) == 0
    assert cores.read_calls[-1][1]["neutral_px"] == (10.0, 20.0)
    capsys.readouterr()


def test_without_one_the_reader_is_asked_as_before(cores, photo, capsys):
    main(["read", str(photo), "--json"])
    assert cores.read_calls[-1][1].get("neutral_px") is None
    capsys.readouterr()


def test_a_pixel_that_cannot_serve_is_told(cores, photo, capsys):
    cores.grey_from_x_px = 1000
    assert main(["read", str(photo), "--neutral", "999,20"]) == 0
    out, err = capsys.readouterr()
    assert "999,20 is not even, grey and well lit; no tint is read" in err
    assert "Tint   not read" in out
    assert main(["read", str(photo), "--neutral", "1000,20"]) == 0
    out, err = capsys.readouterr()
    assert "well lit" not in err
    assert "Tint   straw" in out


def test_a_pixel_outside_the_photo_is_told(cores, photo, capsys):
    assert main(["read", str(photo), "--neutral", "99999,20"]) != 0
    assert cores.read_calls
    assert "outside the photo" in capsys.readouterr().err
