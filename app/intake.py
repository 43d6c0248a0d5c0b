"""Photos on their way in: files, folders and uploads become named bytes.

Whether the bytes are a picture is decided by the reader, not by the name.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from app.errors import PhotoNotFound
from app.place import without_place

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["PHOTO_SUFFIXES", "Incoming", "find_photos", "from_upload", "read_file", "safe_name"]

#: Names taken from a folder; a file named outright may be called anything.
PHOTO_SUFFIXES = (".jpg", ".jpeg", ".png", ".webp", ".heic", ".heif")

_NAME_LENGTH = 80
_SUFFIX_LENGTH = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Incoming:
    """One photo before it is read; ``sha256`` belongs to ``data`` as it stands here.

    ``neutral_px`` is where in the upright photo a person said that something grey lies.
    """

    name: str
    data: bytes
    sha256: str
    neutral_px: tuple[int, int] | None = None


def find_photos(paths: Iterable[Path]) -> list[Path]:
    """Return the photos meant by files and folders, in the order given.

    A folder stands for its photos in the order a person counts (2 before 10), not for
    those of its sub-folders. A file named twice, or by its folder too, comes once. A
    path that does not exist stays in the list, so that its error has its place, and so
    does a folder without photos.
    """
    found: dict[Path, None] = {}
    for path in paths:
        if path.is_dir():
            inside = [
                p for p in path.iterdir() if p.suffix.lower() in PHOTO_SUFFIXES and p.is_file()
            ]
            visible = [p for p in inside if not p.name.startswith(".")]
            found.update(dict.fromkeys(sorted(visible, key=_as_counted) or [path]))
        else:
            found[path] = None
    return list(found)


def _as_counted(path: Path) -> tuple[list[tuple[bool, int, str]], str]:
    """Sort key that counts the digits inside a name."""
    parts = re.findall(r"\d+|\D+", path.name.casefold())
    return [(not p.isdigit(), int(p) if p.isdigit() else 0, p) for p in parts], path.name


def read_file(path: Path) -> Incoming:
    """Return a file as it is on disk.

    Raises
    ------
    PhotoNotFound
        If there is no such file, or it is a folder without photos, or may not be read.
    """
    if path.is_dir():
        raise PhotoNotFound(f"the folder {path} holds no photo")
    try:
        data = path.read_bytes()
    except OSError as error:
        raise PhotoNotFound(f"{path}: {error.strerror or error}") from error
    return Incoming(name=path.name, data=data, sha256=hashlib.sha256(data).hexdigest())


def from_upload(name: str, data: bytes) -> Incoming:
    """Return an upload that may be kept: place data dropped, name made harmless."""
    kept = without_place(data)
    return Incoming(name=safe_name(name), data=kept, sha256=hashlib.sha256(kept).hexdigest())


def safe_name(name: str) -> str:
    """Return a file name without folders and control characters, at most 80 long.

    >>> safe_name("../../a b.jpg")
    'a b.jpg'
    """
    last = re.split(r"[/\\]", name)[-1]
    printable = "".join(c for c in last if c.isprintable()).strip(" .")
    if len(printable) > _NAME_LENGTH:
        suffix = Path(printable).suffix[:_SUFFIX_LENGTH]
        printable = printable[: _NAME_LENGTH - len(suffix)] + suffix
    return printable or "photo"
