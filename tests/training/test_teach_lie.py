"""How strips lie is learned from known coils, and the file says what was learned."""

from __future__ import annotations

import numpy as np
import pytest

from vision.chips.coil import Straight
from vision.chips.lie import LieNet
from vision.training.teach_lie import KnownCoil, coils_of_scene, learn_lie, onnx_of_lie


def drawn(rng, on_edge):
    """A coil of 52 rows: glints along it lie as on a tube, dark gaps across stand on edge."""
    light = np.full((64, 140), 0.4, np.float32)
    if on_edge:
        light[:, :: int(rng.integers(6, 12))] = 0.05
    else:
        light[int(rng.integers(15, 45)) :][:4] = 1.2
    light[:6], light[-6:] = 1, 1
    mask = np.zeros_like(light)
    mask[6:-6] = 1
    return light, mask


def straight(light, mask):
    line = np.zeros((2, 2))
    return Straight(mask=mask, light=light, axis_px=140.0, bow=0.0, line_px=line)


def test_glints_along_and_gaps_across_are_learned():
    pytest.importorskip("torch", reason="the extra train is not installed")
    pytest.importorskip("onnx")
    rng = np.random.default_rng(5)
    coils = [
        KnownCoil(
            np.stack(drawn(rng, k % 2 == 1)), 85.0 if k % 2 else 5.0, "4" if k % 2 else "2"
        )
        for k in range(96)
    ]
    net = LieNet(onnx_of_lie(learn_lie(coils, seed=1, epochs=25)))
    flat = net([straight(*drawn(rng, on_edge=False)) for _ in range(6)])
    edge = net([straight(*drawn(rng, on_edge=True)) for _ in range(6)])
    assert min(k.deg for k in edge) > max(k.deg for k in flat) + 20


def test_coils_to_learn_from_are_those_found_with_their_true_angle(made_scenes):
    from vision import bundled
    from vision.training.rows import load_scene, scene_paths

    scenes = [load_scene(p) for p in scene_paths(made_scenes)]
    truth = set()
    for scene in scenes:
        for chip in scene.truth["chips"]:
            # The drawn scenes tell no angle: each chip gets one of its own.
            chip["theta_deg"] = 7.0 * chip["number"]
            if chip["group"] in "245" and not chip["form"].endswith(".3"):
                truth.add((chip["group"], chip["theta_deg"]))
    found = [k for s in scenes for k in coils_of_scene(s, bundled.packaged_eye())]
    assert found
    for coil in found:
        assert (coil.group, coil.lie_deg) in truth
        assert coil.picture.shape[:2] == (2, 64)
