"""The room round a scene as a panorama, with the person who takes the photo."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.special import expit

from vision.training.films import planck_rgb

if TYPE_CHECKING:
    import numpy.typing as npt

    from vision.training.lights import Light
    from vision.training.view import View

__all__ = ["room"]


def room(light: Light, view: View, size: int = 256) -> npt.NDArray[np.float32]:
    """Panorama of the room round the card, radiance by direction.

    The sum of all light on a level sheet is pi, so a white sheet has radiance 1. The
    person with the phone stands in it: flat chips mirror them, which is why bright
    metal so often looks dark on paper.

    Returns
    -------
    (size, 2 size, 3) float32; column is azimuth (0 in the middle of the left half's
    start, see ``direction``), row is the angle from the zenith.
    """
    direction = _directions(size)
    rng = np.random.default_rng(light.seed)
    elevation = np.degrees(np.arcsin(direction[:, :, 2].clip(-1, 1)))
    azimuth = np.degrees(np.arctan2(direction[:, :, 1], direction[:, :, 0]))
    blend = expit((elevation - 42) / 3)
    base = light.walls * (1 - blend) + light.ceiling * blend
    clutter = gaussian_filter(rng.normal(size=base.shape), (size / 40, size / 25), mode="wrap")
    base = base * np.exp(0.45 * clutter / clutter.std())
    base = np.where(elevation < 0, 0.06, base)
    white = planck_rgb(light.kelvin)
    picture = base[:, :, None] * np.ones(3)
    area = _pixel_solid_angle(size)
    level = np.maximum(direction[:, :, 2], 0) * area
    for lamp in light.lamps:
        off = (azimuth - lamp.azimuth_deg + 180) % 360 - 180
        off = off * np.cos(np.radians(lamp.elevation_deg))
        u = np.abs(off) / (lamp.size_deg[0] / 2)
        v = np.abs(elevation - lamp.elevation_deg) / (lamp.size_deg[1] / 2)
        shape = expit((1 - np.maximum(u, v)) * 25)
        shape = np.where(elevation > 0, shape, 0)
        power = lamp.share * np.pi / max(float((shape * level).sum()), 1e-9)
        picture += (power * shape)[:, :, None] * (planck_rgb(lamp.kelvin) / white)
    picture *= _person(direction, view)[:, :, None]
    total = (picture * level[:, :, None]).sum(axis=(0, 1)).mean()
    return np.asarray(picture * np.pi / total, dtype=np.float32)


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
    facing = np.degrees(
        np.arccos(
            (flat / np.maximum(np.hypot(*np.moveaxis(direction[:, :, :2], 2, 0)), 1e-6)).clip(
                -1, 1
            )
        )
    )
    body = expit((22 - facing) / 2) * expit((65 - elevation) / 3)
    return np.asarray((1 - 0.9 * phone) * (1 - 0.75 * body))
