"""Photos on their way in: order, errors in their place, place data gone, picture untouched."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from pillow_heif import register_heif_opener

from app.errors import PhotoNotFound
from app.intake import find_photos, from_upload, read_file, safe_name
from app.place import without_place

GPS, MODEL, MAKER = 0x8825, 0x0110, 0x010F  # Exif 2.32: tags of the first directory
XMP = (
    b'<?xpacket begin="" id="W5M0MpCehiHzreSzNTczkc9d"?><x:xmpmeta xmlns:x="adobe:ns:meta/">'
    b'<rdf:RDF><rdf:Description exif:GPSLatitude="48,12.5N" exif:GPSLongitude="16,22.3E" '
    b'tiff:Model="A phone"><photoshop:City>Sometown</photoshop:City>'
    b"</rdf:Description></rdf:RDF></x:xmpmeta>"
)


def _with_place(format_, rng, **extra):
    register_heif_opener()
    exif = Image.Exif()
    exif[MODEL] = "A phone with a long name"
    exif[MAKER] = "Nobody"
    exif[0x0112] = 1
    exif.get_ifd(GPS).update(
        {1: "N", 2: (48.0, 12.0, 31.4159), 3: "E", 4: (16.0, 22.0, 27.182), 29: "2024:07:01"}
    )
    picture = Image.fromarray(rng.integers(0, 255, (24, 32, 3), dtype=np.uint8))
    out = io.BytesIO()
    picture.save(out, format_, exif=exif.tobytes(), **extra)
    return out.getvalue()


def _is_blank(value):
    """Zeros, zero over zero (which Pillow shows as not-a-number), or text of zero bytes."""
    if isinstance(value, tuple):
        return all(_is_blank(v) for v in value)
    if isinstance(value, str | bytes):
        return set(value) <= {"\0", 0}
    return value == 0 or np.isnan(float(value))


def _gps(data):
    return Image.open(io.BytesIO(data)).getexif().get_ifd(GPS)


@pytest.mark.parametrize("format_", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_place_goes_and_the_rest_stays(format_, rng):
    data = _with_place(format_, rng)
    assert _gps(data)[2] == (48.0, 12.0, pytest.approx(31.4159)), (
        "the test photo must hold a place"
    )
    cleaned = without_place(data)
    assert len(cleaned) == len(data)
    for value in _gps(cleaned).values():
        assert _is_blank(value), value
    picture, original = (Image.open(io.BytesIO(d)) for d in (cleaned, data))
    assert np.array_equal(np.asarray(picture), np.asarray(original))
    assert picture.getexif()[MODEL] == "A phone with a long name"


def test_place_in_xmp_goes(rng):
    data = _with_place("JPEG", rng, xmp=XMP)
    cleaned = without_place(data)
    for secret in (b"48,12.5N", b"16,22.3E", b"Sometown"):
        assert secret in data
        assert secret not in cleaned
    assert b'tiff:Model="A phone"' in cleaned


def test_a_photo_without_place_is_unchanged(rng):
    out = io.BytesIO()
    Image.fromarray(rng.integers(0, 255, (24, 32, 3), dtype=np.uint8)).save(out, "JPEG")
    assert without_place(out.getvalue()) == out.getvalue()


@given(st.binary(max_size=400), st.integers(0, 60))
def test_nonsense_never_crashes_and_keeps_its_length(noise, at):
    spiced = noise[:at] + b"II*\x00" + noise[at:] + b"<x:xmpmeta GPSFoo"
    assert len(without_place(spiced)) == len(spiced)


def test_the_hash_belongs_to_what_is_kept(rng):
    data = _with_place("JPEG", rng)
    photo = from_upload("x.jpg", data)
    assert photo.data == without_place(data)
    assert from_upload("y.jpg", photo.data).sha256 == photo.sha256


def test_folders_are_read_as_a_person_counts(tmp_path):
    for name in ("pass10.jpg", "pass2.JPG", "pass1.heic", "notes.txt", ".hidden.jpg"):
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / "deeper").mkdir()
    (tmp_path / "deeper" / "old.jpg").write_bytes(b"x")
    names = [p.name for p in find_photos([tmp_path])]
    assert names == ["pass1.heic", "pass2.JPG", "pass10.jpg"]


def test_order_of_the_command_and_no_photo_twice(tmp_path):
    for name in ("a.jpg", "b.jpg"):
        (tmp_path / name).write_bytes(b"x")
    b, missing = tmp_path / "b.jpg", tmp_path / "missing.jpg"
    assert find_photos([b, missing, tmp_path]) == [b, missing, tmp_path / "a.jpg"]


def test_missing_files_and_empty_folders_are_errors_of_their_own(tmp_path):
    for path in find_photos([tmp_path, Path(tmp_path / "none.jpg")]):
        with pytest.raises(PhotoNotFound):
            read_file(path)


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("../../etc/passwd", "passwd"),
        ("C:\\photos\\chips.jpg", "chips.jpg"),
        ("a\x00b\n.jpg", "ab.jpg"),
        ("..", "photo"),
        ("x" * 200 + ".jpg", "x" * 76 + ".jpg"),
    ],
)
def test_harmless_names(name, kept):
    assert safe_name(name) == kept
