"""The demo photos: there, complete, and their cases usable as they are handed out."""

from __future__ import annotations

import advisor
from app.demo import default_demo, demos


def test_every_demo_has_a_photo_and_a_case_that_the_advisor_takes():
    found = demos()
    assert found
    for demo in found:
        assert demo.photo.stat().st_size > 10_000
        assert advisor.parse_case(demo.case()).passes
        assert demo.title[0].isupper()
        assert demo.case()["work"]["material"] in demo.title


def test_the_default_is_one_of_them():
    assert default_demo() in demos()


def test_names_are_told_apart():
    titles = [demo.title for demo in demos()]
    assert len(set(titles)) == len(titles)
