"""Chips of one window laid over another: numbers, pictures, shadows and sizes stay true."""

from __future__ import annotations

import numpy as np
import pytest

from vision.chips.eye import GUESSED
from vision.chips.ground import even_light

SIDE = 96


@pytest.fixture(scope="module")
def torch():
    return pytest.importorskip("torch", reason="the extra train is not installed")


def windows(torch, *, card):
    """Window k shows chip 1, a tenth of the light, at a place of its own, and its shadow."""
    n = len(card)
    truth = np.zeros((n, 2 * SIDE, 2 * SIDE), np.int64)
    linear = np.ones((n, SIDE, SIDE), np.float32)
    for k in range(n):
        at = 16 + 8 * k
        truth[k, 2 * at : 2 * at + 32, 40:140] = 1
        linear[k, at : at + 16, 20:70] = 0.1
        linear[k, at + 16 : at + 20, 20:70] = 0.6
    seen = np.stack([even_light(np.repeat(w[..., None], 3, 2)) for w in linear])
    picture = np.zeros((n, 4, SIDE, SIDE), np.float32)
    picture[:, :3] = seen.transpose(0, 3, 1, 2)
    picture[:, 3] = np.array(card, np.float32)[:, None, None]
    sizes = np.full((n, 256, len(GUESSED)), np.nan, np.float32)
    sizes[:, 1] = np.arange(n)[:, None]
    return torch.from_numpy(picture), torch.from_numpy(truth), torch.from_numpy(sizes)


def laid(torch, card, seed=3):
    from vision.training.laid_over import laid_over

    before = windows(torch, card=card)
    torch.manual_seed(seed)
    after = laid_over(torch, *before, np.random.default_rng(seed))
    return [t.numpy() for t in before], [t.numpy() for t in after]


def test_what_was_laid_over_has_a_number_that_was_free_and_its_own_sizes(torch):
    (_, truth, _), (_, now, sizes) = laid(torch, card=[0] * 8)
    more = [k for k in range(8) if len(np.unique(now[k])) > len(np.unique(truth[k]))]
    assert more
    for k in more:
        guests = set(np.unique(now[k])) - {0, 1}
        assert len(guests) == 1
        (guest,) = guests
        source = sizes[k, guest, GUESSED.index("width")]
        assert source != k
        # It lies where its own window shows it, mirrored.
        rows = np.nonzero((now[k] == guest).any(axis=1))[0]
        assert rows[0] == 2 * (16 + 8 * int(source))
        assert (now[k] == guest)[:, ::-1].any(axis=0).nonzero()[0][0] == 40


def test_a_covered_chip_has_no_size_that_only_a_whole_one_shows(torch):
    (_, truth, _), (_, now, sizes) = laid(torch, card=[0] * 8)
    for k in range(8):
        share = (now[k] == 1).sum() / (truth[k] == 1).sum()
        length, width = (sizes[k, 1, GUESSED.index(s)] for s in ("length", "width"))
        assert np.isfinite(width)
        assert np.isnan(length) == (share < 0.95)


def test_pictures_change_where_chips_and_shadows_were_laid_and_nowhere_else(torch):
    (seen, truth, _), (out, now, _) = laid(torch, card=[0] * 8)
    dark = float(even_light(np.full((1, 1, 3), 0.1, np.float32))[0, 0, 0])
    for k in range(8):
        new = (now[k] > 1)[::2, ::2]
        if not new.any():
            # There and back through linear light costs a step of single precision.
            np.testing.assert_allclose(out[k], seen[k], atol=1e-5)
            continue
        # Steps of even light are 1/26,000 of white.
        np.testing.assert_allclose(out[k, :3][:, new], dark, atol=1e-3)
        free = (truth[k] == 0)[::2, ::2] & ~new
        below = np.roll(new, 2, axis=0) & free & (seen[k, 0] > 0.99)
        assert below.any()
        assert out[k, 0][below].mean() < 0.95
        far = free.copy()
        rows = np.nonzero(new.any(axis=1))[0]
        far[max(rows[0] - 48, 0) : rows[-1] + 49] = False
        np.testing.assert_allclose(out[k, :3][:, far], seen[k, :3][:, far], atol=1e-4)


def test_nothing_of_a_bare_window_is_laid_on_the_card(torch):
    (_, truth, _), (_, now, sizes) = laid(torch, card=[1, 0, 1, 0, 1, 0, 1, 0])
    laid_on = 0
    for k in range(0, 8, 2):
        for guest in set(np.unique(now[k])) - set(np.unique(truth[k])):
            laid_on += 1
            assert sizes[k, guest, GUESSED.index("width")] % 2 == 0
    assert laid_on
    assert (truth >= 0).all()
