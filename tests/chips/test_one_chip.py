"""Whether pieces are of one chip, against scikit-learn's logistic regression and by hand."""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.linear_model import LogisticRegression

from vision.chips.one_chip import OneChip


def test_the_chance_is_what_the_library_says():
    rng = np.random.default_rng(4)
    measures = rng.gamma(2.0, 2.0, (200, 3))
    one = np.log1p(measures[:, 1]) + 0.4 * rng.standard_normal(200) < 1.4
    model = LogisticRegression().fit(np.log1p(measures), one)
    speaks = dict(zip("abc", model.coef_[0], strict=True))
    ours = OneChip(speaks=speaks, start=float(model.intercept_[0]), one_from=0.5)
    assert ours.measures == ("a", "b", "c")
    # The same sums in another order.
    np.testing.assert_allclose(
        ours.chance(measures), model.predict_proba(np.log1p(measures))[:, 1], rtol=1e-9
    )


@pytest.mark.parametrize(
    ("one_from", "chips"),
    [(0.1, [0, 1, 1, 1, 2]), (0.4, [0, 1, 1, 2, 3]), (0.9, [0, 1, 2, 3, 4])],
    ids=["both pairs", "the first", "none"],
)
def test_what_is_one_with_a_third_is_one(one_from, chips):
    """The odds are 3 where the measure is 0, and 3 / (1 + 8) where it is 8."""
    speaks = OneChip(speaks={"far": -1.0}, start=float(np.log(3)), one_from=one_from)
    measures = np.array([[0.0], [8.0]])
    assert speaks.chance(measures) == pytest.approx([3 / 4, 1 / 4])
    count, chip = speaks.joined(np.array([[1, 2], [2, 3]]), measures, 5)
    assert chip.tolist() == chips
    assert count == max(chips) + 1


def test_no_pairs_join_nothing():
    speaks = OneChip(speaks={"far": -1.0}, start=1.0, one_from=0.5)
    count, chip = speaks.joined(np.zeros((2, 0), np.int32), np.zeros((0, 1)), 3)
    assert (count, chip.tolist()) == (3, [0, 1, 2])
