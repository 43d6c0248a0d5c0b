"""What is unlike any chip, against SciPy's distance, the chi-square law, and spoilt rows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.distance import mahalanobis
from sklearn.covariance import LedoitWolf

from vision import bundled
from vision.chips.features import FEATURES
from vision.forms.fitting import read_table
from vision.forms.model import load_model
from vision.forms.sets import kept_at
from vision.forms.unlike import Clouds, clouds_of

NAMES = list(FEATURES)


def two_clouds(rng, count=500):
    mix = rng.normal(size=(4, 4))
    one, two = (rng.normal(size=(count, 4)) @ mix + at for at in (0.0, 40.0))
    return np.vstack([one, two]), np.array(["1"] * count + ["2"] * count)


def test_the_distance_is_that_of_the_nearest_class(rng):
    rows, labels = two_clouds(rng)
    clouds = clouds_of(rows, labels)
    scale = rows.std(axis=0)
    new = rng.normal(size=(6, 4)) * 30
    away = []
    for name in "12":
        own = rows[labels == name] / scale
        inverse = np.linalg.inv(LedoitWolf().fit(own).covariance_)
        middle = own.mean(axis=0)
        away.append([mahalanobis(r / scale, middle, inverse) for r in new])
    assert clouds.distance(new) == pytest.approx(np.min(away, axis=0))


def test_rows_of_a_normal_law_lie_as_far_as_chi_square_says(rng):
    rows, labels = two_clouds(rng, count=4000)
    half = np.arange(len(rows)) % 2 == 0
    clouds = clouds_of(rows[half], labels[half])
    squares = clouds.distance(rows[~half]) ** 2
    # Mean 4 and variance 8 of four squares; three standard errors of the 4000 looked at and
    # of the covariances, which rest on as many.
    assert squares.mean() == pytest.approx(4, abs=3 * (2 * 8 / 4000) ** 0.5)


def test_units_do_not_matter(rng):
    rows, labels = two_clouds(rng)
    units = np.array([1.0, 25.4, 1e-3, 1e3])
    one, other = clouds_of(rows, labels), clouds_of(rows * units, labels)
    assert other.distance(rows * units) == pytest.approx(one.distance(rows))


def test_what_could_not_be_measured_says_nothing(rng):
    rows, labels = two_clouds(rng)
    clouds = clouds_of(rows, labels)
    middle = rows[labels == "1"].mean(axis=0)
    assert clouds.distance(middle[None])[0] == pytest.approx(0, abs=1e-9)
    gap = middle.copy()
    gap[2] = np.nan
    assert clouds.distance(gap[None])[0] == pytest.approx(0, abs=1e-9)
    never = rows.copy()
    never[labels == "1", 3] = np.nan
    assert np.isfinite(clouds_of(never, labels).distance(rows)).all()


def test_a_class_of_few_rows_has_no_shape(rng):
    rows, labels = two_clouds(rng, count=9)
    with pytest.raises(ValueError, match="enough rows"):
        clouds_of(rows, labels)
    assert len(clouds_of(rows, np.full(18, "1")).middles) == 1


@pytest.mark.parametrize(
    "spoil",
    [
        {"limit": np.array(0.0)},
        {"limit": np.array(np.nan)},
        {"middles": np.zeros((1, 3))},
        {"middles": np.zeros((0, 3)), "whiten": np.zeros((0, 3, 3))},
        {"middles": np.zeros((1, 3)), "whiten": np.full((1, 3, 3), np.nan)},
    ],
)
def test_arrays_that_make_no_sense(rng, spoil):
    told = clouds_of(*two_clouds(rng)).arrays()
    assert Clouds.of_arrays(told).limit == np.inf
    with pytest.raises(ValueError, match="no sense"):
        Clouds.of_arrays(told | spoil)


# the shipped model ------------------------------------------------------------------


@pytest.fixture(scope="module")
def model():
    return load_model(bundled.read_data("forms.model"))


@pytest.fixture(scope="module")
def chips(model):
    """Chips of calibration scenes that a reading would show: learned from never."""
    table = read_table(bundled.read_data("features.csv.gz"))
    at = table.held & (table.labels != "none")
    return table.rows[at][kept_at(model.probabilities(table.rows[at]))]


def shown_unlike(model, rows):
    """Share of what would be called a chip that is told as unlike any."""
    called = kept_at(model.probabilities(rows))
    return model.clouds.unlike(rows)[called].mean()


def test_about_one_true_chip_in_a_hundred_is_unlike(model, chips):
    share = model.clouds.unlike(chips).mean()
    assert 0.005 <= share <= 0.011
    assert np.isfinite(model.clouds.limit)


def test_measures_that_do_not_belong_together_are_unlike(model, chips, rng):
    # Each measure is drawn from another chip: every one alone is quite usual.
    mixed = np.stack([rng.permutation(column) for column in chips.T], axis=1)
    assert shown_unlike(model, mixed) > 0.95
    # A quarter of the measures only.
    some = np.where(rng.random(chips.shape) < 0.25, mixed, chips)
    assert shown_unlike(model, some) > 0.5


def test_chips_of_a_size_that_no_lathe_makes_are_unlike(model, chips):
    """Ten times larger, as where centimetres are typed for millimetres, most are unlike any;
    of twice the size there may be chips."""
    along = {"log_area": 2.0} | dict.fromkeys(
        (
            *("log_extent", "log_path", "log_width"),
            *("glance_radius", "glance_pitch", "glance_length", "glance_width"),
        ),
        1.0,
    )
    step = np.array([along.get(name, 0.0) for name in NAMES])
    assert shown_unlike(model, chips + step * np.log(2)) < 0.1
    assert shown_unlike(model, chips + step * np.log(10)) > 0.5


def test_without_a_limit_nothing_is_unlike(model, chips):
    clouds = replace(model.clouds, limit=np.inf)
    assert not clouds.unlike(chips * 1e6).any()
