"""The packaged network, asked once or of a picture and its mirror images."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scipy.special import expit, logit

from vision import bundled
from vision.chips.eye import CELL_PX, GUESS_PX, KIN, Said, SteadyEye
from vision.chips.look import look_at
from vision.photo.opened import open_photo
from vision.synthetic import make_scene
from vision.synthetic.strips import needle

#: Left for right, top for bottom, both: what is turned of the last two axes.
TURNS = {"right": (False, True), "down": (True, False), "both": (True, True)}


@pytest.fixture(scope="module")
def picture():
    """Three bars and a ring on a bench, as the network is shown one without a card."""
    rng = np.random.default_rng(8)
    light = np.full((128, 192), 0.8, np.float32)
    for at in ((20, 30), (90, 140), (40, 160)):
        cv2.line(light, at[::-1], (at[1] + 25, at[0] + 14), 0.4, 7, cv2.LINE_AA)
    cv2.circle(light, (70, 80), 22, 0.5, 6, cv2.LINE_AA)
    light += rng.normal(0, 0.01, light.shape).astype(np.float32)
    return np.stack([light, light, light, np.zeros_like(light)])


def turned(part, turn):
    down, right = turn
    return part[..., :: -1 if down else 1, :: -1 if right else 1]


def said_everywhere(shown, metal, rest):
    """Say one thing of metal, and one of all else, wherever it is."""
    h, w = shown.shape[1:]
    cells, squares = (h // CELL_PX, w // CELL_PX), (h // GUESS_PX, w // GUESS_PX)

    def everywhere(value, *shape):
        return np.full(shape, value, np.float32)

    return Said(
        metal=everywhere(metal, h, w),
        middle=everywhere(rest, 2, *cells),
        reach=everywhere(rest, *cells),
        typical=everywhere(rest, *cells),
        kin=everywhere(rest, len(KIN), *cells),
        guess=everywhere(rest, 18, *squares),
    )


@pytest.mark.parametrize("turn", TURNS.values(), ids=TURNS)
def test_a_mirrored_picture_gets_a_mirrored_answer(picture, turn):
    eye = SteadyEye(bundled.packaged_eye())
    said, again = eye(picture), eye(np.ascontiguousarray(turned(picture, turn)))
    assert said.metal.max() > 0.5  # something is seen
    sign = np.array([-1 if turn[1] else 1, -1 if turn[0] else 1])[:, None, None]
    # Sums of four in another order: some last bits of middles of up to 30 mm.
    assert turned(again.middle, turn) * sign == pytest.approx(said.middle, abs=1e-4)
    for part in ("metal", "reach", "typical", "guess"):
        assert turned(getattr(again, part), turn) == pytest.approx(
            getattr(said, part), rel=1e-4, abs=1e-5
        )


def kin_by_pair(kin, turn):
    """Return the log-odds told of a turned picture by the pair of cells of the unturned one."""
    (_, h, w), (down, right) = kin.shape, turn

    def unturned(r, c):
        return h - 1 - r if down else r, w - 1 - c if right else c

    return {
        frozenset((unturned(r, c), unturned(r + d, c + e))): kin[k, r, c]
        for k, (d, e) in enumerate(KIN)
        for r in range(h - d)
        for c in range(max(-e, 0), w - max(e, 0))
    }


@pytest.mark.parametrize("turn", TURNS.values(), ids=TURNS)
def test_kin_of_a_mirrored_picture_are_told_of_the_same_cells(picture, turn):
    eye = SteadyEye(bundled.packaged_eye())
    said = kin_by_pair(eye(picture).kin, (False, False))
    again = kin_by_pair(eye(np.ascontiguousarray(turned(picture, turn))).kin, turn)
    assert said.keys() == again.keys()
    assert max(abs(said[pair] - again[pair]) for pair in said) < 1e-3
    assert max(said.values()) - min(said.values()) > 1  # they are not all alike


def test_one_look_alone_does_not_do_that(picture):
    eye = bundled.packaged_eye()
    said, again = eye(picture), eye(np.ascontiguousarray(turned(picture, TURNS["right"])))
    assert np.abs(turned(again.metal, TURNS["right"]) - said.metal).max() > 0.01


def test_the_mean_of_four_looks_is_told(picture):
    """A network that says where it looks from: the top left corner of what it is shown."""

    def corner(shown):
        value = shown[0, 0, 0]
        return said_everywhere(shown, expit(value), value)

    picture = picture.copy()
    picture[0, 0, 0], picture[0, 0, -1], picture[0, -1, 0], picture[0, -1, -1] = 1, 2, 3, 6
    said = SteadyEye(corner)(picture)
    for part in (said.reach, said.typical, said.guess):
        assert np.unique(part) == pytest.approx(3.0)
    # Of metal the logits are averaged, and told more outspokenly than the mean, which is 3, but
    # less than the surest look, which says 6.
    assert len(np.unique(said.metal)) == 1
    assert 3.0 < logit(said.metal[0, 0]) < 6.0
    # To the right is to the left in the second and the fourth: (1 - 2 + 3 - 6) / 4.
    assert np.unique(said.middle[0]) == pytest.approx(-1.0)
    assert np.unique(said.middle[1]) == pytest.approx((1 + 2 - 3 - 6) / 4)


class Counting:
    """An eye that sees nothing and remembers what it was shown."""

    lie = None

    def __init__(self):
        self.shown = []

    def __call__(self, shown):
        self.shown.append(shown)
        return said_everywhere(shown, 0.0, 1.0)


def test_without_a_card_every_place_is_looked_at_from_four_sides():
    bench = np.full((900, 1200, 3), 150, np.uint8)
    cv2.line(bench, (500, 400), (640, 470), (90, 90, 90), 14, cv2.LINE_AA)
    eye, opened = Counting(), open_photo(cv2.imencode(".png", bench)[1].tobytes())
    look_at(opened.plane, opened.light, eye)
    assert eye.shown
    assert len(eye.shown) % 4 == 0
    first, _, _, last = eye.shown[:4]
    assert np.array_equal(first, last[:, ::-1, ::-1])


def test_on_the_card_one_look_is_enough():
    scene = make_scene(np.random.default_rng(3), px_per_mm=9, chips=[needle(9.0, 0.6)])
    eye, opened = Counting(), open_photo(scene.jpeg)
    look_at(opened.plane, opened.light, eye)
    assert eye.shown
    pairs = [(a, b) for a in eye.shown for b in eye.shown if a is not b and a.shape == b.shape]
    assert not any(np.array_equal(a, b[:, ::-1, ::-1]) for a, b in pairs)
