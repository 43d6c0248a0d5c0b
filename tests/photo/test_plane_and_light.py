"""Flat views and balanced colours against what the camera was really shown."""

from __future__ import annotations

import numpy as np
import pytest

from vision.photo.card import field_mm
from vision.photo.find_card import find_card
from vision.photo.light import measure_light
from vision.photo.plane import plane_of
from vision.records import Photo, PhotoFacts
from vision.terms import Flag

#: Linear colours relative to paper, in the range of metal and its tints.
COLOURS = [(0.30, 0.30, 0.30), (0.45, 0.33, 0.16), (0.12, 0.16, 0.33), (0.6, 0.6, 0.58)]


def tiles(x0: float = 50.0, y0: float = 45.0) -> list:
    return [
        (x0 + 30 * k, y0, x0 + 20 + 30 * k, y0 + 20, colour) for k, colour in enumerate(COLOURS)
    ]


def as_photo(rgb: np.ndarray) -> Photo:
    facts = PhotoFacts(width_px=rgb.shape[1], height_px=rgb.shape[0], format="PNG")
    return Photo(rgb=rgb, sha256="0" * 64, facts=facts)


def laid(shot, **options):
    camera = shot(**options)
    photo = camera.photo()
    return camera, plane_of(photo, find_card(photo), None)


def test_points_go_to_the_photo_and_the_scale_is_that_of_the_photo(shot, through):
    camera, plane = laid(shot, tilt_deg=20, tilt_about_deg=70)
    points = np.array([[60.0, 50.0], [150.0, 90.0]])
    assert plane.to_photo_px(points) == pytest.approx(
        through(camera.px_from_mm(), points), abs=0.3
    )
    x0, y0, x1, y1 = field_mm(camera.spec)
    mid = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
    square = mid + 0.5 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    px = through(camera.px_from_mm(), square)
    area = 0.5 * abs(
        np.sum(px[:, 0] * np.roll(px[:, 1], -1) - px[:, 1] * np.roll(px[:, 0], -1))
    )
    got = plane.scale.px_per_mm
    assert got.value == pytest.approx(np.sqrt(area), rel=0.001)
    assert 0 < got.u < 0.01 * got.value


@pytest.mark.parametrize("density", [3.0, 6.0, 9.0, 12.0, 18.0])
def test_things_lie_where_they_are_in_every_view(shot, density):
    _, plane = laid(shot, tilt_deg=15, tilt_about_deg=30, paint=tiles())
    box = (40.0, 40.0, 90.0, 70.0)
    view = plane.view(box, density)
    assert view.shape == (round(30 * density), round(50 * density), 3)
    dark = view[:, : round(32 * density), 1] < 200
    y, x = np.nonzero(dark)
    # Middle of the first tile is (60, 55) mm; half a photo pixel is 0.05 mm.
    assert 40 + (x.mean() + 0.5) / density == pytest.approx(60, abs=0.06)
    assert 40 + (y.mean() + 0.5) / density == pytest.approx(55, abs=0.06)
    assert np.sqrt(dark.sum()) / density == pytest.approx(20, rel=0.01)


def test_thin_bright_lines_dim_but_keep_their_light(shot):
    """A line a fifth of a view pixel wide must not come and go with its position."""
    lines = [(60 + 7.1 * k, 40, 60.1 + 7.1 * k, 90, (0.1, 0.1, 0.1)) for k in range(12)]
    _, plane = laid(shot, paint=lines, size=(4000, 3000), noise=0.0, quality=97)
    linear = plane.linear_view((55.0, 50.0, 150.0, 80.0), 2.0)[:, :, 1].mean(axis=0)
    paper = np.median(linear)
    loss = [
        np.sum(paper - linear[(at := round((lines[k][0] - 55) * 2)) - 3 : at + 4])
        for k in range(12)
    ]
    assert np.std(loss) < 0.1 * np.mean(loss)


@pytest.mark.parametrize(
    "light",
    [
        {"light": (0.75, 0.75, 0.75)},
        {"light": (0.80, 0.62, 0.38), "slope": 0.4},  # warm lamp from one side
        {"light": (0.35, 0.42, 0.50), "slope": 0.2, "noise": 0.008},
    ],
)
def test_balanced_colours_are_those_of_the_things(shot, colour_science, light):
    _, plane = laid(shot, tilt_deg=8, paint=tiles(), **light)
    balance = measure_light(plane)
    assert balance.neutral
    assert Flag.CLIPPED not in balance.flags
    for x0, y0, x1, y1, colour in tiles():
        box = (x0 + 4, y0 + 4, x1 - 4, y1 - 4)
        got = balance.apply(plane.linear_view(box, 6.0), box).reshape(-1, 3).mean(axis=0)
        lab = [
            colour_science.XYZ_to_Lab(colour_science.RGB_to_XYZ(np.array(c), "sRGB"))
            for c in (got, colour)
        ]
        # Two just-visible steps are 2; the warm, slanted light starts 15 to 30 off.
        assert colour_science.delta_E(*lab, method="CIE 2000") < 1.5
    assert balance.neutral_de00 < 1.5


def test_paper_is_one_everywhere_under_slanting_light(shot):
    _, plane = laid(shot, slope=0.45, light=(0.8, 0.7, 0.5), paint=tiles())
    balance = measure_light(plane)
    for box in ((36, 80, 56, 100), (150, 80, 172, 100), (90, 75, 110, 100)):
        white = balance.apply(plane.linear_view(box, 6.0), box).reshape(-1, 3)
        assert white.mean(axis=0) == pytest.approx(1.0, abs=0.015)
    # Light falls linearly to 0.55 over the frame; the field spans the middle 58 % of it.
    assert balance.uneven == pytest.approx((1 - 0.45 * 0.21) / (1 - 0.45 * 0.79), rel=0.04)


def test_chips_all_over_the_field_do_not_darken_white(shot, rng):
    chips = [
        (rng.uniform(40, 170), rng.uniform(38, 98), rng.uniform(2, 6), rng.uniform(0.1, 0.7))
        for _ in range(60)
    ]
    _, plane = laid(shot, blobs=chips, light=(0.7, 0.6, 0.5), slope=0.3)
    balance = measure_light(plane)
    for box in ((5, 2, 30, 7), (180, 141, 205, 146)):  # margins, never under a chip
        white = balance.apply(plane.linear_view(box, 4.0), box).reshape(-1, 3)
        assert np.median(white, axis=0) == pytest.approx(1.0, abs=0.03)


def test_scattered_light_is_taken_off(shot):
    _, plain = laid(shot, light=(0.7, 0.7, 0.7), paint=tiles())
    assert measure_light(plain).veil.max() < 0.02
    camera = shot(light=(0.6, 0.6, 0.6), paint=tiles())
    linear = (camera.encoded() / 255.0) ** 2.2
    veiled = np.rint(255 * np.clip(linear + 0.08, 0, 1) ** (1 / 2.2)).astype(np.uint8)
    photo = as_photo(veiled)
    plane = plane_of(photo, find_card(photo), None)
    balance = measure_light(plane)
    assert balance.veil == pytest.approx(0.08, abs=0.02)
    x0, y0, x1, y1, colour = tiles()[2]
    box = (x0 + 4, y0 + 4, x1 - 4, y1 - 4)
    got = balance.apply(plane.linear_view(box, 6.0), box).reshape(-1, 3).mean(axis=0)
    assert got == pytest.approx(colour, abs=0.03)


def test_overexposed_sheet_is_flagged(shot):
    _, plane = laid(shot, light=(1.15, 1.15, 1.15))
    balance = measure_light(plane)
    assert Flag.CLIPPED in balance.flags
    assert balance.clipped_share > 0.9


def test_hard_side_light_is_flagged(shot):
    _, plane = laid(shot, slope=0.75, light=(0.9, 0.9, 0.9))
    assert Flag.UNEVEN_LIGHT in measure_light(plane).flags


@pytest.mark.parametrize("sigma", [1.5, 3.0, 6.0])
def test_edge_width_is_that_of_the_blur(shot, sigma):
    _, plane = laid(shot, blur_px=sigma, size=(3000, 2250))
    # 10-90 % width of a Gaussian edge is 2.563 sigma (normal distribution tables); pixels
    # and the sampling of the print add a little, in squares.
    want = np.hypot(2.563 * sigma, 1.0)
    balance = measure_light(plane)
    assert balance.blur_px == pytest.approx(want, rel=0.1)
    assert (Flag.BLURRED in balance.flags) == (sigma > 2)


def test_tone_of_printed_greys_is_straight(shot):
    _, plane = laid(shot, light=(0.7, 0.7, 0.7))
    # The camera is linear before its encoding; ink that is not black bends it by a tenth.
    assert measure_light(plane).tone_exponent == pytest.approx(1.0, abs=0.2)


def test_flags_of_the_plane(shot):
    _, plane = laid(shot, tilt_deg=38, fill=0.5)
    assert set(plane.flags()) == {Flag.CARD_TILTED, Flag.LOW_DENSITY}
    _, plane = laid(shot)
    assert plane.flags() == ()


def test_views_are_straight_though_the_lens_bends(shot):
    """Tiles lie where they were painted, in small crops and in a view of the whole field."""
    _, plane = laid(shot, radial=-0.025, tilt_deg=15, tilt_about_deg=30, paint=tiles())
    assert plane.scale.lens_shift.value == pytest.approx(-0.025, abs=0.002)
    for density, box in ((10.5, (46.0, 41.0, 74.0, 69.0)), (6.0, (36.0, 38.0, 174.0, 110.0))):
        view = plane.view(box, density)
        for x0, y0, x1, y1, _colour in tiles()[: 1 if density > 10 else 3]:
            left, right = (round((x - box[0]) * density) for x in (x0 - 3, x1 + 3))
            top, low = (round((y - box[1]) * density) for y in (y0 - 3, y1 + 3))
            y, x = np.nonzero(view[top:low, left:right].min(axis=2) < 200)
            assert (x.mean() + left + 0.5) / density + box[0] == pytest.approx(
                x0 + 10, abs=0.06
            )
            assert (y.mean() + top + 0.5) / density + box[1] == pytest.approx(y0 + 10, abs=0.06)


def test_maps_lead_where_points_lead(shot):
    _, plane = laid(shot, radial=0.02, tilt_deg=20, tilt_about_deg=70)
    box, (width, height) = (30.0, 20.0, 180.0, 120.0), (900, 600)
    x, y = plane.photo_maps(box, (width, height), (100.5, 40.5), 2)
    rows, columns = np.array([0, 7, 300, 599]), np.array([0, 450, 13, 899])
    at = np.column_stack([box[0] + (columns + 0.5) / 6, box[1] + (rows + 0.5) / 6])
    want = (plane.to_photo_px(at) - (100.5, 40.5)) / 2
    got = np.column_stack([x[rows, columns], y[rows, columns]])
    assert got == pytest.approx(want, abs=0.03)


def test_height_over_the_sheet_makes_lengths_uncertain(shot):
    """A thing 5 mm above a sheet seen from D mm looks larger by 5 / D (similar triangles)."""
    camera, plane = laid(shot)
    away = camera.focal * camera.spec.width_mm / camera.fill
    assert plane.u_rel_of_height(5.0) == pytest.approx(5.0 / away, rel=0.01)
    assert plane.u_rel_of_height(0.0) == 0.0
    near, far = plane.u_rel_at(np.array([[105.0, 74.0], [5.0, 5.0]]))
    assert 0 < near < far < 0.01


def test_print_scale_moves_field_and_print(shot):
    camera = shot(print_at=0.95)
    photo = camera.photo()
    plane = plane_of(photo, find_card(photo, check_line_mm=95.0), None)
    want = tuple(v * 0.95 for v in field_mm(camera.spec))
    assert plane.field_mm == pytest.approx(want, abs=0.05)
    assert plane.view(plane.field_mm, 4.0).min() > 150  # nothing printed inside


class TestWithoutCard:
    def test_typed_scale(self):
        plane = plane_of(as_photo(np.zeros((600, 800, 3), np.uint8)), None, 12.5)
        assert plane.scale.source == "typed"
        assert plane.scale.px_per_mm.value == 12.5
        assert plane.field_mm == pytest.approx((0, 0, 64, 48))
        assert plane.flags() == ()
        assert plane.to_photo_px(np.array([[32.0, 24.0]]))[0] == pytest.approx([399.5, 299.5])

    def test_no_scale(self):
        plane = plane_of(as_photo(np.zeros((600, 800, 3), np.uint8)), None, None)
        assert (plane.scale.source, plane.scale.px_per_mm) == ("none", None)
        assert plane.flags() == (Flag.NO_SCALE,)
        assert plane.printed_mm() == ()

    @pytest.mark.parametrize("scale", [0.0, -3.0, float("nan"), float("inf")])
    def test_senseless_scale(self, scale):
        with pytest.raises(ValueError, match="px_per_mm_typed"):
            plane_of(as_photo(np.zeros((600, 800, 3), np.uint8)), None, scale)

    def test_a_view_at_the_photo_s_own_density_is_the_photo(self, rng):
        rgb = rng.integers(0, 256, (600, 800, 3), dtype=np.uint8)
        plane = plane_of(as_photo(rgb), None, 10.0)
        assert np.array_equal(plane.view((10, 20, 30, 40), 10.0), rgb[200:400, 100:300])

    def test_white_paper_serves_as_white(self, rng):
        rgb = np.full((600, 800, 3), (225, 215, 190), np.uint8)
        rgb = (rgb + rng.normal(0, 2, rgb.shape)).round().astype(np.uint8)
        rgb[200:300, 300:500] = (90, 80, 60)
        plane = plane_of(as_photo(rgb), None, None)
        balance = measure_light(plane)
        assert balance.neutral
        box = (1.0, 1.0, 40.0, 40.0)
        assert balance.apply(plane.linear_view(box, 3.0), box).mean(
            axis=(0, 1)
        ) == pytest.approx(1.0, abs=0.02)

    @pytest.mark.parametrize("ground", [(70, 65, 60), (60, 140, 70), (200, 120, 60)])
    def test_dark_or_coloured_ground_is_no_white(self, ground, rng):
        rgb = np.full((600, 800, 3), ground, np.uint8)
        rgb = (rgb + rng.normal(0, 2, rgb.shape)).round().astype(np.uint8)
        balance = measure_light(plane_of(as_photo(rgb), None, None))
        assert not balance.neutral
        assert Flag.NO_NEUTRAL in balance.flags
