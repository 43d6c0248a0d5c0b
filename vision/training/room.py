"""The room round a scene as a panorama, with the person who takes the photo."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.special import expit

from vision.training.spectra import illuminant

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.arrays import Float1
    from vision.training.lights import Lamp, Light
    from vision.training.sensor import Sight
    from vision.training.view import View

__all__ = ["room"]

#: Things that stand along the walls: shelves, doors, machines, people.
_THINGS = 26


def room(light: Light, view: View, seen: Sight, size: int = 320) -> npt.NDArray[np.float32]:
    """Panorama of the room round the card, radiance by direction, linear sRGB.

    The sum of all light on a level sheet is pi less the flash's share, so that a white
    sheet has radiance 1 in the end; it is neutral, too, as the camera balances for all
    the light together, or for its flash where it has one. The person with the phone
    stands in it: flat chips mirror them, which is why bright metal so often looks dark
    on paper.

    Parameters
    ----------
    light : Light
    view : where the photo is taken from.
    seen : the camera's sensor, balanced for the main light.
    size : rows of the picture.

    Returns
    -------
    (size, 2 size, 3) float32; column is azimuth, row is the angle from the zenith
    (see ``_directions``).
    """
    direction = _directions(size)
    rng = np.random.default_rng(light.seed)
    elevation = np.degrees(np.arcsin(direction[:, :, 2].clip(-1, 1)))
    azimuth = np.degrees(np.arctan2(direction[:, :, 1], direction[:, :, 0]))
    level = np.maximum(direction[:, :, 2], 0) * _pixel_solid_angle(size)
    ambient = _ambient(light, seen)
    picture = _shell(rng, light, azimuth, elevation)[:, :, None] * ambient
    picture = picture * _tint_of_walls(rng, light, azimuth, elevation)
    for lamp in light.lamps:
        shape = _lamp_shape(lamp, azimuth, elevation)
        power = lamp.share * np.pi / max(float((shape * level).sum()), 1e-9)
        picture += (power * shape)[:, :, None] * seen.lamp(illuminant(lamp.spectrum))
    picture *= _person(direction, view)[:, :, None]
    total = (picture * level[:, :, None]).sum(axis=(0, 1))
    if light.flash is not None:
        total = np.full(3, total[1]) / (1 - light.flash.share)
    return np.asarray(picture * (np.pi / total), dtype=np.float32)


def _shell(
    rng: np.random.Generator,
    light: Light,
    azimuth: npt.NDArray[np.float64],
    elevation: npt.NDArray[np.float64],
) -> npt.NDArray[np.float64]:
    """Brightness of walls and ceiling with stains of light and things before them."""
    size = len(azimuth)
    blend = expit((elevation - 42) / 3)
    base = light.walls * (1 - blend) + light.ceiling * blend
    clutter = gaussian_filter(rng.normal(size=base.shape), (size / 40, size / 25), mode="wrap")
    base = base * np.exp(0.4 * clutter / clutter.std())
    for _ in range(_THINGS):
        middle, foot = rng.uniform(-180, 180), rng.uniform(-25, 25)
        half, tall = rng.uniform(3, 16), rng.uniform(6, 40)
        factor = np.exp(rng.normal(-0.2, 0.8))
        off = np.abs((azimuth - middle + 180) % 360 - 180)
        inside = (off < half) & (elevation > foot) & (elevation < foot + tall)
        base = np.where(inside, base * factor, base)
    return np.asarray(np.where(elevation < 0, np.minimum(base, 0.06), base))


def _ambient(light: Light, seen: Sight) -> Float1:
    """Colour of the light that walls throw back: all lamps by their shares."""
    shares = np.array([lamp.share for lamp in light.lamps])
    colours = np.stack([seen.lamp(illuminant(lamp.spectrum)) for lamp in light.lamps])
    mean = shares @ colours
    return np.asarray(mean / mean[1])


def _tint_of_walls(
    rng: np.random.Generator,
    light: Light,
    azimuth: npt.NDArray[np.float64],
    elevation: npt.NDArray[np.float64],
) -> npt.NDArray[np.float64]:
    """Colour of the walls themselves, (H, W, 3): nearly white, one side perhaps tinted."""
    warmth = rng.normal(0.03, 0.03)
    paint = np.array([1 + warmth, 1.0, 1 - 1.5 * warmth])
    tint = np.ones((*azimuth.shape, 3)) * paint
    if light.wall is None:
        return np.asarray(tint)
    off = np.abs((azimuth - light.wall.azimuth_deg + 180) % 360 - 180)
    share = expit((light.wall.reach_deg - off) / 3) * expit((58 - elevation) / 3)
    # the tinted wall is the one that catches the light: it also is the brighter one
    rgb = 3.0 * np.array(light.wall.rgb)
    return np.asarray(tint * (1 - share[:, :, None]) + rgb * share[:, :, None])


def _lamp_shape(
    lamp: Lamp, azimuth: npt.NDArray[np.float64], elevation: npt.NDArray[np.float64]
) -> npt.NDArray[np.float64]:
    """Where a lamp shines, 0...1; windows have bars."""
    off = (azimuth - lamp.azimuth_deg + 180) % 360 - 180
    u = off * np.cos(np.radians(lamp.elevation_deg)) / (lamp.size_deg[0] / 2)
    v = (elevation - lamp.elevation_deg) / (lamp.size_deg[1] / 2)
    shape = expit((1 - np.maximum(np.abs(u), np.abs(v))) * 25)
    if lamp.kind == "panes":
        bars = np.minimum(np.abs(u), np.abs(np.abs(v) - 0.33))
        shape = shape * (1 - 0.85 * expit((0.045 - bars) * 90))
        shape = shape * (1 + 0.5 * v.clip(-1, 1))  # more sky above than below
    return np.where(elevation > 0, shape, 0.0)


def _directions(size: int) -> npt.NDArray[np.float64]:
    row, column = np.mgrid[:size, : 2 * size]
    polar = (row + 0.5) / size * np.pi
    phi = (column + 0.5) / size * np.pi
    return np.stack(
        [np.sin(phi) * np.sin(polar), np.cos(phi) * np.sin(polar), np.cos(polar)], axis=2
    )


def _pixel_solid_angle(size: int) -> npt.NDArray[np.float64]:
    polar = (np.arange(size) + 0.5) / size * np.pi
    step = np.pi / size
    return np.asarray(np.tile((np.sin(polar) * step * step)[:, None], (1, 2 * size)))


def _person(direction: npt.NDArray[np.float64], view: View) -> npt.NDArray[np.float64]:
    """Dimming by the phone with its hands and by the body behind it."""
    toward = -view.axes()[2]
    down = view.axes()[1]
    angle = np.degrees(np.arccos((direction @ toward).clip(-1, 1)))
    phone = expit((9 - angle) / 0.8)
    side = down - down[2] * np.array([0, 0, 1.0])
    side = side / max(float(np.linalg.norm(side)), 1e-9)
    flat = direction[:, :, :2] @ side[:2]
    elevation = np.degrees(np.arcsin(direction[:, :, 2].clip(-1, 1)))
    across = np.maximum(np.hypot(direction[:, :, 0], direction[:, :, 1]), 1e-6)
    facing = np.degrees(np.arccos((flat / across).clip(-1, 1)))
    body = expit((22 - facing) / 2) * expit((65 - elevation) / 3)
    return np.asarray((1 - 0.9 * phone) * (1 - 0.75 * body))
