"""Print how well tints are read on drawn chips: ``python tests/heat/figures.py``.

Not collected by the tests. Colours come from the training scenes' own film model (matrix
method, Planckian light, fitted eye functions) with n off by up to 10 %, films 0-30 %
uneven and five lights, balanced by per-channel gains to a white with a small error. It
is an easy set: no lens, no tone curve, no reflections but the two that are named.
"""

from __future__ import annotations

import sys

import numpy as np

from vision.heat.chip_tint import tint_of
from vision.heat.names import tint_name
from vision.terms import TINTS
from vision.training.films import film_colour

METALS = {"steel": ("iron", "magnetite"), "titanium": ("titanium", "titania")}
LIGHTS_K = (2856.0, 4000.0, 5000.0, 6504.0, 9000.0)
U_COLOUR = 2.5
CHIPS = 600


def a_chip(rng, family, film_nm, *, mirrored=(1.0, 1.0, 1.0)):
    """A 40 x 40 chip; ``mirrored`` is the colour of what it mirrors beside the white."""
    base, film = METALS[family]
    rgb = film_colour(
        base,
        film,
        film_nm,
        kelvin=rng.choice(LIGHTS_K),
        n_factor=rng.uniform(0.9, 1.1),
        spread=rng.uniform(0, 0.3),
    )
    white_error = np.exp(rng.normal(0, 0.02, 3))
    shade = rng.uniform(0.4, 1.1, (40, 40, 1))
    haze = rng.uniform(0, 0.01)
    picture = rgb * np.array(mirrored) * white_error * shade + haze
    return (picture + rng.normal(0, 0.01, picture.shape)).astype(np.float32)


def read(rng, family, film_nm, **more):
    linear = a_chip(rng, family, film_nm, **more)
    mask = np.ones(linear.shape[:2], bool)
    return tint_of(linear, mask, family=family, u_colour=U_COLOUR)


def tinted_figures(rng, family):
    errors, within, ratio, right, near, surely_bright = [], [], [], 0, 0, 0
    for _ in range(CHIPS):
        film_nm = rng.uniform(12, 90)
        tint = read(rng, family, film_nm)
        true = tint_name(film_nm, family)
        right += tint.name == true
        near += tint.name is not None and (abs(TINTS.index(tint.name) - TINTS.index(true)) <= 1)
        surely_bright += tint.name == "bright" and tint.sure and film_nm >= 20
        if tint.film_nm is not None and tint.film_nm.bound is None:
            errors.append(abs(tint.film_nm.value - film_nm))
            within.append(errors[-1] <= 2 * tint.film_nm.u)
            ratio.append(tint.film_nm.u)
    return (
        f"film: median error {np.median(errors):.1f} nm, answered {len(errors) / CHIPS:.2f}, "
        f"within 2 u {np.mean(within):.3f}, median u {np.median(ratio):.1f} nm; "
        f"name right {right / CHIPS:.2f}, or neighbour {near / CHIPS:.2f}; "
        f"20 nm and more called bright with sureness {surely_bright / CHIPS:.3f}"
    )


def bright_figures(rng, family):
    lines = []
    for words, mirrored in {
        "clean": (1.0, 1.0, 1.0),
        "film of oil": (1.0, 0.97, 0.90),
        "hand mirrored in half": (1.0, 0.85, 0.77),
    }.items():
        tints = [read(rng, family, 0.0, mirrored=mirrored) for _ in range(CHIPS // 2)]
        called = np.mean([t.name not in (None, "bright") for t in tints])
        surely = np.mean([t.name not in (None, "bright") and t.sure for t in tints])
        lines.append(f"{words} {called:.3f} ({surely:.3f} with sureness)")
    return "bright called tinted: " + ", ".join(lines)


def main():
    for family in METALS:
        rng = np.random.default_rng(8)
        sys.stdout.write(f"{family}\n  {tinted_figures(rng, family)}\n")
        sys.stdout.write(f"  {bright_figures(rng, family)}\n")


if __name__ == "__main__":
    main()
