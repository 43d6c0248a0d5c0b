"""Drawn photos whose sizes calculus gives and whose card is exact, and how to compare.

Drawn metal mirrors nothing, so it is drawn dark, as bare metal looks under a soft light
where it mirrors the room instead of the lamp.
"""

from __future__ import annotations

import io
from collections import Counter
from dataclasses import replace

import cv2
import numpy as np
from PIL import Image

from vision.photo.card import CARDS, field_mm
from vision.synthetic import FORMS, make_scene
from vision.synthetic.strips import arc, make_chip, needle, wavy_ribbon

#: Linear, white paper = 1. Bare metal mirrors a room several times darker than the sheet
#: (common practice, no source); brighter and flat it would be painted paper.
DARK = (0.30, 0.29, 0.28)


def dark(chips):
    return [replace(c, colour=DARK) for c in chips]


def one_of_each(seed):
    """A photo with one chip of every form that can be drawn."""
    rng = np.random.default_rng(seed)
    return make_scene(rng, chips=dark([make_chip(rng, form) for form in FORMS]))


def lines():
    """A photo of strips whose developed length is plain to see: nothing overlaps."""
    shapes = [
        needle(5.0, 0.3),
        needle(7.0, 0.4),
        wavy_ribbon(12.0, 1.5, 1.0, 0.4),
        wavy_ribbon(14.0, 1.5, 1.0, 0.7),
        wavy_ribbon(16.0, 2.0, 0.5, 1.0),
        arc(6.0, 120.0, 0.5),
    ]
    return make_scene(np.random.default_rng(3), chips=dark(shapes))


def as_jpeg(rgb, **options):
    out = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(rgb)).save(out, "JPEG", quality=92, **options)
    return out.getvalue()


def covered(rings, shape):
    """Pixels inside the rings, holes left out."""
    canvas = np.zeros(shape, np.uint8)
    cv2.fillPoly(canvas, [np.rint(r * 16).astype(np.int32) for r in rings], 1, shift=4)
    return canvas > 0


def matched(scene, reading):
    """Pairs (drawn, read) that overlap by half of what both cover together."""
    whole = np.bincount(scene.mask.ravel(), minlength=len(scene.chips) + 1)
    pairs = []
    for chip in reading.chips:
        inside = covered(chip.outline_px, scene.mask.shape)
        both = np.bincount(scene.mask[inside], minlength=len(whole))
        either = inside.sum() + whole - both
        pairs += [
            (drawn, chip)
            for drawn in scene.chips
            if both[drawn.number] >= 0.5 * either[drawn.number]
        ]
    return pairs


def true_density(scene, x_px, y_px):
    """Pixels per mm of the drawn camera at a place in the photo: root of the Jacobian."""
    h = scene.px_from_mm
    at = np.linalg.solve(h, [x_px, y_px, 1.0])
    w = h[2] @ (at / at[2])
    return float(np.sqrt(abs(np.linalg.det(h)) / abs(w) ** 3))


def middle_of(reading):
    ends = [
        (np.concatenate(c.outline_px).min(0), np.concatenate(c.outline_px).max(0))
        for c in reading.chips
    ]
    return np.mean([(a + b) / 2 for a, b in ends], axis=0)


def tallied(chips):
    return Counter((c.kind, c.group, c.form) for c in chips)


def field_corners(scene):
    """The white field's corners in the photo, (4, 2)."""
    x0, y0, x1, y1 = field_mm(CARDS["a5"])
    corners = np.array([[x0, y0, 1], [x1, y0, 1], [x1, y1, 1], [x0, y1, 1]])
    seen = corners @ scene.px_from_mm.T
    return seen[:, :2] / seen[:, 2:]
