"""Chips as pictures: colours by the second, separate film model of the training scenes."""

from __future__ import annotations

import numpy as np
import pytest

from vision.heat.film import exposure_free, film_from_colours
from vision.training.films import film_colour

METALS = {"steel": ("iron", "magnetite"), "titanium": ("titanium", "titania")}


def chip_rgb(family, film_nm, **kind):
    """Linear sRGB of a metal under a film; not from the table that the reader inverts."""
    base, film = METALS[family]
    return film_colour(base, film, float(film_nm), **{"spread": 0.15, **kind})


def chip_picture(rng, family, films_nm, *, size=60, noise=0.01, gain=(1, 1, 1), **kind):
    """A chip with shading, noise and a colour cast; films run from left to right."""
    columns = np.linspace(0, len(films_nm) - 1, size).round().astype(int)
    colours = np.stack([chip_rgb(family, d, **kind) for d in films_nm])[columns]
    shade = rng.uniform(0.5, 1.1, (size, size, 1))
    picture = colours[None] * shade * np.array(gain) + rng.normal(0, noise, (size, size, 3))
    return picture.astype(np.float32), np.ones((size, size), bool)


@pytest.fixture
def picture(rng):
    """``picture(family, films_nm, ...)`` with the test's own random numbers."""
    return lambda family, films_nm, **more: chip_picture(rng, family, films_nm, **more)


@pytest.fixture
def rgb_of():
    return chip_rgb


def fix_of_colour(lab, *, family, u_colour, spots=60):
    """Film of one CIELAB colour, as of a chip that is the same all over."""
    lab = np.asarray(lab, float)
    return film_from_colours(
        np.tile(exposure_free(lab), (spots, 1)),
        np.zeros((spots, 2)),
        family=family,
        u_colour=u_colour,
        luminance=float(((lab[0] + 16.0) / 116.0) ** 3),
    )


@pytest.fixture(scope="session")
def fix_of():
    return fix_of_colour
