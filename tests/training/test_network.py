"""The network as it learns and as the reader runs it are one; it learns what is shown."""

from __future__ import annotations

import numpy as np
import pytest

from vision.chips.eye import Eye
from vision.chips.glance import glance_of
from vision.training.network import LAYERS, onnx_of
from vision.training.windows import Sheet, Windows, true_sizes


def sheets(count=4, side=160):
    """White sheets with two dark bars each, which are chips 1 and 2, 8 mm long unrolled."""
    rng = np.random.default_rng(2)
    out = []
    for _ in range(count):
        labels = np.zeros((2 * side, 2 * side), np.uint8)
        for number in (1, 2):
            top, left = rng.integers(20, 2 * side - 120, 2)
            labels[top : top + 24, left : left + 100] = number
        seen = np.full((side, side, 4), 160, np.uint8)
        seen[labels[::2, ::2] > 0, :3] = 70
        out.append(Sheet(seen, labels, true_sizes([bar(1), bar(2)])))
    return out


def bar(number):
    """Truth of a straight chip: it has a length and a width and no curl."""
    none = ("curl_radius_mm", "curl_radius_range_mm", "pitch_mm", "turns", "theta_deg")
    chip = {"number": number, "length_mm": 8.0, "width_mm": 1.5, "coil_length_mm": None}
    return chip | dict.fromkeys(none)


def test_the_file_says_what_the_network_said_while_learning():
    torch = pytest.importorskip("torch", reason="the extra train is not installed")
    pytest.importorskip("onnx")
    from vision.training import teach_eye

    torch.manual_seed(1)
    net = teach_eye._network(torch)
    rng = np.random.default_rng(4)
    for value in net.state_dict().values():
        if value.dtype.is_floating_point:
            # Any weights will do, but spreads are above zero.
            value.copy_(torch.from_numpy(rng.uniform(0.02, 0.12, tuple(value.shape))))
    net.eval()
    eye = Eye(onnx_of(teach_eye._plain_weights(net.state_dict())))
    picture = rng.random((4, 64, 96)).astype(np.float32)
    with torch.no_grad():
        metal, place, kin, guess = teach_eye._run(torch, net, torch.from_numpy(picture[None]))
        metal, place, guess = torch.sigmoid(metal).numpy(), place.numpy(), guess.numpy()
    said = eye(picture)
    assert said.metal.shape == (64, 96)
    assert said.middle.shape == (2, 16, 24)
    np.testing.assert_allclose(said.metal, metal[0, 0], atol=1e-4)
    np.testing.assert_allclose(said.kin, kin.numpy()[0], rtol=1e-3)
    np.testing.assert_allclose(said.middle, 10 * place[0, :2], rtol=1e-3)
    np.testing.assert_allclose(said.reach, np.exp(np.clip(place[0, 2], -3, 4)), rtol=1e-3)
    assert said.guess.shape == (18, 8, 12)
    np.testing.assert_allclose(said.guess[:8], guess[0, :8], rtol=1e-3, atol=1e-4)
    np.testing.assert_allclose(said.guess[8:16], np.clip(guess[0, 8:16], -4, 2), rtol=1e-3)
    np.testing.assert_allclose(said.guess[16:], 1 / (1 + np.exp(-guess[0, 16:])), rtol=1e-3)


@pytest.mark.timeout(600)
def test_learning_finds_dark_bars_on_a_white_sheet():
    pytest.importorskip("torch", reason="the extra train is not installed")
    pytest.importorskip("onnx")
    from vision.training.teach_eye import learn

    windows = Windows(sheets(), side=64)
    weights = learn(windows, steps=160, seed=1, device="cpu", batch=4)
    assert set(weights) == {f"{name}.{part}" for name in LAYERS for part in "wb"}
    eye = Eye(onnx_of(weights))
    said = [eye(s.seen.transpose(2, 0, 1).astype(np.float32) / 160) for s in windows.sheets]
    metal = np.stack([s.metal for s in said])
    bars = np.stack(
        [(s.labels[::2, ::2] > 0) & (s.labels[::2, ::2] < 3) for s in windows.sheets]
    )
    assert metal[bars].mean() > metal[~bars].mean() + 0.2
    glance = glance_of(said[0].guess, bars[0], 0, 0)
    # Not trained long; an untaught network says 1 mm and that all may curl.
    assert glance.mm("length") > 2
    assert glance.curls < 0.4
    assert glance.winds < 0.4


def test_truth_of_sizes_is_in_the_units_that_are_guessed():
    # A coil of 2 mm radius that goes from 1 to 3 mm, its strip half on edge.
    coil = bar(7) | {
        "curl_radius_mm": 2.0,
        "curl_radius_range_mm": [1.0, 3.0],
        "theta_deg": 45.0,
    }
    sizes = true_sizes([coil])
    assert sizes.shape == (256, 8)
    want = [np.log(8), np.log(1.5), np.log(2), np.log(3), np.nan, np.nan, 1.0, np.nan]
    np.testing.assert_allclose(sizes[7], want, rtol=1e-6)
    assert np.isnan(np.delete(sizes, 7, axis=0)).all()


def test_a_chip_cut_by_the_window_teaches_no_length():
    torch = pytest.importorskip("torch", reason="the extra train is not installed")
    from vision.training.teach_eye import _OnDevice
    from vision.training.windows import Window

    sheet = sheets(count=1)[0]
    labels = np.zeros_like(sheet.labels)
    labels[40:60, 20:100], labels[40:60, 140:220] = 1, 2
    windows = Windows([Sheet(sheet.seen, labels, sheet.sizes)], side=64)
    cut = _OnDevice(torch, windows, "cpu").cut([Window(0, 0, 0, 1, mirrored=True)])
    seen, truth, sizes = (part.numpy() for part in cut)
    assert seen.shape == (1, 4, 64, 64)
    assert truth.shape == (1, 128, 128)
    # The first bar lies wholly in the first 64 pixels, the second is outside.
    assert sizes[0, 1, 0] == pytest.approx(np.log(8))
    assert np.isnan(sizes[0, 2, 0])
    assert sizes[0, 2, 1] == pytest.approx(np.log(1.5))
