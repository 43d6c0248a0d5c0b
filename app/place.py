"""Drop place data from a photo without touching its picture.

Phones write where a photo was taken into the file. The tags are blanked where they
stand (same length, so nothing else in the file moves) and the pixels are never coded
anew, because a second JPEG compression would shift the colours we measure.

Formats: Exif 2.32 (CIPA DC-008, clause 4.6.6: GPS attributes) inside a TIFF 6.0
structure; XMP packets as text. Both layouts are from memory, checked in the tests
against files written by Pillow.
"""

from __future__ import annotations

import re
import struct
import zlib

__all__ = ["without_place"]

_TIFF_HEADS = (b"II*\x00", b"MM\x00*")
_GPS_POINTER = 0x8825
_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8}
_XMP_GPS = re.compile(
    rb"(?:exif:GPS\w+|GPS\w+|Iptc4xmp\w*:Location\w*|photoshop:(?:City|State|Country))"
    rb"(?:\s*=\s*\"([^\"]*)\"|\s*=\s*'([^']*)'|[^<>]*>([^<]*)<)"
)
_LONG = 4  # TIFF type of a 32-bit number
_FIELD_BYTES = 4  # a longer value stands elsewhere
_MAX_ENTRIES = 512  # a directory with more is damaged


def without_place(data: bytes) -> bytes:
    """Return the same file with the values of its GPS tags blanked.

    Parameters
    ----------
    data : bytes
        A JPEG, PNG, WebP or HEIC file; anything else comes back unchanged.

    Returns
    -------
    bytes
        Same length, same picture. Without place data it is equal to ``data``.

    Notes
    -----
    Not to be trusted for: place names in maker notes of single cameras, or for what can
    be seen in the picture itself.
    """
    cleaned = bytearray(data)
    for head in _TIFF_HEADS:
        start = data.find(head)
        while start >= 0:
            _blank_tiff(cleaned, start, ">" if head[:2] == b"MM" else "<")
            start = data.find(head, start + 4)
    _blank_xmp(cleaned)
    if cleaned != data and data.startswith(b"\x89PNG\r\n\x1a\n"):
        _renew_png_checks(cleaned)
    return bytes(cleaned)


def _blank_tiff(data: bytearray, start: int, order: str) -> None:
    """Blank the GPS directory of one TIFF structure, if it has one."""
    try:
        (first,) = struct.unpack_from(order + "I", data, start + 4)
        for tag, kind, _count, value_at in _entries(data, start, first, order):
            if tag == _GPS_POINTER and kind == _LONG:
                (gps,) = struct.unpack_from(order + "I", data, value_at)
                _blank_directory(data, start, gps, order)
    except (struct.error, IndexError):
        return  # four bytes that looked like a header by chance, or a damaged block


def _entries(
    data: bytearray, start: int, offset: int, order: str
) -> list[tuple[int, int, int, int]]:
    """Return (tag, type, count, position of the value field) of one directory."""
    (count,) = struct.unpack_from(order + "H", data, start + offset)
    if count > _MAX_ENTRIES:
        return []
    found = []
    for i in range(count):
        at = start + offset + 2 + 12 * i
        tag, kind, number = struct.unpack_from(order + "HHI", data, at)
        found.append((tag, kind, number, at + 8))
    return found


def _blank_directory(data: bytearray, start: int, offset: int, order: str) -> None:
    """Fill the values of every GPS entry, near or far, with zeros."""
    for _tag, kind, number, value_at in _entries(data, start, offset, order):
        size = _SIZES.get(kind, 0) * number
        if size > _FIELD_BYTES:
            (far,) = struct.unpack_from(order + "I", data, value_at)
            end = min(start + far + size, len(data))
            data[start + far : end] = bytes(max(end - start - far, 0))
        else:
            data[value_at : value_at + 4] = bytes(4)


def _blank_xmp(data: bytearray) -> None:
    """Put spaces in place of the values of place tags in XMP text."""
    at = data.find(b"<x:xmpmeta")
    while at >= 0:
        end = data.find(b"</x:xmpmeta>", at)
        if end < 0:
            return
        for match in _XMP_GPS.finditer(bytes(data[at:end])):
            for group in (1, 2, 3):
                if match.group(group):
                    low, high = match.span(group)
                    data[at + low : at + high] = b" " * (high - low)
        at = data.find(b"<x:xmpmeta", end)


def _renew_png_checks(data: bytearray) -> None:
    """Write the check sums of all PNG chunks anew."""
    at = 8
    while at + 12 <= len(data):
        (length,) = struct.unpack_from(">I", data, at)
        end = at + 8 + length
        if end + 4 > len(data):
            return
        struct.pack_into(">I", data, end, zlib.crc32(data[at + 4 : end]))
        at = end + 4
