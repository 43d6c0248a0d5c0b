"""Fit the pixel decision metal or not from the truth masks of rendered scenes.

Scenes with and without a card are looked at the way the reader looks at them; of each a
few thousand pixels are drawn, most of them metal or near it.
"""

from __future__ import annotations

import io
import logging
import warnings
from functools import partial
from typing import TYPE_CHECKING

import cv2
import numpy as np
from sklearn.exceptions import ConvergenceWarning
from sklearn.neural_network import MLPClassifier
from sklearn.preprocessing import StandardScaler
from threadpoolctl import threadpool_limits

from vision.chips.ground import FIND_PX_PER_MM, Eye, pixel_responses
from vision.chips.look import sheet_view
from vision.training.pool import spread
from vision.training.rows import load_scene, open_scene, scene_paths

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    import numpy.typing as npt

    from vision.arrays import Float2
    from vision.photo.plane import Plane
    from vision.training.rows import SceneFiles

    Rows = npt.NDArray[np.float32]

__all__ = ["draw_pixels", "eye_bytes", "fit_eye", "metal_share"]

_LOG = logging.getLogger(__name__)
_FINER = 3
#: Pixels to learn from: of all scenes, and of each kind in one scene.
_PIXELS = 2_400_000
_LEAST_EACH, _MOST_EACH = 200, 3600
#: Metal, near metal, and odd pixels elsewhere are drawn alike.
_KINDS = 3


def metal_share(
    mask: npt.NDArray[np.uint8], plane: Plane, box: tuple[float, float, float, float]
) -> Float2:
    """Return the share of each find-view pixel that the truth mask calls metal."""
    q = FIND_PX_PER_MM * _FINER
    w, h = round((box[2] - box[0]) * q), round((box[3] - box[1]) * q)
    x, y = plane.photo_maps(box, (w, h))
    fine = cv2.remap((mask > 0).astype(np.uint8), x, y, cv2.INTER_NEAREST)
    size = (w // _FINER, h // _FINER)
    share = cv2.resize(fine.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    return np.asarray(share, np.float32)


def _draw(
    flat: npt.NDArray[np.intp], count: int, rng: np.random.Generator
) -> npt.NDArray[np.intp]:
    return rng.choice(flat, min(count, len(flat)), replace=False)


def _pixels(
    scene: SceneFiles, seed: int, each: int
) -> tuple[Rows, npt.NDArray[np.int8], npt.NDArray[np.float32]]:
    """Draw pixels of one scene: metal, its surroundings, and whatever else is not plain sheet.

    Returns responses, labels, and the weight that undoes the uneven drawing.
    """
    opened = open_scene(scene)
    rng = np.random.default_rng([seed, int(scene.truth["seed"])])
    box, linear, expected, seen = sheet_view(opened.plane, opened.light)
    rows = pixel_responses(linear, expected)
    share = metal_share(scene.mask, opened.plane, box)[: seen.shape[0], : seen.shape[1]]
    clear = seen
    metal = clear & (share > 0.5)
    around = cv2.dilate((share > 0).astype(np.uint8), np.ones((21, 21), np.uint8)) > 0
    odd = (np.abs(rows[..., 0]) > 0.05) | (np.abs(rows[..., 19]) > 0.04)
    kinds = (metal, clear & ~metal & around, clear & ~metal & ~around & odd)
    plain = clear & ~metal & ~around & ~odd
    x, y, w = [], [], []
    flat = rows.reshape(-1, rows.shape[-1])
    for k, (where, count) in enumerate(
        zip((*kinds, plain), (each, each, each, each // 6), strict=True)
    ):
        at = np.flatnonzero(where)
        if len(at) == 0:
            continue
        taken = _draw(at, count, rng)
        x.append(flat[taken])
        y.append(np.full(len(taken), k == 0, np.int8))
        w.append(np.full(len(taken), min(len(at) / len(taken), 12.0), np.float32))
    return np.concatenate(x), np.concatenate(y), np.concatenate(w)


def _network(x: Rows, y: npt.NDArray[np.int8], w: npt.NDArray[np.float32], seed: int) -> Eye:
    """Fit the network; weights by resampling, since the fitter takes none."""
    rng = np.random.default_rng(seed)
    pick = rng.choice(len(x), len(x), p=w / w.sum())
    scaler = StandardScaler().fit(x)
    net = MLPClassifier(
        (40, 20),
        alpha=1e-4,
        batch_size=1024,
        learning_rate_init=2e-3,
        max_iter=14,
        n_iter_no_change=14,
        random_state=seed,
    )
    # The layers are thin: on a busy machine threads mostly wait for each other.
    with warnings.catch_warnings(), threadpool_limits(limits=1, user_api="blas"):
        # A fixed number of rounds on purpose: more of them did not find more chips.
        warnings.simplefilter("ignore", ConvergenceWarning)
        net.fit(scaler.transform(x[pick]), y[pick])
    return Eye(
        mean=scaler.mean_.astype(np.float32),
        scale=(1 / scaler.scale_).astype(np.float32),
        weights=tuple(a.astype(np.float32) for a in net.coefs_),
        biases=tuple(b.astype(np.float32) for b in net.intercepts_),
    )


def _pixels_of(
    path: Path, seed: int, each: int
) -> tuple[Rows, npt.NDArray[np.int8], npt.NDArray[np.float32]]:
    return _pixels(load_scene(path), seed, each)


def draw_pixels(
    folder: Path, *, seed: int, workers: int = 1, label: str = ""
) -> tuple[Rows, npt.NDArray[np.int8], npt.NDArray[np.float32]]:
    """Draw the pixels to learn from: responses (N, R), metal or not (N,), weights (N,).

    The same ones whatever the number of workers; some two million in all, which keep
    memory under a few GB.
    """
    paths = scene_paths(folder)
    each = int(np.clip(_PIXELS // (_KINDS * len(paths)), _LEAST_EACH, _MOST_EACH))
    work = partial(_pixels_of, seed=seed, each=each)
    parts = list(spread(work, paths, workers=workers, label=label))
    x, y, w = (np.concatenate(p) for p in zip(*parts, strict=True))
    return x, y, w


def fit_eye(folder: Path, *, seed: int, workers: int = 1, label: str = "") -> Eye:
    """Fit the decision on pixels of all scenes of a folder."""
    x, y, w = draw_pixels(folder, seed=seed, workers=workers, label=label)
    _LOG.info("%d pixels, %.0f %% metal", len(y), 100 * y.mean())
    return _network(x, y, w, seed)


def eye_bytes(eye: Eye) -> bytes:
    """Return the decision as an ``npz`` archive."""
    out = io.BytesIO()
    layers: Sequence[tuple[str, npt.NDArray[np.float32]]] = [
        *((f"w{k}", a) for k, a in enumerate(eye.weights)),
        *((f"b{k}", a) for k, a in enumerate(eye.biases)),
    ]
    np.savez_compressed(out, mean=eye.mean, scale=eye.scale, **dict(layers))  # type: ignore[arg-type]
    return out.getvalue()
