"""Section of a chip against the geometry of the cut.

Sources: the closed forms b = a_p / sin(kappa_r), h = f sin(kappa_r) of any text on
turning; b h = a_p f because one revolution advances the tool by f at depth a_p.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from vision.training.cut import LIMITS_MM, draw_cut, uncut_layer_mm


@pytest.mark.parametrize("lead", [45.0, 60.0, 90.0, 95.0])
def test_sharp_tool_gives_the_textbook_layer(lead):
    b, h = uncut_layer_mm(1.2, 0.1, lead)
    assert b == pytest.approx(1.2 / math.sin(math.radians(lead)))
    assert h == pytest.approx(0.1 * math.sin(math.radians(lead)))


def test_a_round_nose_cuts_an_arc():
    """Depth equal to the nose radius at 90 degrees: the edge is a quarter circle."""
    b, h = uncut_layer_mm(0.4, 0.1, 90.0, 0.4)
    assert b == pytest.approx(0.4 * math.pi / 2)
    assert b * h == pytest.approx(0.4 * 0.1)


@pytest.mark.parametrize("depth", [0.05, 0.117157, 0.1172, 0.5])
def test_layer_is_continuous_where_the_straight_edge_begins(depth):
    near, _ = uncut_layer_mm(depth, 0.1, 45.0, 0.4)
    further, _ = uncut_layer_mm(depth + 1e-4, 0.1, 45.0, 0.4)
    # db / d(depth) is at most 1 / sin of the local edge angle
    assert 0 < further - near < 1e-4 / math.sin(math.acos(1 - min(depth, 0.117) / 0.4)) * 1.01


@pytest.mark.parametrize("compression", [(0.9, 1.6), (1.2, 2.0), (2.0, 3.5), (2.0, 5.0)])
def test_every_metal_gets_sections_within_the_limits(compression):
    (narrow, wide), (thin, thick) = LIMITS_MM
    sections = [draw_cut(np.random.default_rng(k), compression) for k in range(200)]
    for s in sections:
        assert narrow <= s.width_mm <= wide
        assert thin <= s.thickness_mm <= thick
        assert s.thickness_mm <= s.width_mm / 2
    widths = np.array([s.width_mm for s in sections])
    # log-uniform depths over 1.4 decades must reach both ends of the widths
    assert widths.min() < 0.35
    assert widths.max() > 1.8


def test_soft_metal_gives_thicker_chips():
    def median(compression):
        made = [draw_cut(np.random.default_rng(k), compression) for k in range(200)]
        return np.median([s.thickness_mm for s in made])

    assert median((2.0, 5.0)) > 1.3 * median((0.9, 1.6))


def test_impossible_compression_is_refused():
    with pytest.raises(ValueError, match="compression"):
        draw_cut(np.random.default_rng(0), (50.0, 60.0))
