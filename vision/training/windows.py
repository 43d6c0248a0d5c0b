"""Windows of rendered sheets with known truth, as the network is shown them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from vision.chips.eye import GUESSED
from vision.chips.ground import FOOT, even_light, shown
from vision.chips.lie import LIE_DEG
from vision.chips.look import sheet_view
from vision.training.rows import open_scene

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from vision.training.rows import SceneFiles

    Bytes = npt.NDArray[np.uint8]

__all__ = [
    "BRIGHTEST",
    "LIGHT_STEPS",
    "OF_WHOLE",
    "UNSEEN",
    "WHOLE",
    "Sheet",
    "Window",
    "Windows",
    "areas",
    "even_of",
    "linear_of",
    "sheet_of",
    "true_sizes",
]

#: Even light is kept in bytes, this many steps to white.
LIGHT_STEPS = 160.0
#: Nothing brighter is kept: glints are this bright, or brighter.
BRIGHTEST = 1.6
#: Label of what the photo does not show.
UNSEEN = 254
#: A chip is seen whole when so much of it shows.
WHOLE = 0.95
#: Sizes that only a whole chip shows.
OF_WHOLE = [GUESSED.index(k) for k in ("length", "taper", "turns", "coil_length")]
_ROOT = FOOT ** (1 / 3)
_TOP = (1 + FOOT) ** (1 / 3) - _ROOT
#: Sheet kept round what lies on it, pixels.
_ROUND_PX = 70
#: How often a window is laid on something that lies there, at a spot of it.
_ON_A_THING, _SPOTS = 0.8, 24
#: A spot lies at least so far from the window's rim, pixels.
_RIM_PX = 40
#: A scene is drawn as often as it holds things, within these bounds.
_LEAST_THINGS, _MOST_THINGS = 2, 20


def linear_of(picture: Any) -> Any:  # noqa: ANN401 - arrays and tensors alike
    """Return linear light of what ``vision.chips.ground.even_light`` gave."""
    return (picture * _TOP + _ROOT) ** 3 - FOOT


def even_of(light: Any) -> Any:  # noqa: ANN401
    """Return even light of linear light, as far as windows keep it: 0 to 1.6."""
    return (((light + FOOT).clip(0) ** (1 / 3) - _ROOT) / _TOP).clip(0, BRIGHTEST)


def areas(torch: Any, truth: Any) -> Any:  # noqa: ANN401
    """Count the labels of windows (N, 2 S, 2 S), every other one each way: (N, 256)."""
    some = truth[:, ::2, ::2]
    n = len(some)
    flat = some + 256 * torch.arange(n, device=some.device)[:, None, None]
    return torch.bincount(flat.reshape(-1), minlength=256 * n).reshape(n, 256)


@dataclass(frozen=True, slots=True)
class Sheet:
    """What is seen, (H, W, 4), and what it shows, (2 H, 2 W): numbers of the truth mask.

    ``sizes`` (256, 8) holds, for each number, the truth of :data:`~vision.chips.eye.GUESSED`
    in the units guessed in; NaN where the number is no chip or the chip has no such size.
    """

    seen: Bytes
    labels: Bytes
    sizes: npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Window:
    """A square of a sheet, turned by so many quarters, then mirrored or not."""

    sheet: int
    top: int
    left: int
    turns: int
    mirrored: bool


def true_sizes(chips: Sequence[dict[str, Any]]) -> npt.NDArray[np.float32]:
    """Return what a sheet's ``sizes`` holds, from the chips of a truth file."""
    out = np.full((256, len(GUESSED)), np.nan, np.float32)
    for chip in chips:
        radii = chip.get("curl_radius_range_mm")
        of = {k: chip.get(f"{k}_mm") for k in GUESSED} | {
            "turns": chip.get("turns"),
            "taper": radii[1] / radii[0] if radii and radii[0] > 0 else None,
        }
        row = [of[k] for k in GUESSED]
        out[chip["number"]] = [np.nan if v is None else np.log(max(v, 1e-3)) for v in row]
        if chip.get("theta_deg") is not None:
            out[chip["number"], GUESSED.index("lie")] = chip["theta_deg"] / LIE_DEG
    return out


def sheet_of(scene: SceneFiles) -> Sheet | None:
    """Return a scene's sheet, cut round what lies on it; ``None`` where nothing does."""
    opened = open_scene(scene)
    box, linear, expected, seen = sheet_view(opened.plane, opened.light)
    h, w = seen.shape
    x, y = opened.plane.photo_maps(box, (2 * w, 2 * h))
    labels = cv2.remap(scene.mask, x, y, cv2.INTER_NEAREST, borderValue=0)
    something = cv2.resize(
        (labels > 0).astype(np.uint8) * 255, (w, h), interpolation=cv2.INTER_AREA
    )
    side = 2 * _ROUND_PX + 1
    near = cv2.dilate(something, np.ones((side, side), np.uint8)) > 0
    rows, cols = np.nonzero(near & seen)
    if len(rows) == 0:
        return None
    part = (slice(rows.min(), rows.max() + 1), slice(cols.min(), cols.max() + 1))
    want = None if expected is None else even_light(expected)
    picture = shown(even_light(linear), want)[:, :h, :w].transpose(1, 2, 0)[part]
    fine = np.repeat(np.repeat(seen, 2, 0), 2, 1)
    labels = np.where(fine, labels, UNSEEN).astype(np.uint8)
    twice = tuple(slice(2 * s.start, 2 * s.stop) for s in part)
    return Sheet(
        np.clip(np.rint(picture * LIGHT_STEPS), 0, 255).astype(np.uint8),
        np.ascontiguousarray(labels[twice]),
        true_sizes(scene.truth["chips"]),
    )


@dataclass(slots=True)
class Windows:
    """Sheets to draw windows from; ``side`` a multiple of 32 pixels."""

    sheets: Sequence[Sheet]
    side: int = 512
    _spots: list[list[npt.NDArray[np.intp]]] = field(default_factory=list)

    def __post_init__(self) -> None:
        rng = np.random.default_rng(1)
        padded = []
        for sheet in self.sheets:
            h, w = (max(self.side - n, 0) for n in sheet.seen.shape[:2])
            seen = np.pad(sheet.seen, ((0, h), (0, w), (0, 0)), mode="edge")
            labels = np.pad(sheet.labels, ((0, 2 * h), (0, 2 * w)), constant_values=UNSEEN)
            padded.append(Sheet(seen, labels, sheet.sizes))
            self._spots.append(_spots(labels[::2, ::2], rng))
        self.sheets = padded

    def draw(self, count: int, rng: np.random.Generator) -> list[Window]:
        """Draw windows, turned and mirrored at random."""
        often = np.array([len(s) for s in self._spots], float)
        often = np.clip(often, _LEAST_THINGS, _MOST_THINGS)
        picked = rng.choice(len(self.sheets), count, p=often / often.sum())
        return [self._window(int(i), rng) for i in picked]

    def _window(self, i: int, rng: np.random.Generator) -> Window:
        sheet, spots, s = self.sheets[i], self._spots[i], self.side
        rim = min(_RIM_PX, s // 3)
        room = np.array(sheet.seen.shape[:2]) - s
        if spots and rng.random() < _ON_A_THING:
            thing = spots[rng.integers(len(spots))]
            corner = thing[rng.integers(len(thing))] - rng.integers(rim, s - rim, 2)
        else:
            corner = rng.integers(0, room + 1)
        top, left = np.clip(corner, 0, room).tolist()
        return Window(i, top, left, int(rng.integers(4)), bool(rng.random() < 0.5))


def _spots(labels: Bytes, rng: np.random.Generator) -> list[npt.NDArray[np.intp]]:
    """Return, for each thing, some of the places that show it, (n, 2) row and column."""
    out = []
    for number in np.unique(labels):
        if number in (0, UNSEEN):
            continue
        at = np.flatnonzero(labels == number)
        at = at[rng.integers(len(at), size=min(_SPOTS, len(at)))]
        out.append(np.stack(np.unravel_index(at, labels.shape), axis=1))
    return out
