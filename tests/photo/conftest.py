"""A camera that looks at the card: every homography and every colour is known."""

from __future__ import annotations

import io
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import cv2
import numpy as np
import pytest
from PIL import Image

from vision.photo.card import CARDS, CardSpec, card_image, field_mm
from vision.photo.decode import decode_photo

if TYPE_CHECKING:
    from vision.records import Photo

#: Reflectance of toner on paper, relative to the paper (common practice, no source).
INK = 0.04


def srgb_encode(x: np.ndarray) -> np.ndarray:
    """IEC 61966-2-1, written out here so that no expectation rests on our own code."""
    return np.where(
        x <= 0.0031308, 12.92 * x, 1.055 * np.power(np.maximum(x, 0), 1 / 2.4) - 0.055
    )


def srgb_decode(x: np.ndarray) -> np.ndarray:
    return np.where(x <= 0.04045, x / 12.92, ((x + 0.055) / 1.055) ** 2.4)


#: Finely stepped curves: a power for each of ten million values is slow.
DECODED = srgb_decode(np.arange(256) / 255.0).astype(np.float32)
ENCODED = np.rint(255 * srgb_encode(np.arange(65536) / 65535.0)).astype(np.uint8)


@dataclass(kw_only=True)
class Shot:
    """One photo to be: a pinhole camera over the card, the light, the sensor."""

    card: str = "a5"
    size: tuple[int, int] = (2400, 1800)
    focal: float = 0.75  # focal length over the long side: a phone's main camera
    fill: float = 0.85  # share of the frame's width that the card takes
    tilt_deg: float = 0.0
    tilt_about_deg: float = 0.0
    roll_deg: float = 0.0
    shift: tuple[float, float] = (0.0, 0.0)  # share of the frame
    light: tuple[float, float, float] = (0.8, 0.8, 0.8)
    slope: float = 0.0  # light falls by this share from left to right
    blur_px: float = 0.6
    noise: float = 0.004
    quality: int = 92
    radial: float = 0.0
    print_at: float = 1.0
    blobs: list[tuple[float, float, float, float]] = field(default_factory=list)  # mm, r, grey
    paint: list[tuple[float, float, float, float, tuple[float, float, float]]] = field(
        default_factory=list
    )  # rect in mm, linear colour relative to paper
    table: float = 0.25
    seed: int = 0

    @property
    def spec(self) -> CardSpec:
        return CARDS[self.card]

    def px_from_mm(self) -> np.ndarray:
        """The true plane-to-plane map, pixel centres at integers."""
        width, height = self.size
        spec = self.spec
        f = self.focal * max(self.size)
        distance = f * spec.width_mm * self.print_at / (self.fill * width)
        t, a, r = np.radians([self.tilt_deg, self.tilt_about_deg, self.roll_deg])
        axis = np.array([np.cos(a), np.sin(a), 0.0]) * t
        rotation = cv2.Rodrigues(axis)[0] @ cv2.Rodrigues(np.array([0, 0, r]))[0]
        centre = np.array([spec.width_mm, spec.height_mm]) * self.print_at / 2
        aside = np.array([self.shift[0] * width, self.shift[1] * height, f]) * distance / f
        plane = np.column_stack(
            [rotation[:, 0], rotation[:, 1], rotation @ [-centre[0], -centre[1], 0] + aside]
        )
        camera = np.array([[f, 0, (width - 1) / 2], [0, f, (height - 1) / 2], [0, 0, 1]])
        matrix = camera @ plane
        return matrix / matrix[2, 2]

    def paper(self, px_per_mm: float) -> np.ndarray:
        """Linear reflectance of sheet, ink and things on it, (H, W, 3)."""
        grey = DECODED[card_image(self.spec, px_per_mm)[:, :, 0]]
        out = np.repeat((INK + (1 - INK) * grey)[:, :, None], 3, axis=2).astype(np.float32)
        for x, y, r, value in self.blobs:
            at = (round((x * px_per_mm - 0.5) * 16), round((y * px_per_mm - 0.5) * 16))
            cv2.circle(out, at, round(r * px_per_mm * 16), (value,) * 3, -1, shift=4)
        for x0, y0, x1, y1, colour in self.paint:
            a, b, c, d = (round(v * px_per_mm) for v in (x0, y0, x1, y1))
            out[b:d, a:c] = colour
        return out

    def encoded(self) -> np.ndarray:
        """(H, W, 3) uint8 sRGB as the camera would store it."""
        width, height = self.size
        density = 10.0
        paper = cv2.copyMakeBorder(
            self.paper(density),
            400,
            400,
            400,
            400,
            cv2.BORDER_CONSTANT,
            value=(self.table,) * 3,
        )
        k = density / self.print_at
        from_texture = np.array(
            [[1 / k, 0, (0.5 - 400) / k], [0, 1 / k, (0.5 - 400) / k], [0, 0, 1]]
        )
        finer = np.array([[2, 0, 0.5], [0, 2, 0.5], [0, 0, 1]], float)
        matrix = finer @ self.px_from_mm() @ from_texture
        fine = cv2.warpPerspective(
            paper,
            matrix,
            (2 * width, 2 * height),
            flags=cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=(self.table,) * 3,
        )
        seen = cv2.resize(fine, (width, height), interpolation=cv2.INTER_AREA)
        if self.radial:
            seen = self._bend(seen)
        x = np.linspace(0, 1, width, dtype=np.float32)[None, :, None]
        seen = seen * (np.array(self.light, np.float32) * (1 - self.slope * x))
        if self.blur_px:
            seen = cv2.GaussianBlur(seen, (0, 0), self.blur_px)
        rng = np.random.default_rng(self.seed)
        seen = seen + self.noise * rng.standard_normal(seen.shape, dtype=np.float32)
        return ENCODED[(np.clip(seen, 0, 1) * 65535 + 0.5).astype(np.uint16)]

    def bent(self, px: np.ndarray) -> np.ndarray:
        """Where the lens puts (N, 2) ideal pixels: one radial term, its share at the corner."""
        middle = (np.array(self.size) - 1) / 2
        away = px - middle
        r2 = (away**2).sum(axis=1, keepdims=True) / (np.hypot(*self.size) / 2) ** 2
        return middle + away * (1 + self.radial * r2)

    def _bend(self, seen: np.ndarray) -> np.ndarray:
        """Bend a picture: for each pixel, find the ideal one by fixed-point steps."""
        width, height = self.size
        y, x = np.mgrid[:height, :width]
        at = np.stack([x.ravel(), y.ravel()], axis=1).astype(float)
        ideal = at
        for _ in range(6):
            ideal = ideal + at - self.bent(ideal)
        u, v = ideal.T.astype(np.float32).reshape(2, height, width)
        return cv2.remap(seen, u, v, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)

    def middle_mm(self) -> np.ndarray:
        """(1, 2) middle of the field."""
        x0, y0, x1, y1 = (v * self.print_at for v in field_mm(self.spec))
        return np.array([[(x0 + x1) / 2, (y0 + y1) / 2]])

    def jpeg(self, **options: object) -> bytes:
        out = io.BytesIO()
        Image.fromarray(self.encoded()).save(out, "JPEG", quality=self.quality, **options)
        return out.getvalue()

    def photo(self) -> Photo:
        return decode_photo(self.jpeg())

    def segments_px(self, n: int = 20, length_mm: float = 20.0) -> np.ndarray:
        """(n, 2, 2) ends in px of random segments of a real length inside the field."""
        rng = np.random.default_rng(1000 + self.seed)
        x0, y0, x1, y1 = (v * self.print_at for v in field_mm(self.spec))
        mid = rng.uniform((x0 + 10, y0 + 10), (x1 - 10, y1 - 10), (n, 2))
        a = rng.uniform(0, 2 * np.pi, n)
        half = length_mm / 2 * np.stack([np.cos(a), np.sin(a)], axis=1)
        ends = np.stack([mid - half, mid + half], axis=1)
        ideal = project(self.px_from_mm(), ends.reshape(-1, 2))
        return self.bent(ideal).reshape(n, 2, 2)


def project(matrix: np.ndarray, points: np.ndarray) -> np.ndarray:
    h = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return h[:, :2] / h[:, 2:]


@pytest.fixture(scope="session")
def shot() -> type[Shot]:
    return Shot


@pytest.fixture(scope="session")
def through() -> object:
    """Project points through a homography, without our own code."""
    return project
