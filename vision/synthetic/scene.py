"""Pictures of chips on the printed card with everything known about them.

For tests, examples and people who try the package: cheap to make, exact in size. What
these pictures are not: metal here mirrors nothing and throws no light on its neighbours,
nothing is traced; chips have no height under the camera, so a tall coil shows no
parallax; lens distortion and focus are left out. Good for sizes and for plumbing, not
for judging how well tint or form is read on real metal.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING, Literal

import cv2
import numpy as np
from PIL import Image
from scipy.special import ndtri

from vision._cv import map_points
from vision.photo.card import CARDS, CardSpec, card_image, field_mm
from vision.photo.colour import linear_from_rgb, srgb_from_linear
from vision.synthetic.paint import paint_strips
from vision.synthetic.strips import FORMS, SyntheticChip, make_chip, turned

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from vision.arrays import Float2, Labels, Linear3, Matrix3, Rgb8
    from vision.photo.card import Rect

__all__ = ["SyntheticScene", "make_scene"]

Distractor = Literal["shadow", "oil"]

_MARGIN_MM, _GAP_MM = 1.0, 1.5
_TRIES = 400
#: Linear grey of the bench round the sheet, and how bright paper is exposed.
_BENCH, _PAPER = (0.16, 0.13, 0.10), 0.78
_BLUR_PX = 0.6
_ROOT_STEPS = 32768
#: Distance of the camera in widths of the sheet.
_DISTANCE = 1.7
#: Bare metals, linear, white paper = 1; plausible, not measured.
_METALS = ((0.60, 0.58, 0.55), (0.66, 0.64, 0.62), (0.52, 0.50, 0.48))


@dataclass(frozen=True, slots=True, kw_only=True)
class SyntheticScene:
    """A made-up photo and its truth.

    ``rgb`` (H, W, 3) is the photo before JPEG; ``mask`` (H, W) holds the number of the
    chip in each pixel, 0 elsewhere; ``px_from_mm`` maps millimetres on the card to
    photo pixels, pixel centres at integers.
    """

    jpeg: bytes
    rgb: Rgb8
    chips: tuple[SyntheticChip, ...]
    mask: Labels
    px_from_mm: Matrix3


@cache
def _sheet(card: str, px_per_mm: float) -> Float2:
    sheet = linear_from_rgb(card_image(CARDS[card], px_per_mm))[..., 0]
    sheet.setflags(write=False)
    return sheet


@cache
def _encoding() -> Rgb8:
    """Return sRGB bytes for the square root of linear light, 65536 steps of 1 / 32768."""
    root = np.arange(65536, dtype=np.float32) / _ROOT_STEPS
    return srgb_from_linear(np.square(root, dtype=np.float32))


@cache
def _bell() -> npt.NDArray[np.float32]:
    """Return 256 equally likely values of a standard normal distribution."""
    return np.asarray(ndtri((np.arange(256) + 0.5) / 256), dtype=np.float32)


def _camera(
    rng: np.random.Generator, spec: CardSpec, px_per_mm: float, tilt_deg: float
) -> tuple[Matrix3, tuple[int, int]]:
    """Return px_from_mm of a pinhole camera and the photo's (width, height)."""
    middle = np.array([spec.width_mm, spec.height_mm]) / 2
    distance = _DISTANCE * spec.width_mm
    azimuth, roll = rng.uniform(0, 2 * np.pi), np.radians(rng.uniform(-6, 6))
    axis = np.array([np.cos(azimuth), np.sin(azimuth), 0.0])
    tilt, _ = cv2.Rodrigues(axis * np.radians(tilt_deg))
    spin, _ = cv2.Rodrigues(np.array([0.0, 0.0, roll]))
    pose = np.column_stack([(tilt @ spin)[:, :2], [0.0, 0.0, distance]])
    focal = px_per_mm * distance
    centred = np.array([[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, 1.0]])
    plain = np.diag([focal, focal, 1.0]) @ pose @ centred
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * (spec.width_mm, spec.height_mm)
    seen = map_points(plain, corners.astype(np.float64))
    border = 0.03 * spec.width_mm * px_per_mm
    # The lens looks at the middle of the photo, as in a phone that crops nothing.
    reach = np.ceil(np.abs(seen).max(axis=0) + border)
    moved = np.array([[1, 0, reach[0] - 0.5], [0, 1, reach[1] - 0.5], [0, 0, 1.0]]) @ plain
    width, height = (2 * reach).astype(int).tolist()
    return moved / moved[2, 2], (width, height)


def _apart(a: Rect, b: Rect) -> bool:
    """Tell whether two boxes leave a gap between chips."""
    return (
        a[0] >= b[2] + _GAP_MM
        or b[0] >= a[2] + _GAP_MM
        or a[1] >= b[3] + _GAP_MM
        or b[1] >= a[3] + _GAP_MM
    )


def _laid(
    rng: np.random.Generator, chips: Sequence[SyntheticChip], spec: CardSpec
) -> list[SyntheticChip]:
    """Give every chip a place and a direction in the field, none within 1.5 mm of another.

    Raises
    ------
    ValueError
        If they do not fit.
    """
    x0, y0, x1, y1 = field_mm(spec)
    taken: list[Rect] = []
    laid: dict[int, SyntheticChip] = {}
    for k in sorted(range(len(chips)), key=lambda k: -chips[k].extent_mm):
        for _ in range(_TRIES):
            angle = float(rng.uniform(0, 2 * np.pi))
            strips = tuple(turned(s, angle, np.zeros(2)) for s in chips[k].strips)
            edge = np.concatenate([e[:, :2] for s in strips for e in s.edges()])
            low, high = edge.min(axis=0) - _MARGIN_MM, edge.max(axis=0) + _MARGIN_MM
            room = np.array([x1 - x0, y1 - y0]) - (high - low)
            if (room < 0).any():
                continue
            move = np.array([x0, y0]) - low + rng.uniform(0, 1, 2) * room
            box = (*(low + move).tolist(), *(high + move).tolist())
            if not all(_apart(box, other) for other in taken):
                continue
            taken.append(box)
            placed = tuple(turned(s, 0.0, move) for s in strips)
            centre = ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
            laid[k] = replace(chips[k], strips=placed, centre_mm=centre, number=k + 1)
            break
        else:
            raise ValueError(f"{len(chips)} chips do not fit on card {spec.card_id}")
    return [laid[k] for k in range(len(chips))]


def _soft_spot(
    canvas: Linear3,
    centre: tuple[float, float],
    radii: tuple[float, float],
    soft: float,
    loss: tuple[float, float, float],
) -> None:
    """Darken an ellipse with a soft rim by a share per channel (sizes in pixels)."""
    reach = int(max(radii) + 4 * soft)
    column, row = round(centre[0]), round(centre[1])
    rows = slice(max(row - reach, 0), row + reach)
    columns = slice(max(column - reach, 0), column + reach)
    part = canvas[rows, columns]
    spot = np.zeros(part.shape[:2], np.float32)
    place = (column - columns.start, row - rows.start)
    cv2.ellipse(spot, place, (round(radii[0]), round(radii[1])), 20, 0, 360, 1.0, -1)
    spot = np.asarray(cv2.GaussianBlur(spot, (0, 0), soft), dtype=np.float32)
    part *= 1 - spot[..., None] * np.array(loss, np.float32)


def _disturb(
    rng: np.random.Generator, canvas: Linear3, kind: Distractor, spec: CardSpec, q: float
) -> None:
    """Darken the sheet by a shadow of something out of view, or by a spot of oil."""
    x0, y0, x1, y1 = field_mm(spec)
    centre = (q * float(rng.uniform(x0, x1)), q * float(rng.uniform(y0, y1)))
    if kind == "shadow":
        radii = (q * float(rng.uniform(15, 30)), q * float(rng.uniform(6, 12)))
        _soft_spot(canvas, centre, radii, 2.5 * q, (0.4, 0.4, 0.4))
    elif kind == "oil":
        radius = q * float(rng.uniform(3, 8))
        _soft_spot(canvas, centre, (radius, 0.8 * radius), 0.25 * q, (0.18, 0.22, 0.32))
    else:
        raise ValueError(f"no distractor called {kind!r}")


def _put(
    rng: np.random.Generator, canvas: Linear3, labels: Float2, chip: SyntheticChip, q: float
) -> None:
    """Draw one chip with its contact shadow on the flat sheet."""
    (row, column), shade, cover = paint_strips(chip.strips, q, rng)
    pad = int(np.ceil(1.2 * q))
    wide = cv2.copyMakeBorder(cover, pad, pad, pad, pad, cv2.BORDER_CONSTANT, value=0.0)
    dark = cv2.GaussianBlur(np.roll(wide, round(0.25 * q), (0, 1)), (0, 0), 0.3 * q)
    height, width = wide.shape
    spot = np.s_[row - pad : row - pad + height, column - pad : column - pad + width]
    canvas[spot] *= 1 - 0.5 * dark[..., None]
    here = np.s_[row : row + cover.shape[0], column : column + cover.shape[1]]
    metal = shade[..., None] * np.array(chip.colour, np.float32)
    canvas[here] += cover[..., None] * (metal - canvas[here])
    labels[here][cover > 0.5] = chip.number  # noqa: PLR2004 - more chip than paper


def _photographed(
    canvas: Linear3, labels: Float2, px_from_mm: Matrix3, size: tuple[int, int], q: float
) -> tuple[Linear3, Labels]:
    """Return the flat sheet and its labels as the camera sees them, bench all round."""
    mm_from_flat = np.array([[1 / q, 0, 0.5 / q], [0, 1 / q, 0.5 / q], [0, 0, 1]])
    warp = px_from_mm @ mm_from_flat
    photo = cv2.warpPerspective(canvas, warp, size, flags=cv2.INTER_LINEAR, borderValue=_BENCH)
    mask = cv2.warpPerspective(labels, warp, size, flags=cv2.INTER_NEAREST)
    return np.asarray(photo, dtype=np.float32), np.asarray(mask, dtype=np.int32)


def _developed(rng: np.random.Generator, flat: Linear3, warmth: float, noise: float) -> Rgb8:
    """Return the photo: exposure, colour cast, noise of light, sRGB bytes.

    Noise that grows with the root of the light is even in the root of the light.
    """
    cast = np.array([1 + 0.3 * warmth, 1.0, 1 - 0.3 * warmth, 1.0])
    gain = (_ROOT_STEPS * np.sqrt(_PAPER * cast / cast.max())).reshape(4, 1)
    root = cv2.sqrt(cv2.GaussianBlur(flat, (3, 3), _BLUR_PX))
    steps = cv2.multiply(root, gain, dtype=cv2.CV_16U)
    if noise > 0:
        grain = np.rint(_bell() * (noise / 2 * _ROOT_STEPS)).astype(np.int16)
        index = np.frombuffer(rng.bytes(steps.size), np.uint8).reshape(steps.shape)
        steps = cv2.add(steps, cv2.LUT(index, grain), dtype=cv2.CV_16U)
    return np.asarray(cv2.LUT(steps, _encoding()), dtype=np.uint8)


def make_scene(
    rng: np.random.Generator,
    *,
    card: str = "a5",
    px_per_mm: float = 10.0,
    chips: int | Sequence[SyntheticChip] = 8,
    forms: Sequence[str] | None = None,
    tilt_deg: float = 8.0,
    warmth: float = 0.0,
    noise: float = 0.01,
    jpeg_quality: int = 90,
    uneven: float = 0.15,
    distractors: Sequence[Distractor] = (),
) -> SyntheticScene:
    """Draw chips on the printed card as a phone would see them.

    Parameters
    ----------
    rng : numpy Generator
        The only source of chance: the same seed gives the same bytes on one machine.
    card : {"a5", "a4", "letter"}
    px_per_mm : float, [2, 40]
        At the middle of the sheet, along the axis that the camera tilts about.
    chips : int or chips
        How many to draw by lot, or chips made with :mod:`vision.synthetic.strips`.
    forms : names of ``FORMS``, optional
        Drawn from these in turn; all forms if not given.
    tilt_deg : float, [0, 40]
        Between the camera's axis and the normal of the sheet.
    warmth : float, [-1, 1]
        Colour cast: positive is lamp light, negative a blue sky.
    noise : float, [0, 0.1]
        Standard deviation at full white, linear; grows with the root of the light.
    jpeg_quality : int, [1, 95]
    uneven : float, [0, 0.5]
        How much darker the sheet is at one end than at the other.
    distractors : "shadow" or "oil", any number
        Things on the sheet that are no chips.

    Returns
    -------
    SyntheticScene

    Raises
    ------
    ValueError
        If the chips do not fit in the field or the density is out of range.
    KeyError
        If there is no such card or form.

    Examples
    --------
    >>> scene = make_scene(np.random.default_rng(1), chips=3, px_per_mm=5.0)
    >>> [c.number for c in scene.chips], scene.jpeg[:2].hex()
    ([1, 2, 3], 'ffd8')
    """
    spec = CARDS[card]
    if isinstance(chips, int):
        names = list(forms or FORMS)
        first = int(rng.integers(len(names)))
        made = [make_chip(rng, names[(first + k) % len(names)]) for k in range(chips)]
        chips = [replace(c, colour=_METALS[rng.integers(len(_METALS))]) for c in made]
    laid = _laid(rng, chips, spec)
    sheet = _sheet(card, px_per_mm)
    canvas = np.asarray(cv2.cvtColor(sheet, cv2.COLOR_GRAY2RGB), dtype=np.float32)
    labels = np.zeros(sheet.shape, np.float32)
    for kind in distractors:
        _disturb(rng, canvas, kind, spec, px_per_mm)
    for chip in laid:
        _put(rng, canvas, labels, chip, px_per_mm)
    slope = np.linspace(1 - uneven, 1, canvas.shape[1], dtype=np.float32)
    slope = np.repeat(slope[:: int(rng.choice([-1, 1]))], 3)
    canvas *= slope.reshape(1, -1, 3)
    px_from_mm, size = _camera(rng, spec, px_per_mm, tilt_deg)
    photo, mask = _photographed(canvas, labels, px_from_mm, size, px_per_mm)
    rgb = _developed(rng, photo, warmth, noise)
    out = io.BytesIO()
    Image.fromarray(rgb).save(out, "JPEG", quality=jpeg_quality)
    return SyntheticScene(
        jpeg=out.getvalue(),
        rgb=rgb,
        chips=tuple(laid),
        mask=mask,
        px_from_mm=px_from_mm,
    )
