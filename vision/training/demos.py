"""Shrink the rendered demo scenes to the photos that ship with the program.

    python -m vision.training.demos --scenes DIR --out demo_images

Scenes are taken in the order of their seeds, none left out for its looks. The truth
keeps only what a person would check; its maps are scaled with the photo.
"""

from __future__ import annotations

import argparse
import io
import json
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from PIL import Image

from vision.photo.decode import decode_photo

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["main", "shrink_demo"]

LONG_SIDE_PX = 2200
_QUALITY = 84
_KEPT = (
    "number",
    "group",
    "form",
    "also",
    "metal",
    "counts",
    "length_mm",
    "width_mm",
    "thickness_mm",
    "extent_mm",
    "curl_radius_mm",
    "curl_radius_range_mm",
    "pitch_mm",
    "turns",
    "coil_length_mm",
    "film_nm",
    "centre_mm",
)


def _title(case: dict[str, Any], taken: set[str]) -> str:
    """Return a file name from the job's description: part and metal."""
    about = re.split(r",| from ", str(case["work"].get("about", "workshop part")))[0]
    words = re.sub(r"[^a-z0-9]+", "-", f"{about} {case['work']['material']}".lower()).strip("-")
    name, k = words, 2
    while name in taken:
        name, k = f"{words}-{k}", k + 1
    taken.add(name)
    return name


def shrink_demo(photo: bytes, truth: dict[str, Any]) -> tuple[bytes, dict[str, Any]]:
    """Return a smaller upright photo with the truth that belongs to it."""
    decoded = decode_photo(photo)
    upright = Image.fromarray(decoded.rgb)
    factor = min(1.0, LONG_SIDE_PX / max(upright.size))
    size = (round(upright.width * factor), round(upright.height * factor))
    out = io.BytesIO()
    small = upright.resize(size, Image.Resampling.LANCZOS)
    small.save(out, "JPEG", quality=_QUALITY, icc_profile=decoded.icc, optimize=True)
    # Pixel centres are at integers: half a pixel moves with the scale.
    shift = (factor - 1) / 2
    scale = np.array([[factor, 0, shift], [0, factor, shift], [0, 0, 1]])
    lens = dict(truth["lens"])
    lens["focal_px"] *= factor
    lens["middle_px"] = [m * factor + shift for m in lens["middle_px"]]
    smaller = {
        "schema": truth["schema"],
        "rendered": "path-traced, not photographed; every part and chip is invented",
        "seed": truth["seed"],
        "generator": truth["generator"],
        "size_px": list(size),
        "px_from_mm": (scale @ np.array(truth["px_from_mm"])).tolist(),
        "lens": lens,
        "px_per_mm": truth["px_per_mm"] * factor,
        "ground": truth["ground"],
        "card": truth["card"],
        "card_state": truth["card_state"],
        "chips": [{k: c.get(k) for k in _KEPT} for c in truth["chips"]],
        "grains": truth["grains"],
    }
    return out.getvalue(), smaller


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command; returns the exit code."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args(argv)
    taken: set[str] = set()
    for path in sorted(args.scenes.glob("*.truth.json")):
        stem = path.name.removesuffix(".truth.json")
        truth = json.loads(path.read_text())
        case = json.loads((args.scenes / f"{stem}.case.json").read_text())
        name = _title(case, taken)
        photo, smaller = shrink_demo((args.scenes / truth["photo"]).read_bytes(), truth)
        smaller["photo"] = f"{name}.jpg"
        (args.out / f"{name}.jpg").write_bytes(photo)
        (args.out / f"{name}.truth.json").write_text(json.dumps(smaller) + "\n")
        about = case["work"].pop("about", "workshop part")
        case["work"]["note"] = f"invented: {about}"
        (args.out / f"{name}.case.json").write_text(json.dumps(case, indent=1) + "\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
