"""Real pictures without chips, from scikit-image and scikit-learn: none may be sure of one.

The pictures (`KEPT_APART`) were never learned from. What is asked is ours: the libraries say
nothing of chips, but nobody laid any out in front of a cat, a cup or a rocket.
"""

from __future__ import annotations

import cv2
import pytest

from vision.errors import NoChips
from vision.reading import read_photo
from vision.training.photo_grounds import KEPT_APART, LEARNED, library_photo

#: As long as the long side of a photo that was made smaller for the web.
LONG_SIDE_PX = 1600


def sure_chips(name):
    """Return how many chips are sure in a picture; each grain of a sure crowd counts."""
    rgb = library_photo(name)
    scale = LONG_SIDE_PX / max(rgb.shape)
    large = cv2.resize(rgb, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
    _, jpeg = cv2.imencode(".jpg", large[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 92])
    try:
        return sum(c.count or 1 for c in read_photo(jpeg.tobytes()).chips if c.sure)
    except NoChips:
        return 0


def test_no_picture_is_learned_from_and_kept_apart():
    assert not set(LEARNED) & set(KEPT_APART)


def test_a_picture_nobody_chose_is_refused():
    with pytest.raises(ValueError, match="no picture"):
        library_photo("horse")


@pytest.mark.slow
def test_few_chips_are_sure_where_there_is_none():
    """Two in eight pictures here: a speck between coins, and a glint.

    The limit is that and one more, for another processor's arithmetic. Networks that had not
    learned from real grounds told seven.
    """
    assert sum(sure_chips(name) for name in KEPT_APART) <= 3
