"""Things of a workshop that lie beside chips and are none: tools, wire, print, a hand.

All sizes are common ones of such things, from memory. Nothing carries letters.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vision.training.noise import chance, log_uniform, wander
from vision.training.props import Prop, fastener, flat_faced, laid, turned, zinc_rgb
from vision.training.solids import box, smooth_mesh, strokes, tube
from vision.training.sweep import Mesh, Points3, join

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["DISTRACTORS", "LIMP", "LONG", "distractor"]

Rgb = tuple[float, float, float]
#: Half the lengths of a knuckle's creases and of a nail, mm; how far up a nail faces.
_KNUCKLE_MM, _NAIL_MM, _NAIL_UP = 5.0, 5.5, 0.78
_DARK: Rgb = (0.03, 0.03, 0.03)


def distractor(rng: np.random.Generator, kind: str) -> Prop:
    """Make a thing of :data:`DISTRACTORS` lying on z = 0 around the origin.

    A hand alone has the tips of its fingers near the origin and its wrist far out.
    """
    maker = _MAKERS.get(kind)
    return fastener(rng, kind) if maker is None else maker(rng)


def _colour(rng: np.random.Generator, *choices: Rgb) -> Rgb:
    r, g, b = np.array(choices[int(rng.integers(len(choices)))]) * rng.uniform(0.7, 1.2)
    return float(r), float(g), float(b)


def _painted(parts: list[tuple[Mesh, Rgb]]) -> tuple[Mesh, Points3]:
    colours = [np.tile(np.array(rgb), (len(mesh.points), 1)) for mesh, rgb in parts]
    return join([mesh for mesh, _ in parts]), np.concatenate(colours)


def _glyphs(rng: np.random.Generator, wide_mm: float, tall_mm: float) -> Points3:
    """Strokes of one line of invented letters, (N, 2, 2) mm, from the origin along x."""
    out, x = [], 0.0
    while x < wide_mm:
        for _ in range(int(rng.integers(1, 8))):
            knots = rng.integers(0, 3, (3, 2)) * np.array([0.3, 0.5]) * tall_mm
            knots += np.array([x, 0.0])
            out += [knots[:2], knots[1:]]
            x += 0.8 * tall_mm
        x += 0.6 * tall_mm
    lines = np.array(out)
    keep = np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1) > 0
    return np.asarray(lines[keep])


def _rule(rng: np.random.Generator) -> Prop:
    """Steel rule: a division every millimetre, longer ones at five and ten."""
    length, wide = float(rng.choice([100, 150, 200])), rng.uniform(13, 26)
    thick = rng.uniform(0.5, 1.2)
    ticks = np.arange(5.0, length - 4, 1.0)
    reach = np.where((ticks - 5) % 10 == 0, 6.0, np.where((ticks - 5) % 5 == 0, 4.5, 3.0))
    near = np.stack([np.column_stack([ticks, 0 * ticks]), np.column_stack([ticks, reach])], 1)
    far = near * [1, -1] + [0, wide]
    figures = [
        _glyphs(rng, 1.5, 2.0) + np.array([at + 0.6, y])
        for at in ticks[(ticks - 5) % 10 == 0]
        for y in (4.5, wide - 7)
    ]
    marks = strokes(np.concatenate([near, far, *figures]), 0.16, thick + 0.02)
    rgb = _colour(rng, (0.62, 0.62, 0.63), (0.45, 0.45, 0.46))
    mesh, colours = _painted([(box((0, 0, 0), (length, wide, thick)), rgb), (marks, _DARK)])
    rough = float(rng.uniform(0.25, 0.45))
    return laid(rng, "rule", mesh, rgb, metallic=True, roughness=rough, colours=colours)


def _cable(rng: np.random.Generator) -> Prop:
    """Insulated lead that wanders over the table."""
    s = np.arange(0.0, rng.uniform(120, 380), 2.0)
    heading = np.cumsum(wander(rng, s, 45, 0.035))
    radius = rng.uniform(1.2, 3.6)
    path = np.column_stack(
        [np.cumsum(np.cos(heading)) * 2, np.cumsum(np.sin(heading)) * 2, 0 * s + radius]
    )
    rgb = _colour(
        rng, (0.02, 0.02, 0.02), (0.55, 0.04, 0.03), (0.7, 0.7, 0.68), (0.03, 0.08, 0.4)
    )
    bar = tube(path, np.full(len(s), radius))
    return laid(rng, "cable", bar, rgb, metallic=False, roughness=0.4)


def _hand(rng: np.random.Generator) -> Prop:
    """One to three fingers with nails, and the back of the hand far behind the tips."""
    skin = np.array(
        _colour(
            rng, (0.62, 0.36, 0.26), (0.50, 0.27, 0.18), (0.25, 0.12, 0.07), (0.1, 0.05, 0.03)
        )
    )
    count = int(rng.integers(1, 4))
    parts: list[Mesh] = []
    colours: list[Points3] = []
    size = rng.uniform(0.85, 1.15)
    for k in range(count):
        x = np.concatenate([np.linspace(0, 7, 12), np.linspace(8, 95, 60)])
        thick = 7.5 * size * np.sqrt(np.clip(1 - (1 - np.minimum(x, 7) / 7.01) ** 2, 0.0, 1))
        thick = thick * (1 + 0.09 * np.exp(-(((x - 26) / 6) ** 2)) + 0.0016 * x)
        thick = np.maximum(
            thick + 0.12 * size * np.sin(x * 2.3) * (np.abs(x - 26) < _KNUCKLE_MM), 0.05
        )
        bow = rng.normal(0, 0.0012)
        path = np.column_stack(
            [
                x + (abs(k - 1) * 9 if count > 1 else 0),
                (k - (count - 1) / 2) * 17 * size + bow * x**2,
                7.5 * size + 0.0022 * x**2,
            ]
        )
        finger = tube(path, thick, 28)
        tint = np.tile(skin, (len(finger.points), 1))
        tint = tint * (1 + 0.05 * rng.normal(size=(len(tint), 1)))
        off = finger.points - path[0]
        nail = (np.abs(off[:, 0] - 7 * size) < _NAIL_MM) & (finger.normals[:, 2] > _NAIL_UP)
        tint[nail] = skin * [1.1, 1.15, 1.15] + 0.06
        parts.append(finger)
        colours.append(tint)
    x = np.linspace(80, 190, 24)
    back = tube(
        np.column_stack([x, 0 * x, 26 + 0.05 * (x - 80)]),
        (12 + 9 * count) * size * np.sqrt(np.clip(1 - ((x - 150) / 75) ** 2, 0.05, 1)),
        28,
    )
    parts.append(back)
    colours.append(np.tile(skin, (len(back.points), 1)))
    return laid(
        rng,
        "hand",
        join(parts),
        (float(skin[0]), float(skin[1]), float(skin[2])),
        metallic=False,
        roughness=0.5,
        colours=np.concatenate(colours),
        centred=False,
    )


def _print(rng: np.random.Generator) -> Prop:
    """Draw marks of a pen or a printer on the sheet: lines of strokes, a frame, an arrow."""
    tall, wide = log_uniform(rng, 1.2, 5.0), rng.uniform(12, 60)
    lines = [
        _glyphs(rng, wide * rng.uniform(0.4, 1), tall) - [0, 2.0 * tall * k]
        for k in range(int(rng.integers(1, 5)))
    ]
    if chance(rng, 0.3):
        low, high = -2 * tall * len(lines), 2 * tall
        corners = np.array([[-3, low], [wide + 3, low], [wide + 3, high], [-3, high]])
        lines.append(np.stack([corners, np.roll(corners, -1, axis=0)], axis=1))
    if chance(rng, 0.3):
        lines.append(
            np.array([[[0, 3.0], [15, 8]], [[15, 8], [12, 8.4]], [[15, 8], [13, 5.4]]])
        )
    ink = _colour(rng, _DARK, (0.03, 0.05, 0.35), (0.5, 0.04, 0.04), (0.15, 0.15, 0.15))
    mesh = strokes(np.concatenate(lines), rng.uniform(0.12, 0.18) * tall, 0.03)
    # marks lie on the sheet, not under it: their height is kept when laid down
    mesh = join([mesh, strokes(np.zeros((1, 2, 2)), 0.0, 0.0)])
    return laid(rng, "print", mesh, ink, metallic=False, roughness=0.8)


def _tweezers(rng: np.random.Generator) -> Prop:
    """Two sprung arms lying on their side."""
    length, gap = rng.uniform(90, 130), rng.uniform(3, 12)
    x = np.linspace(0, length, 40)
    arms = []
    for sign in (-1.0, 1.0):
        y = sign * (0.7 + gap / 2 * np.sin(np.pi * np.minimum(x / length, 0.75) / 1.5))
        path = np.column_stack([x, y, 0 * x + 4])
        arm = tube(path, np.interp(x, [0, 0.6 * length, length], [4.0, 4.5, 0.9]), 12)
        flat = arm.points.copy()
        flat[:, 1] = np.interp(flat[:, 0], x, y) + 0.18 * (
            flat[:, 1] - np.interp(flat[:, 0], x, y)
        )
        arms.append(smooth_mesh(flat, arm.normals, arm.faces))
    return laid(rng, "tweezers", join(arms), zinc_rgb(rng), metallic=True, roughness=0.2)


def _disc(rng: np.random.Generator) -> Prop:
    """Blank like a coin: raised rim, some embossing."""
    radius, half = rng.uniform(7, 13), rng.uniform(0.7, 1.1)
    profile = [
        [-half, 0],
        [-half, radius - 0.2],
        [-half + 0.2, radius],
        [half - 0.1, radius],
        [half, radius - 0.2],
        [half, radius - 1.1],
        [half - 0.25, radius - 1.3],
    ]
    for at in np.sort(rng.uniform(0.1, 0.8, int(rng.integers(0, 4))))[::-1] * radius:
        profile += [[half - 0.25, at + 0.3], [half - 0.08, at], [half - 0.25, at - 0.3]]
    profile.append([half - 0.25, 0])
    rgb = _colour(rng, (0.72, 0.45, 0.3), (0.75, 0.62, 0.35), (0.6, 0.59, 0.56))
    mesh = turned(np.array(profile), 72)
    return laid(rng, "disc", mesh, rgb, metallic=True, flat=True, roughness=0.3)


def _drill(rng: np.random.Generator) -> Prop:
    """Twist drill with two flutes and a plain shank."""
    radius = log_uniform(rng, 0.75, 4.0)
    length, fluted = radius * rng.uniform(14, 22) + 15, 0.62
    x = np.linspace(0, length, 160)
    sides = 36
    path = np.column_stack([x, 0 * x, 0 * x + radius])
    bar = tube(path, np.full(len(x), radius), sides)
    angle = np.arange(sides) * 2 * np.pi / sides
    groove = np.maximum(0, np.cos(2 * (angle[None] - x[:, None] / (2.3 * radius)))) ** 1.5
    depth = np.where(x < fluted * length, 0.62, 0.0)
    point = np.clip(x / (0.7 * radius), 0.02, 1)
    r = radius * (1 - depth[:, None] * groove) * point[:, None]
    ring = bar.normals[: len(x) * sides].reshape(len(x), sides, 3)
    points = np.concatenate(
        [(path[:, None] + r[:, :, None] * ring).reshape(-1, 3), path[[0, -1]]]
    )
    rgb = _colour(rng, (0.5, 0.5, 0.5), (0.06, 0.06, 0.06), (0.7, 0.52, 0.2))
    drill = flat_faced(points, bar.faces)
    return laid(rng, "drill", drill, rgb, metallic=True, roughness=0.3)


def _arc(middle: tuple[float, float], radius: float, start: float, sweep: float) -> Points3:
    angle = np.radians(np.linspace(start, start + sweep, 14))
    return np.column_stack(
        [middle[0] + radius * np.cos(angle), middle[1] + radius * np.sin(angle), 0 * angle]
    )


def _clip(rng: np.random.Generator) -> Prop:
    """Paper clip of bent wire."""
    wire, k = rng.uniform(0.4, 0.6), rng.uniform(0.8, 1.5)
    path = np.concatenate(
        [
            [[9.0, -2.4, 0]],
            _arc((22, 0.3), 2.7, -90, 180),
            _arc((4, 0.0), 3.0, 90, 180),
            _arc((24, 0.6), 3.6, -90, 180),
            [[8.0, 4.2, 0]],
        ]
    )
    path = path * k + [0, 0, wire]
    bar = tube(path, np.full(len(path), wire), 10)
    rgb = zinc_rgb(rng)
    metallic = chance(rng, 0.75)
    if not metallic:
        rgb = _colour(rng, (0.5, 0.03, 0.03), (0.03, 0.3, 0.1), (0.03, 0.06, 0.4))
    return laid(rng, "clip", bar, rgb, metallic=metallic)


def _key(rng: np.random.Generator) -> Prop:
    """Hexagon key, bent to an L."""
    half, long, short = rng.uniform(0.9, 3.2), rng.uniform(45, 90), rng.uniform(14, 26)
    bend = 3 * half
    path = np.concatenate(
        [
            [[0, 0, 0], [long / 2, 0, 0]],
            _arc((long, bend), bend, -90, 90),
            [[long + bend, bend + short / 2, 0], [long + bend, bend + short, 0]],
        ]
    ) + np.array([0, 0, half])
    bar = tube(path, np.full(len(path), 1.1 * half), 6, facets=True)
    rgb = _colour(rng, (0.04, 0.04, 0.04), (0.55, 0.55, 0.56))
    return laid(rng, "key", bar, rgb, metallic=True, roughness=0.35)


def _insert(rng: np.random.Generator) -> Prop:
    """Indexable insert: a plate with a hole, gilt, black or grey."""
    sides, radius = int(rng.choice([3, 4, 4])), rng.uniform(4.5, 9)
    half = rng.uniform(1.2, 2.4)
    plate = turned(
        np.array([[-half, 0], [-half, radius * 0.93], [half, radius], [half, 0]]), sides
    )
    if sides == 4:  # noqa: PLR2004 - a rhombus
        squeeze = np.array([1.0, 1.0, rng.uniform(0.62, 1.0)])
        plate = flat_faced(plate.points * squeeze, plate.faces)
    hole = turned(np.array([[half + 0.02, 0.27 * radius], [half + 0.02, 0]]), 24)
    rgb = _colour(rng, (0.72, 0.50, 0.14), (0.05, 0.05, 0.06), (0.35, 0.35, 0.36))
    mesh, colours = _painted([(plate, rgb), (hole, (0.01, 0.01, 0.01))])
    return laid(
        rng, "insert", mesh, rgb, metallic=True, flat=True, roughness=0.35, colours=colours
    )


def _ring(rng: np.random.Generator) -> Prop:
    """Sealing ring of rubber or a bent wire ring."""
    big, thin = log_uniform(rng, 3.0, 14.0), rng.uniform(0.5, 1.6)
    angle = np.linspace(0, 2 * np.pi, 72)
    path = np.column_stack([big * np.cos(angle), big * np.sin(angle), 0 * angle + thin])
    bar = tube(path, np.full(len(path), thin), 12)
    return laid(rng, "ring", bar, (0.02, 0.02, 0.02), metallic=False, roughness=0.45)


def _thread(rng: np.random.Generator) -> Prop:
    """Thread out of a rag, or a bristle."""
    s = np.arange(0.0, rng.uniform(15, 70), 0.6)
    heading = np.cumsum(wander(rng, s, 6, 0.12))
    thin = rng.uniform(0.08, 0.3)
    path = 0.6 * np.column_stack(
        [np.cumsum(np.cos(heading)), np.cumsum(np.sin(heading)), 0 * s]
    )
    path[:, 2] = thin + np.abs(wander(rng, s, 8, 0.4))
    rgb = _colour(rng, (0.7, 0.68, 0.62), (0.05, 0.1, 0.4), (0.5, 0.05, 0.05), _DARK)
    bar = tube(path, np.full(len(s), thin), 6)
    return laid(rng, "thread", bar, rgb, metallic=False, roughness=0.9)


_MAKERS: dict[str, Callable[[np.random.Generator], Prop]] = {
    "rule": _rule,
    "cable": _cable,
    "hand": _hand,
    "print": _print,
    "tweezers": _tweezers,
    "disc": _disc,
    "drill": _drill,
    "clip": _clip,
    "key": _key,
    "insert": _insert,
    "ring": _ring,
    "thread": _thread,
}

#: Kinds of things that are not chips.
DISTRACTORS: tuple[str, ...] = ("pencil", "washer", "screw", "nut", *_MAKERS)
#: Kinds that may reach out of the sheet.
LONG: tuple[str, ...] = ("pencil", "rule", "cable", "hand", "tweezers")
#: Kinds that follow a bent sheet instead of standing on it.
LIMP: frozenset[str] = frozenset({"cable", "print", "thread"})
