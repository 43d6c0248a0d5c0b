"""What names could be at best: the arithmetic against a library and a simulation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from vision.heat.names import tint_name
from vision.terms import TINTS
from vision.training.heat_score import HeatRow, lines_of


def a_row(true_nm, family="steel"):
    return HeatRow(
        scene="one",
        family=family,
        true_nm=true_nm,
        film_nm=true_nm,
        u_nm=3.0,
        bound=False,
        name=tint_name(true_nm, family),
        candidates=(tint_name(true_nm, family),),
        sure=True,
        misled_by=(),
    )


def at_best(rows):
    line = next(t for t in lines_of(rows) if "name, at best" in t)
    words = line.split("at best: ")[1].replace(";", "").replace(",", "").split()
    return [float(w) for w in words if w.replace(".", "").isdigit()][1:]


def test_one_film_in_the_middle_of_its_band():
    # Brown on steel is 28.5 to 34.5 nm, with its neighbours 23 to 42.5; 5 nm is the median
    # of a normal error's size, so its standard deviation is 5 over scipy's own quartile.
    sigma = 5.0 / norm.ppf(0.75)
    right, near, *_ = at_best([a_row(31.0)])
    assert right == pytest.approx(norm.cdf(3.5 / sigma) - norm.cdf(-2.5 / sigma), abs=0.006)
    assert near == pytest.approx(norm.cdf(11.5 / sigma) - norm.cdf(-8 / sigma), abs=0.006)


def test_index_alone_agrees_with_a_simulation(rng):
    films = np.exp(rng.uniform(np.log(12), np.log(90), 400))
    *_, right, near = at_best([a_row(float(d)) for d in films])
    steps = []
    for true_nm in films:
        for factor in rng.uniform(0.9, 1.1, 25):
            told = tint_name(float(true_nm * factor), "steel")
            steps.append(TINTS.index(told) - TINTS.index(tint_name(float(true_nm), "steel")))
    # 10,000 draws: a standard deviation of half a percent, and two printed decimals.
    assert right == pytest.approx(np.mean(np.array(steps) == 0), abs=0.02)
    assert near == pytest.approx(np.mean(np.abs(steps) <= 1), abs=0.02)
