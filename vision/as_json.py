"""A reading as plain data in the shape ``bluecurl.reading/1``.

Only here do records become dictionaries, so that the stable shape has one home.
Numbers are rounded to what their uncertainty carries; unknown is ``None``.
"""

from __future__ import annotations

from math import floor, isfinite, log10
from typing import TYPE_CHECKING, Any, cast

import numpy as np

from vision.terms import FLAGS, Flag

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vision.arrays import Points2
    from vision.records import (
        ChipReading,
        ChipTint,
        FormVerdict,
        Heat,
        Measured,
        PhotoReading,
        Scale,
    )

__all__ = ["SCHEMA", "reading_json"]

SCHEMA = "bluecurl.reading/1"
_GROUPS = ("1", "2", "3", "4", "5", "6", "7", "8")


def _rounded(value: float, u: float) -> float:
    """Round to two figures of the uncertainty."""
    if not u > 0 or not isfinite(u):
        return float(value)
    return float(round(value, int(min(8, max(-3, 1 - floor(log10(u)))))))


def _measured(m: Measured | None) -> dict[str, Any] | None:
    if m is None:
        return None
    out: dict[str, Any] = {"value": _rounded(m.value, m.u), "u": _rounded(m.u, m.u)}
    if m.bound is not None:
        out["bound"] = m.bound
    return out


def _rings(rings: Sequence[Points2]) -> list[list[list[float]]]:
    """Return rings to a tenth of a pixel; all are rounded at once, which is much quicker."""
    if not rings:
        return []
    points = cast("list[list[float]]", np.round(np.concatenate(rings), 1).tolist())
    ends = np.cumsum([len(ring) for ring in rings]).tolist()
    return [points[a:b] for a, b in zip([0, *ends], ends, strict=False)]


def _tint(t: ChipTint | None) -> dict[str, Any] | None:
    if t is None:
        return None
    return {
        "name": t.name,
        "sure": t.sure,
        "candidates": list(t.candidates),
        "film_nm": _measured(t.film_nm),
        "lab": None if t.lab is None else [round(v, 1) for v in t.lab],
        "share_tinted": _measured(t.share_tinted),
    }


def _chip(c: ChipReading) -> dict[str, Any]:
    g = c.geometry
    out: dict[str, Any] = {
        "number": c.number,
        "photo_number": c.photo_number,
        "kind": c.kind,
        "outline_px": _rings(c.outline_px),
        "group": c.group,
        "form": c.form,
        "sure": c.sure,
        "candidates": list(c.candidates),
        "probability": {k: round(float(c.probability.get(k, 0.0)), 4) for k in _GROUPS},
        "p_not_chip": round(float(c.p_not_chip), 4),
        "group_set": list(c.group_set),
        "why": [{"measure": w.measure, "weight": round(w.weight, 2)} for w in c.why],
        "length_mm": _measured(g.length_mm),
        "width_mm": _measured(g.width_mm),
        "extent_mm": _measured(g.extent_mm),
        "curl_radius_mm": _measured(g.curl_radius_mm),
        "curl_radius_range_mm": None
        if g.curl_radius_range_mm is None
        else [round(r, 2) for r in g.curl_radius_range_mm],
        "pitch_mm": _measured(g.pitch_mm),
        "turns": _measured(g.turns),
        "coil_length_mm": _measured(g.coil_length_mm),
        "tint": _tint(c.tint),
        "flags": list(c.flags),
    }
    if c.kind == "grains":
        out |= {"count": c.count, "median_size_mm": _measured(c.median_size_mm)}
        out["group_sets"] = [list(own) for own in c.group_sets]
    return out


def _form(f: FormVerdict | None) -> dict[str, Any] | None:
    if f is None:
        return None
    return {
        "code": f.code,
        "group": f.group,
        "main": f.main,
        "share": round(f.share, 3),
        "sure": f.sure,
        "candidates": list(f.candidates),
        "mix": {k: round(v, 3) for k, v in f.mix.items()},
    }


def _heat(h: Heat | None) -> dict[str, Any] | None:
    if h is None:
        return None
    t = h.temperature_c
    return {
        "tint": h.tint,
        "sure": h.sure,
        "candidates": list(h.candidates),
        "film_nm": _measured(h.film_nm),
        "share_tinted": _measured(h.share_tinted),
        "temperature_c": None
        if t is None
        else {
            "at_least": t.at_least,
            "likely_low": t.likely_low,
            "likely_high": t.likely_high,
        },
        "basis": h.basis,
        "family": h.family,
    }


def _scale(s: Scale) -> dict[str, Any]:
    residual = None if s.residual_mm is None else round(s.residual_mm, 4)
    return {
        "source": s.source,
        "px_per_mm": _measured(s.px_per_mm),
        "residual_mm": residual,
        "lens_shift": _measured(s.lens_shift),
    }


def _flag(code: str) -> dict[str, str]:
    info = FLAGS[Flag(code)]
    return {"code": code, "text": info.text, "do": info.do}


def reading_json(reading: PhotoReading) -> dict[str, Any]:
    """Return the reading as JSON-ready data, schema ``bluecurl.reading/1``."""
    return {
        "schema": SCHEMA,
        "photo": reading.photo,
        "photos": list(reading.photos),
        "sha256": reading.sha256,
        "sha256s": list(reading.sha256s),
        "size_px": list(reading.size_px),
        "scale": _scale(reading.scale),
        "chips": [_chip(c) for c in reading.chips],
        "form": _form(reading.form),
        "heat": _heat(reading.heat),
        "flags": [_flag(code) for code in reading.flags],
        "usable": reading.usable,
        "versions": dict(reading.versions),
    }
