"""Bare windows on grounds of their own: the ground changes, what lies there stays."""

from __future__ import annotations

import numpy as np
import pytest

from vision.chips.ground import even_light


@pytest.fixture(scope="module")
def torch():
    return pytest.importorskip("torch", reason="the extra train is not installed")


def windows(torch, side=96, count=8, card=False):
    """White ground with a chip of a tenth of its light in the middle."""
    truth = np.zeros((count, 2 * side, 2 * side), np.int64)
    truth[:, 60:120, 60:120] = 1
    linear = np.where(truth[:, ::2, ::2, None] > 0, 0.1, 1.0).astype(np.float32)
    picture = np.zeros((count, 4, side, side), np.float32)
    picture[:, :3] = np.stack(
        [even_light(w * np.ones(3, np.float32)) for w in linear]
    ).transpose(0, 3, 1, 2)
    picture[:, 3] = 1 if card else 0
    return torch.from_numpy(picture), torch.from_numpy(truth)


def changed(torch, picture, truth, seed=3):
    from vision.training.other_grounds import on_other_grounds

    torch.manual_seed(seed)
    return on_other_grounds(torch, picture, truth, np.random.default_rng(seed)).numpy()


def test_a_window_on_the_card_keeps_its_ground(torch):
    picture, truth = windows(torch, card=True)
    np.testing.assert_array_equal(changed(torch, picture, truth), picture.numpy())


def test_grounds_become_many_and_stay_even_on_the_whole(torch):
    picture, truth = windows(torch)
    out = changed(torch, picture, truth)
    moved = [i for i in range(len(out)) if not np.array_equal(out[i], picture[i].numpy())]
    # Eight in ten of eight, by lot.
    assert 3 <= len(moved) <= 8
    ground = out[moved][:, :3, :24]
    assert ground.std(axis=(2, 3)).mean() > 0.02
    assert ground.mean() == pytest.approx(1, abs=0.1)
    assert np.isfinite(out).all()
    assert 0 <= out.min() <= out.max() <= 1.6


def test_a_chip_on_a_dark_ground_is_seen_lighter_as_division_by_the_ground_does(torch):
    picture, truth = windows(torch, count=16)
    out = changed(torch, picture, truth)
    chip = out[:, :3, 34:56, 34:56]
    # One factor for all of a chip, so it stays as plain as it was.
    assert chip.std(axis=(2, 3)).max() < 1e-3
    level = chip.mean(axis=(2, 3))
    assert level.max() > level.min() + 0.1


def test_photographs_become_grounds_that_are_even_on_the_whole(torch):
    from vision.training.photo_grounds import photo_patterns

    torch.manual_seed(5)
    out = photo_patterns(torch, 6, 256, torch.device("cpu")).numpy()
    assert out.shape == (6, 3, 256, 256)
    # Divided by the mean round each place, the mean of the whole is about 1.
    np.testing.assert_allclose(out.mean(axis=(1, 2, 3)), 1, atol=0.25)
    assert len({round(float(o.std()), 4) for o in out}) == 6
    assert out.std(axis=(2, 3)).min() > 0.05


def test_things_are_plain_inside_and_sharp_at_the_rim(torch):
    from vision.training.patterns import things_patterns

    torch.manual_seed(5)
    out = things_patterns(torch, 4, 256, torch.device("cpu"))
    step = (out[..., 1:] - out[..., :-1]).abs().numpy()
    # Most neighbours are alike, some are not: that is what a thing with a rim is.
    assert np.median(step) < 0.01
    assert np.quantile(step, 0.995) > 0.1
    assert float(out.min()) > 0


def test_a_small_file_keeps_waves_in_steps(torch):
    """Against SciPy's cosine transform: every wave is a whole number of its step."""
    from scipy.fft import dctn

    from vision.training.teach_eye import _as_saved

    torch.manual_seed(5)
    picture, step = torch.rand(1, 3, 32, 32), 0.05
    saved = _as_saved(torch, picture, step).numpy()
    k = np.arange(8)
    for block in saved.reshape(3, 4, 8, 4, 8).transpose(0, 1, 3, 2, 4).reshape(-1, 8, 8):
        waves = dctn(block, norm="ortho") / (step * (1 + k[None] + k[:, None]))
        np.testing.assert_allclose(waves, np.round(waves), atol=1e-3)
    # And at next to no step the picture comes back.
    np.testing.assert_allclose(_as_saved(torch, picture, 1e-6), picture, atol=1e-4)
