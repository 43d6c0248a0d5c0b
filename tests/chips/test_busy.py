"""Where a sheet is looked at: grain of the camera is no thing, a chip in it still is."""

from __future__ import annotations

import numpy as np

from vision.chips.ground import _busy


def test_colour_grain_is_not_worth_a_look_but_a_chip_in_it_is():
    rng = np.random.default_rng(3)
    sheet = 1 + rng.normal(0, 0.04, (200, 300, 3)).astype(np.float32)
    fine = (400, 600)
    assert _busy(sheet, None, fine).mean() < 0.01  # a fixed bound marks a tenth
    sheet[90:110, 100:140] -= 0.4
    assert _busy(sheet, None, fine)[184:216, 204:276].all()


def test_tint_on_a_clean_sheet_is_worth_a_look():
    sheet = np.ones((200, 300, 3), np.float32)
    sheet[90:110, 100:140] += np.array([0.04, 0.0, -0.04], np.float32)  # as light as the sheet
    assert _busy(sheet, None, (400, 600))[184:216, 204:276].all()
