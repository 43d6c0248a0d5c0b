"""The network as it learns and as the reader runs it are one; it learns what is shown."""

from __future__ import annotations

import numpy as np
import pytest

from vision.chips.eye import Eye
from vision.training.network import LAYERS, onnx_of
from vision.training.windows import Sheet, Windows


def sheets(count=4, side=160):
    """White sheets with two dark bars each, which are chips 1 and 2."""
    rng = np.random.default_rng(2)
    out = []
    for _ in range(count):
        labels = np.zeros((2 * side, 2 * side), np.uint8)
        for number in (1, 2):
            top, left = rng.integers(20, 2 * side - 120, 2)
            labels[top : top + 24, left : left + 100] = number
        seen = np.full((side, side, 4), 160, np.uint8)
        seen[labels[::2, ::2] > 0, :3] = 70
        out.append(Sheet(seen, labels))
    return out


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
        metal, place = teach_eye._run(torch, net, torch.from_numpy(picture[None]))
        metal, place = torch.sigmoid(metal).numpy(), place.numpy()
    said = eye(picture)
    assert said.metal.shape == (64, 96)
    assert said.middle.shape == (2, 16, 24)
    np.testing.assert_allclose(said.metal, metal[0, 0], atol=1e-4)
    np.testing.assert_allclose(said.middle, 10 * place[0, :2], rtol=1e-3)
    np.testing.assert_allclose(said.reach, np.exp(np.clip(place[0, 2], -3, 4)), rtol=1e-3)


def test_learning_finds_dark_bars_on_a_white_sheet():
    pytest.importorskip("torch", reason="the extra train is not installed")
    pytest.importorskip("onnx")
    from vision.training.teach_eye import learn

    windows = Windows(sheets(), side=64)
    weights = learn(windows, steps=160, seed=1, device="cpu", batch=4)
    assert set(weights) == {f"{name}.{part}" for name in LAYERS for part in "wb"}
    seen, labels = windows.draw(4, np.random.default_rng(9))
    eye = Eye(onnx_of(weights))
    metal = np.stack([eye(s.astype(np.float32) / 160).metal for s in seen])
    bars = (labels[:, ::2, ::2] > 0) & (labels[:, ::2, ::2] < 3)
    assert metal[bars].mean() > metal[~bars].mean() + 0.2
