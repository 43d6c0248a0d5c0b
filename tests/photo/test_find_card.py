"""Finding the card with a camera whose true map is known."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.errors import CardMismatch, CardNotFound
from vision.photo.decode import decode_photo
from vision.photo.find_card import find_card
from vision.records import Photo, PhotoFacts


def as_photo(rgb: np.ndarray) -> Photo:
    facts = PhotoFacts(width_px=rgb.shape[1], height_px=rgb.shape[0], format="PNG")
    return Photo(rgb=rgb, sha256="0" * 64, facts=facts)


def errors(shot, card) -> np.ndarray:
    """Relative errors of 20 random 20 mm segments in the field."""
    ends = card.sheet.to_mm(shot.segments_px().reshape(-1, 2)).reshape(-1, 2, 2)
    return np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1) / 20.0 - 1.0


@pytest.mark.parametrize("name", ["a5", "a4", "letter"])
@pytest.mark.parametrize("tilt", [0.0, 12.0, 25.0])
def test_scale_and_kind_under_tilt(shot, name, tilt):
    photo = shot(card=name, tilt_deg=tilt, tilt_about_deg=40, roll_deg=5, fill=0.7)
    card = find_card(photo.photo())
    assert card.card_id == name
    # Asked for are 1 % (median) and 2 %; corners are good to 0.05 px of some 9 px/mm over
    # 20 mm, so a tenth of a per cent leaves room for noise only.
    assert np.abs(errors(photo, card)).max() < 0.001
    assert card.residual_mm < 0.03
    # Foreshortening at 12 degrees is 2 %, known to some 0.01 %: about half a degree; near
    # zero any noise looks like a degree of tilt.
    assert card.tilt_deg == pytest.approx(tilt, abs=0.5 if tilt else 2.0)


def test_sheet_corner_is_the_origin(shot, through):
    photo = shot(tilt_deg=15, tilt_about_deg=100)
    card = find_card(photo.photo())
    corners = np.array([[0, 0], [210, 0], [210, 148], [0, 148]], float)
    back = card.sheet.to_mm(through(photo.px_from_mm(), corners))
    assert np.abs(back - corners).max() < 0.1  # beyond the corners used: extrapolated


@pytest.mark.parametrize("roll", [90, 180, 270])
def test_card_may_lie_any_way_round(shot, roll):
    photo = shot(roll_deg=roll, fill=0.6)
    assert np.abs(errors(photo, find_card(photo.photo()))).max() < 0.001


def test_poor_light_blur_noise_and_strong_jpeg(shot):
    photo = shot(
        tilt_deg=18, light=(0.45, 0.33, 0.2), slope=0.5, blur_px=1.6, noise=0.015, quality=65
    )
    assert np.abs(errors(photo, find_card(photo.photo()))).max() < 0.003


def test_a_third_of_the_sheet_under_things(shot, rng):
    things = [
        (rng.uniform(0, 210), rng.uniform(0, 148), rng.uniform(4, 11), rng.uniform(0.02, 1.4))
        for _ in range(60)
    ]
    photo = shot(blobs=things, tilt_deg=10)
    card = find_card(photo.photo())
    assert card.corners_seen < 0.8 * card.corners_total
    assert np.abs(errors(photo, card)).max() < 0.002


def test_a_third_of_the_sheet_out_of_the_photo(shot):
    photo = shot(shift=(0.33, 0.0), fill=0.8)
    card = find_card(photo.photo())
    assert np.abs(errors(photo, card)).max() < 0.003


def errors_in_view(shot, card) -> np.ndarray:
    """The same for those of 200 segments that the photo shows."""
    ends_px = shot.segments_px(n=200)
    shown = ((ends_px >= 0) & (ends_px <= np.array(shot.size) - 1)).all(axis=(1, 2))
    assert shown.sum() > 20
    ends = card.sheet.to_mm(ends_px[shown].reshape(-1, 2)).reshape(-1, 2, 2)
    return np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1) / 20.0 - 1.0


@pytest.mark.parametrize("blur_px", [0.5, 1.5, 2.5])
@pytest.mark.parametrize(
    ("shift", "roll"), [((0.55, 0.0), 0), ((0.0, 0.65), 0), ((-0.5, 0.1), 7)]
)
def test_one_side_of_the_border_is_enough(shot, shift, roll, blur_px):
    """Chessboard corners lie on one line there; those of the markers fix the plane.

    Blur moves the corners of a marker inward by up to a tenth of a millimetre. Where that is
    not fitted the residual is 0.024 to 0.081 mm and segments are off by 0.1 to 0.5 %, with it
    0.001 to 0.010 mm and 0.05 % at most: the bounds lie between.
    """
    photo = shot(fill=2.0, shift=shift, roll_deg=roll, tilt_deg=15, blur_px=blur_px)
    card = find_card(photo.photo())
    assert card.corners_seen < 0.4 * card.corners_total
    assert len(card.corners_px) > 2 * card.corners_seen
    assert card.residual_mm < 0.015
    assert np.abs(errors_in_view(photo, card)).max() < 0.001


def test_what_is_not_seen_of_the_border_makes_lengths_doubtful(shot):
    """Paper bends where no corner tells: rendered bent cards were off by up to 2 %.

    That must lie within some 2 u, so u is half a per cent at least; more than 2 % would be
    no scale any more. A flat card that shows whole keeps the tenth of a per cent of the tests
    above.
    """
    whole = find_card(shot(fill=0.8, tilt_deg=10).photo())
    side = find_card(shot(fill=2.0, shift=(0.55, 0.0), tilt_deg=10).photo())
    middle = np.array([[60.0, 74.0]])
    assert whole.sheet.u_rel_at(middle)[0] < 0.001
    assert 0.005 < side.sheet.u_rel_at(middle)[0] < 0.02


def test_a_small_card_in_a_wide_photo(shot):
    photo = shot(fill=0.3, blur_px=0.7, size=(4000, 3000))
    assert np.abs(errors(photo, find_card(photo.photo()))).max() < 0.003


@pytest.mark.slow
@pytest.mark.timeout(300)
def test_stated_uncertainty_covers_the_error(shot, rng):
    """About 95 % within 2 u over many photos, through lenses that bend as phones' do."""
    inside, worst = [], []
    for k in range(16):
        photo = shot(
            size=(1600, 1200),
            card=("a5", "a4", "letter")[k % 3],
            tilt_deg=rng.uniform(0, 25),
            tilt_about_deg=rng.uniform(0, 360),
            roll_deg=rng.uniform(-15, 15),
            fill=rng.uniform(0.5, 0.85),
            blur_px=rng.uniform(0.4, 1.8),
            noise=rng.uniform(0.002, 0.015),
            radial=rng.uniform(-0.025, 0.012),
            seed=k,
        )
        card = find_card(photo.photo())
        off = np.abs(errors(photo, card))
        inside.append(np.mean(off < 2 * card.sheet.u_rel_at(photo.middle_mm())))
        worst.append(np.median(off))
    assert np.mean(inside) > 0.9  # 95 % less the scatter of 16 photos
    assert np.median(worst) < 0.001
    assert np.quantile(worst, 0.95) < 0.002


@pytest.mark.parametrize("radial", [-0.025, -0.01, 0.015])
def test_a_lens_that_bends_is_followed(shot, radial):
    """The corner's shift is the drawn one, and lengths are as good as through no lens."""
    photo = shot(radial=radial, tilt_deg=12, tilt_about_deg=60, fill=0.8)
    card = find_card(photo.photo())
    assert card.sheet.bow == pytest.approx(radial, abs=max(3 * card.sheet.u_bow, 0.001))
    assert card.sheet.u_bow < 0.002
    assert np.abs(errors(photo, card)).max() < 0.001
    assert card.residual_mm < 0.03


def test_no_bow_is_found_where_there_is_none(shot):
    for seed in range(3):
        photo = shot(tilt_deg=15, tilt_about_deg=100, seed=seed)
        sheet = find_card(photo.photo()).sheet
        assert abs(sheet.bow) < 3 * sheet.u_bow
        assert 0 < sheet.u_bow < 0.002


def test_a_wrongly_printed_card_is_put_right_by_its_line(shot):
    photo = shot(print_at=0.97, tilt_deg=8)
    data = photo.photo()
    wrong, right = find_card(data), find_card(data, check_line_mm=97.0)
    assert np.median(errors(photo, wrong)) == pytest.approx(1 / 0.97 - 1, abs=0.001)
    assert np.abs(errors(photo, right)).max() < 0.001
    assert right.unit_mm == pytest.approx(0.97, abs=0.0005)
    assert wrong.unit_mm == pytest.approx(1.0, abs=0.0005)


@pytest.mark.parametrize("line", [0.0, 3.94, -100.0, float("nan")])
def test_senseless_check_line_is_refused(line):
    with pytest.raises(ValueError, match="check_line_mm"):
        find_card(as_photo(np.zeros((100, 100, 3), np.uint8)), check_line_mm=line)


@pytest.mark.parametrize("grey", [0, 128, 255])
def test_no_card(grey):
    with pytest.raises(CardNotFound, match="not recognised"):
        find_card(as_photo(np.full((900, 1200, 3), grey, np.uint8)))


def test_noise_is_no_card(rng):
    with pytest.raises(CardNotFound):
        find_card(as_photo(rng.integers(0, 256, (900, 1200, 3), dtype=np.uint8)))


def test_a_foreign_chessboard_is_no_card():
    squares = (np.indices((9, 12)).sum(axis=0) % 2 * 255).astype(np.uint8)
    picture = cv2.copyMakeBorder(
        np.kron(squares, np.ones((80, 80), np.uint8)),
        90,
        90,
        90,
        90,
        cv2.BORDER_CONSTANT,
        value=255,
    )
    with pytest.raises(CardNotFound):
        find_card(as_photo(np.repeat(picture[:, :, None], 3, axis=2)))


def test_a_foreign_marker_board_is_a_mismatch():
    words = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_100)
    board = cv2.aruco.CharucoBoard((9, 7), 30.0, 22.0, words)
    picture = board.generateImage((1350, 1050), marginSize=60)
    with pytest.raises(CardMismatch, match="do not stand as"):
        find_card(as_photo(np.repeat(picture[:, :, None], 3, axis=2)))


def test_a_curled_card_is_a_mismatch(shot):
    rgb = shot(fill=0.8).encoded()
    height, width = rgb.shape[:2]
    y, x = np.mgrid[:height, :width].astype(np.float32)
    bulge = 0.03 * width * np.sin(np.pi * x / width * 3)
    curled = cv2.remap(rgb, x, (y + bulge).astype(np.float32), cv2.INTER_LINEAR)
    with pytest.raises(CardMismatch, match="flat"):
        find_card(as_photo(curled))


def test_the_same_photo_gives_the_same_fix(shot):
    photo = decode_photo(shot(tilt_deg=20, fill=0.6).jpeg())
    one, two = find_card(photo), find_card(photo)
    assert np.array_equal(one.sheet.ideal, two.sheet.ideal)
    assert np.array_equal(one.corners_px, two.corners_px)
