"""Stand-ins for the two cores, spelt as in the contract, so that the app is tested alone.

Nothing here measures or advises; the numbers are invented and only travel through.
"""

from __future__ import annotations

import copy
import hashlib
import io
import json
from dataclasses import replace

import numpy as np
from PIL import Image, ImageDraw

from app.engine import ReadPhoto
from vision.errors import CardNotFound, NoChips, PhotoUnreadable
from vision.records import ChipGeometry, ChipReading, Measured, PhotoReading, Scale

METALS = ["1018", "304", "6061", "Ti-6Al-4V"]

CASE = {
    "schema": "bluecurl.case/1",
    "work": {"material": "Ti-6Al-4V", "diameter_mm": 12.0},
    "edge": {"material": "HSS", "id": "hss-3"},
    "lathe": {"spindle_rev_min": [430, 900], "feeds_mm_rev": [0.04, 0.06, 0.1]},
    "passes": [
        {
            "cut": {
                "direction": "along",
                "spindle_rev_min": 900,
                "feed_mm_rev": 0.04,
                "depth_mm": 0.3,
            }
        }
    ],
}


def photo_bytes(seed=1, size=(1600, 1200)):
    """A white sheet with five grey rings, as JPEG."""
    rng = np.random.default_rng(seed)
    picture = Image.new("RGB", size, (236, 236, 232))
    draw = ImageDraw.Draw(picture)
    for x, y in _middles(size):
        r = int(rng.integers(60, 110))
        draw.ellipse((x - r, y - r, x + r, y + r), outline=(120, 110, 90), width=28)
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=90)
    return out.getvalue()


def _middles(size):
    return [
        (size[0] * fx, size[1] * fy)
        for fx, fy in ((0.2, 0.3), (0.5, 0.25), (0.8, 0.3), (0.35, 0.7), (0.65, 0.7))
    ]


def reading_json(name="chips.jpg", data=b"", *, sure=True, usable="yes", form="2.1"):
    """A reading with every field of the contract."""
    chips = [
        {
            "number": n,
            "kind": "chip",
            "outline_px": [
                [
                    [int(x - 90), int(y)],
                    [int(x), int(y - 90)],
                    [int(x + 90), int(y)],
                    [int(x), int(y + 90)],
                ]
            ],
            "group": form[0],
            "form": form,
            "sure": sure,
            "candidates": [form] if sure else ["2.1", "2.2"],
            "probability": {str(g): 0.93 if str(g) == form[0] else 0.01 for g in range(1, 9)},
            "p_not_chip": 0.01,
            "why": [{"measure": "width lies along the axis", "weight": 1.8}],
            "length_mm": {"value": 161.0, "u": 6.0},
            "width_mm": {"value": 1.12, "u": 0.05},
            "extent_mm": {"value": 61.2, "u": 0.4},
            "curl_radius_mm": {"value": 2.13, "u": 0.1},
            "curl_radius_range_mm": None,
            "pitch_mm": {"value": 1.9, "u": 0.1},
            "turns": {"value": 12.6, "u": 0.3},
            "tint": {
                "name": "straw",
                "sure": True,
                "candidates": ["straw"],
                "film_nm": {"value": 19, "u": 4},
                "lab": [61.2, -0.3, 19.8],
                "share_tinted": {"value": 0.4, "u": 0.05},
            },
            "flags": [],
        }
        for n, (x, y) in enumerate(_middles((1600, 1200)), 1)
    ]
    return {
        "schema": "bluecurl.reading/1",
        "photo": name,
        "photos": [name],
        "sha256": hashlib.sha256(data).hexdigest(),
        "size_px": [1600, 1200],
        "scale": {
            "source": "card",
            "px_per_mm": {"value": 14.2, "u": 0.02},
            "residual_mm": 0.03,
        },
        "chips": chips,
        "form": {
            "code": form,
            "group": form[0],
            "main": form,
            "share": 0.83,
            "sure": sure,
            "candidates": [form] if sure else ["2.1", "2.2"],
            "mix": {form: 0.83, "6.2": 0.17},
        },
        "heat": {
            "tint": "straw",
            "sure": True,
            "candidates": ["straw"],
            "film_nm": {"value": 19, "u": 4},
            "share_tinted": {"value": 0.4, "u": 0.05},
            "temperature_c": {"at_least": 200, "likely_low": 350, "likely_high": 550},
            "basis": "invented",
        },
        "flags": [
            {
                "code": "uneven-light",
                "text": "One side of the card is much brighter than the other.",
                "do": "Use soft light from a window.",
            }
        ],
        "usable": usable,
        "versions": {"reader": "0", "features": "0", "model": "0"},
    }


def record(reading):
    """The record that belongs to a reading, as far as drawing needs it."""
    chips = tuple(
        ChipReading(
            number=c["number"],
            photo_number=c.get("photo_number", 1),
            kind="chip",
            outline_px=tuple(np.asarray(ring, float) for ring in c["outline_px"]),
            group=c["group"],
            form=c["form"],
            sure=c["sure"],
            candidates=tuple(c["candidates"]),
            probability=c["probability"],
            p_not_chip=0.0,
            why=(),
            geometry=ChipGeometry(),
            tint=None,
        )
        for c in reading["chips"]
    )
    return PhotoReading(
        photo=reading["photo"],
        photos=tuple(reading["photos"]),
        sha256=reading["sha256"],
        size_px=tuple(reading["size_px"]),
        scale=Scale(source="card", px_per_mm=Measured(value=14.2, u=0.02)),
        chips=chips,
        form=None,
        heat=None,
        flags=(),
        usable=reading["usable"],
        versions=reading["versions"],
    )


ADVICE = {
    "schema": "bluecurl.advice/1",
    "verdict": "change",
    "because": "The chips are long and stringy: they wrap round the work.",
    "do": [],
    "cautions": ["Stop the lathe before you clear long chips."],
    "change": {
        "lever": "feed",
        "from": 0.04,
        "to": 0.06,
        "unit": "mm/rev",
        "because": "A thicker chip bends harder and breaks sooner.",
        "expect": "Shorter coils, about a third of the length.",
        "if_not": "Go back and take more depth.",
        "sources": ["invented for a test"],
    },
    "alternatives": [],
    "next_cut": {
        "spindle_rev_min": 900,
        "feed_mm_rev": 0.06,
        "depth_mm": 0.3,
        "power_feed": True,
        "coolant": "cutting oil",
    },
    "checks": [
        {
            "limit": "spindle torque",
            "value": 0.9,
            "bound": 5.7,
            "kind": "max",
            "unit": "N m",
            "severity": "ok",
            "source": "invented",
        },
        {
            "limit": "roughness Rz",
            "value": 14.0,
            "bound": 16.0,
            "kind": "max",
            "unit": "µm",
            "severity": "near",
            "source": "invented",
        },
    ],
    "trust": "good",
}

START = {
    **ADVICE,
    "verdict": "start",
    "because": "A careful first cut.",
    "change": None,
    "cautions": [],
    "next_cut": {**ADVICE["next_cut"], "feed_mm_rev": 0.04},
}

PLAN = {
    "schema": "bluecurl.plan/1",
    "feasible": True,
    "passes": [
        {
            "number": 1,
            "kind": "rough",
            "diameter_from_mm": 12.0,
            "diameter_to_mm": 11.4,
            "cut": {"spindle_rev_min": 900, "feed_mm_rev": 0.06, "depth_mm": 0.3},
            "dial_divisions": 15,
            "checks": [],
            "expected_deflection_mm": {"value": 0.004, "u": 0.002},
            "expected_diameter_error_mm": {"value": 0.01, "u": 0.005},
            "seconds": 41,
        }
    ],
    "cautions": [],
    "why_not": None,
    "would_help": [],
}
NO_PLAN = {
    **PLAN,
    "feasible": False,
    "passes": [],
    "why_not": "The bar bends too far.",
    "would_help": ["a centre in the tailstock"],
}


class CaseInvalid(Exception):  # noqa: N818
    """The advisor's error of the same code."""

    code = "case-invalid"


class OutOfTable(Exception):  # noqa: N818
    """The advisor's error of the same code."""

    code = "outside-tables"


class LimitExceeded(Exception):  # noqa: N818
    """The advisor's error of the same code."""

    code = "limit-exceeded"


def without_colour(reading):
    """The reading of a photo that shows nothing white."""
    bare = copy.deepcopy(reading)
    bare["flags"].append({"code": "no-neutral", "text": "No white.", "do": "Use the card."})
    return {**bare, "heat": None, "chips": [{**c, "tint": None} for c in bare["chips"]]}


class FakeCores:
    """Answers like the cores do and remembers what it was asked."""

    def __init__(self):
        self.read_calls = []
        self.cases = []
        self.drawn = []
        self.sure = True
        self.usable = "yes"
        self.grey_from_x_px = 0  # nothing white in the photo, and grey only from here on

    def read_bytes(self, data, name, **options):
        self.read_calls.append((name, options))
        if options.get("progress"):
            options["progress"]("finding chips", 0.5)
        if not data.startswith(b"\xff\xd8"):
            raise PhotoUnreadable(f"{name} is no picture")
        if options.get("need_card") and "nocard" in name:
            raise CardNotFound("no card in view")
        if "empty" in name:
            raise NoChips("nothing there")
        if "fault" in name:
            raise RuntimeError("secret detail")
        reading = reading_json(name, data, sure=self.sure, usable=self.usable)
        x_px, _ = options.get("neutral_px") or (0, 0)
        if x_px < self.grey_from_x_px:
            reading = without_colour(reading)
        return ReadPhoto(record(reading), reading)

    def combine(self, readings):
        if len(readings) == 1:
            return readings[0]
        joined = copy.deepcopy(readings[0].json)
        joined["photos"] = [r.json["photo"] for r in readings]
        joined["chips"] = [
            {**chip, "photo_number": place}
            for place, reading in enumerate(readings, 1)
            for chip in reading.json["chips"]
        ]
        for number, chip in enumerate(joined["chips"], 1):
            chip["number"] = number
        flags = [flag for reading in readings for flag in reading.json["flags"]]
        joined["flags"] = list({flag["code"]: flag for flag in flags}.values())
        joined["heat"] = next((r.json["heat"] for r in readings if r.json["heat"]), None)
        whole = replace(record(joined), photos=tuple(joined["photos"]))
        return ReadPhoto(whole, joined)

    def picture(self, data, reading, **options):
        self.drawn.append([chip.number for chip in reading.record.chips])
        from vision.overlay import draw_overlay, encode_jpeg

        rgb = np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))
        return encode_jpeg(draw_overlay(rgb, reading.record, **options))

    def advise_case(self, case, units=None):
        self.cases.append(copy.deepcopy(case))
        self.units = units
        self._check(case)
        return copy.deepcopy(ADVICE if case["passes"] else START)

    def plan_case(self, case, units=None):
        self.units = units
        self._check(case)
        return copy.deepcopy(NO_PLAN if case["work"].get("stickout_mm", 0) > 100 else PLAN)

    @staticmethod
    def _check(case):
        if "work" not in case:
            raise CaseInvalid("“work” is missing")
        if case["work"].get("material") not in METALS:
            raise OutOfTable(f"no metal called {case['work'].get('material')!r}")

    @staticmethod
    def materials():
        return list(METALS)

    def put_in_place(self, patch):
        """Let the app's door to the cores lead here; ``patch(name, value)`` sets one name."""
        for name in (
            "read_bytes",
            "combine",
            "picture",
            "advise_case",
            "plan_case",
            "materials",
        ):
            patch(name, getattr(self, name))


def case_file(folder, case=None, name="case.json"):
    """Write a case and return its path."""
    path = folder / name
    path.write_text(json.dumps(CASE if case is None else case), encoding="utf-8")
    return path
