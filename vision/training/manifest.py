"""One line for each rendered scene: what was in the corpus that the data were made from."""

from __future__ import annotations

import csv
import gzip
import hashlib
import io
import json
from collections import Counter
from typing import TYPE_CHECKING, Any

from vision.training.rows import scene_paths

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

__all__ = ["COLUMNS", "line_of", "manifest_bytes"]

_GROUPS = "12345678"
COLUMNS = (
    *("set", "seed", "generator", "samples", "kind", "side", "ground", "light", "camera"),
    *("px_per_mm", "tilt_deg", "chips", "counting"),
    *(f"group_{g}" for g in _GROUPS),
    *("nests", "photo", "sha256"),
)


def line_of(path: Path) -> dict[str, Any]:
    """Return the manifest's line for the scene of a truth file."""
    truth = json.loads(path.read_text(encoding="utf-8"))
    counting = [c for c in truth["chips"] if c["counts"]]
    groups = Counter(str(c["group"]) for c in counting)
    photo = path.with_name(truth["photo"])
    return {
        "set": truth["set"],
        "seed": truth["seed"],
        "generator": truth["generator"],
        "samples": truth["samples"],
        "kind": truth["kind"],
        "side": truth["families"]["side"],
        "ground": truth["ground"],
        "light": truth["families"]["light"],
        "camera": truth["families"]["camera"],
        "px_per_mm": round(truth["px_per_mm"], 2),
        "tilt_deg": truth["tilt_deg"],
        "chips": len(truth["chips"]),
        "counting": len(counting),
        **{f"group_{g}": groups[g] for g in _GROUPS},
        "nests": sum(str(c["form"]).endswith(".3") for c in counting),
        "photo": photo.name,
        "sha256": hashlib.sha256(photo.read_bytes()).hexdigest(),
    }


def manifest_bytes(folders: Iterable[Path]) -> bytes:
    """Return the manifest of some folders as gzip-compressed CSV, repeatable byte for byte."""
    text = io.StringIO()
    writer = csv.DictWriter(text, COLUMNS, lineterminator="\n")
    writer.writeheader()
    for folder in folders:
        writer.writerows(map(line_of, scene_paths(folder)))
    return gzip.compress(text.getvalue().encode(), mtime=0)
