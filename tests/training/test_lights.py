"""Lights of the rendered world: families apart, light adds up, mixed light has two colours."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from vision.training.families import families
from vision.training.lights import draw_light, flash_place
from vision.training.room import _directions, _pixel_solid_angle, room
from vision.training.sensor import draw_sensor, sight
from vision.training.spectra import illuminant, illuminant_kelvin
from vision.training.view import View

VIEW = View(
    eye=(60.0, -110.0, 240.0),
    target=(0.0, 0.0, 0.0),
    up=(0.0, 1.0, 0.0),
    fov_deg=60.0,
    size_px=(640, 480),
)


def drawn(side, count=60):
    rng = np.random.default_rng(5)
    return [draw_light(rng, side) for _ in range(count)]


def seen_in(light):
    camera = families("cameras", "train")["main"]
    curves = draw_sensor(np.random.default_rng(1), camera)
    return sight(curves, illuminant(light.spectrum), light.kelvin)


def spectra_of(side):
    table = families("lights", side).values()
    names = {n for f in table for n in f["spectra"]}
    return names | {n for f in table for lamp in f["lamps"] for n in lamp.get("spectra", [])}


def test_no_family_and_no_spectrum_is_on_both_sides():
    assert not set(families("lights", "train")) & set(families("lights", "held_out"))
    assert not spectra_of("train") & spectra_of("held_out")


@pytest.mark.parametrize("side", ["train", "held_out"])
def test_lamps_span_warm_to_cold(side):
    kelvins = [illuminant_kelvin(n) for n in spectra_of(side)]
    assert min(kelvins) < 3100
    assert max(kelvins) > 5400
    assert all(2700 <= k <= 7500 for k in kelvins)


@pytest.mark.parametrize("side", ["train", "held_out"])
def test_every_family_comes_up(side):
    assert {light.family for light in drawn(side, 200)} == set(families("lights", side))


def test_train_has_flash_warm_wall_and_two_colours():
    lights = drawn("train", 200)
    assert any(light.flash for light in lights)
    assert any(light.wall and light.wall.rgb[0] > light.wall.rgb[2] for light in lights)
    assert any(len({lamp.spectrum for lamp in light.lamps}) > 1 for light in lights)
    assert min(light.level for light in lights) < 0.15


@pytest.mark.parametrize("side", ["train", "held_out"])
def test_all_light_on_a_level_sheet_adds_up_to_neutral_white(side):
    up = np.maximum(_directions(160)[:, :, 2], 0) * _pixel_solid_angle(160)
    for light in drawn(side, 12):
        picture = room(light, VIEW, seen_in(light), size=160)
        assert (picture >= 0).all()
        falls = (picture * up[:, :, None]).sum(axis=(0, 1)) / np.pi
        if light.flash is None:
            assert falls == pytest.approx(np.ones(3), rel=1e-4)
        else:
            assert falls[1] + light.flash.share == pytest.approx(1, rel=1e-4)


def test_two_lamps_light_two_sides_in_two_colours():
    light = next(x for x in drawn("train", 200) if x.family == "window_and_lamp")
    picture = room(light, VIEW, seen_in(light), size=160)
    direction = _directions(160)
    ratios = []
    for lamp in light.lamps:
        a, e = np.radians([lamp.azimuth_deg, lamp.elevation_deg])
        toward = np.array([np.cos(a) * np.cos(e), np.sin(a) * np.cos(e), np.sin(e)])
        near = direction @ toward > np.cos(np.radians(5))
        colour = picture[near].mean(axis=0)
        ratios.append(colour[0] / colour[2])
    assert ratios[1] > 1.5 * ratios[0]


def test_tinted_wall_colours_its_side():
    light = next(x for x in drawn("train", 200) if x.wall)
    plain = dataclasses.replace(light, wall=None)
    seen = seen_in(light)
    direction = _directions(160)
    a = np.radians(light.wall.azimuth_deg)
    near = (direction @ np.array([np.cos(a), np.sin(a), 0]) > 0.9) & (direction[:, :, 2] > 0)
    tinted, bare = (room(x, VIEW, seen, size=160)[near] for x in (light, plain))
    assert np.median(tinted[:, 2] / tinted[:, 0]) < 0.85 * np.median(bare[:, 2] / bare[:, 0])


def test_flash_sits_beside_the_lens_out_of_the_picture():
    flash = next(x.flash for x in drawn("train", 200) if x.flash)
    away = np.array(flash_place(flash, VIEW)) - np.array(VIEW.eye)
    assert 5 < np.linalg.norm(away) < 30
    assert away @ VIEW.axes()[2] < 0
