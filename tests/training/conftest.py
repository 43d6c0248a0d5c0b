"""Scenes as the renderer leaves them, but drawn by the cheap maker: no tracer needed."""

from __future__ import annotations

import io
import json

import cv2
import numpy as np
import pytest
from PIL import Image

from vision.photo.card import CARDS, field_mm
from vision.records import ChipGeometry, ChipReading
from vision.synthetic import make_scene

CODES = {
    "1": "1.2",
    "2": "2.2",
    "3": "3.1",
    "4": "4.2",
    "5": "5.2",
    "6": "6.2",
    "7": "7",
    "8": "8",
}
#: What a grain's reading holds where nothing more is said.
GRAIN = {
    "number": 1,
    "kind": "chip",
    "outline_px": (np.zeros((3, 2)),),
    "group": "7",
    "form": "7",
    "sure": True,
    "candidates": ("7",),
    "probability": {},
    "p_not_chip": 0.0,
    "why": (),
    "geometry": ChipGeometry(),
    "tint": None,
}
SIZES = ("length_mm", "width_mm", "extent_mm", "curl_radius_mm", "pitch_mm", "turns")


def truth_of(name, scene, mask, px_from_mm, *, seed, card):
    height, width = mask.shape
    chips = []
    for chip in scene.chips:
        visible = int((mask == chip.number).sum())
        code = f"{chip.group}.3" if chip.kind == "nest" else CODES[chip.group]
        whole = visible == int((scene.mask == chip.number).sum())
        chips.append(
            {
                "number": chip.number,
                "group": chip.group,
                "form": code,
                "also": [],
                "visible_px": visible,
                "share_unoccluded": 1.0,
                "in_frame": whole,
                "counts": whole and visible >= 150 and chip.kind != "grains",
                **{k: getattr(chip, k) for k in SIZES},
                "coil_length_mm": chip.coil_length_mm,
                "width_mm": chip.width_mm or 0.5,
                "centre_mm": list(chip.centre_mm),
                "population": None,
            }
        )
    return {
        "seed": seed,
        "set": "made",
        "generator": "made",
        "kind": "plain",
        "samples": 0,
        "photo": f"{name}.jpg",
        "size_px": [width, height],
        "px_from_mm": px_from_mm.tolist(),
        "px_per_mm": 9.0,
        "tilt_deg": 0.0,
        "lens": {"k1": 0.0, "k2": 0.0, "focal_px": 1.0, "middle_px": [0.0, 0.0]},
        "ground": "card" if card else "paper",
        "card": "a5" if card else None,
        "card_state": {"print_scale": 1.0} if card else None,
        "families": {"side": "train", "light": "made", "camera": "made", "metals": []},
        "chips": chips,
        "grains": [],
        "crumbs": {"count": 0},
        "distractors": [],
    }


def write(folder, name, rgb, mask, truth):
    out = io.BytesIO()
    Image.fromarray(rgb).save(out, "JPEG", quality=92)
    (folder / truth["photo"]).write_bytes(out.getvalue())
    cv2.imwrite(str(folder / f"{name}.mask.png"), mask.astype(np.uint8))
    (folder / f"{name}.truth.json").write_text(json.dumps(truth), encoding="utf-8")


@pytest.fixture(scope="session")
def made_scenes(tmp_path_factory):
    """Two scenes on the card, and the field of the first cut out as a photo without one."""
    folder = tmp_path_factory.mktemp("made")
    for seed in (1, 2):
        scene = make_scene(np.random.default_rng(seed), px_per_mm=9.0, chips=6, tilt_deg=2.0)
        name = f"made-{seed}"
        truth = truth_of(name, scene, scene.mask, scene.px_from_mm, seed=seed, card=True)
        write(folder, name, scene.rgb, scene.mask, truth)
        if seed == 1:
            x0, y0, x1, y1 = field_mm(CARDS["a5"])
            corners = np.array([[x0, y0, 1], [x1, y0, 1], [x1, y1, 1], [x0, y1, 1]]).T
            px = scene.px_from_mm @ corners
            px = (px[:2] / px[2]).T
            left, top = np.ceil(px.min(axis=0)).astype(int) + 12
            right, low = np.floor(px.max(axis=0)).astype(int) - 12
            cut = np.s_[top:low, left:right]
            move = np.array([[1, 0, -left], [0, 1, -top], [0, 0, 1]])
            h = move @ scene.px_from_mm
            truth = truth_of("made-3", scene, scene.mask[cut], h, seed=3, card=False)
            write(
                folder, "made-3", np.ascontiguousarray(scene.rgb[cut]), scene.mask[cut], truth
            )
    return folder


@pytest.fixture
def grain():
    """Make the reading of a grain; what is named differs from the plain one."""
    return lambda **more: ChipReading(**{**GRAIN, **more})
