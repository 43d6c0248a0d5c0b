"""The demo photos that come with the program; rendered, and everything about them invented."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from app.errors import PhotoNotFound
from app.intake import PHOTO_SUFFIXES

__all__ = ["Demo", "default_demo", "demos"]

#: A remark for people; a case has no such field.
_ABOUT = "about"
#: Shown when nobody chooses: the part that the README tells about.
_DEFAULT = "handle-of-a-spoke-key-12l14-2"

_HERE = Path(__file__).resolve().parent
#: In an installed package, and in the source tree.
_PLACES = (_HERE / "demo_images", _HERE.parent / "demo_images")


@dataclass(frozen=True, slots=True)
class Demo:
    """A photo with the case it belongs to."""

    name: str
    photo: Path
    case_path: Path

    @property
    def title(self) -> str:
        """Part and metal in words; a second photo of the same cut says so."""
        metal = str(self.case()["work"]["material"])
        part, _, number = self.name.partition("-" + metal.lower().replace(" ", "-"))
        words = part.replace("-", " ")
        photo = f", photo {number.strip('-')}" if number else ""
        return f"{words[:1].upper()}{words[1:]}, {metal}{photo}"

    def case(self) -> dict[str, Any]:
        """Return the cut that the photo is said to come from."""
        case: dict[str, Any] = json.loads(self.case_path.read_text(encoding="utf-8"))
        work = {k: v for k, v in case.get("work", {}).items() if k != _ABOUT}
        return {**case, "work": work}


def demos() -> list[Demo]:
    """Return all demo photos that have a case, by name."""
    for folder in _PLACES:
        found = [
            Demo(photo.stem, photo, case)
            for photo in sorted(folder.glob("*"), key=lambda path: path.stem)
            if photo.suffix.lower() in PHOTO_SUFFIXES
            and (case := photo.with_name(photo.stem + ".case.json")).exists()
        ]
        if found:
            return found
    return []


def default_demo() -> Demo:
    """Return the demo that is shown when nobody chooses.

    Raises
    ------
    PhotoNotFound
        If the demo photos are missing from this installation.
    """
    found = demos()
    if not found:
        raise PhotoNotFound("the demo photos are missing; install the program again")
    return next((demo for demo in found if demo.name.startswith(_DEFAULT)), found[0])
