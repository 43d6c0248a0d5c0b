"""Hands and eyes for the page as driven without a browser, and a steel job to work on."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

from streamlit.testing.v1 import AppTest

import app
from app.logbook.store import Logbook

MAIN = Path(app.__file__).with_name("main.py")
WORK = {"material": "1045", "diameter_mm": 16.0, "stickout_mm": 30.0, "cut_length_mm": 20.0}
EDGE = {"id": "a", "material": "HSS", "rake_deg": 8, "kapr_deg": 75, "re_mm": 0.2}
LATHE = {"spindle_rev_min": [260, 500], "feeds_mm_rev": [0.06, 0.1], "power_w": 750}
CUT = {
    "direction": "along",
    "spindle_rev_min": 500,
    "feed_mm_rev": 0.1,
    "depth_mm": 0.5,
    "coolant": "cutting oil",
    "power_feed": True,
}
_KINDS = (
    "markdown",
    "title",
    "header",
    "subheader",
    "caption",
    "error",
    "warning",
    "info",
    "success",
)


def open_page():
    """The page before its first run."""
    return AppTest.from_file(str(MAIN), default_timeout=20)


def visit():
    """A fresh visit, run once."""
    return open_page().run()


def rows(data_home, *, with_deleted=False):
    """The passes of the logbook."""
    with closing(Logbook(data_home)) as book:
        return book.passes(with_deleted=with_deleted)


def text(page):
    """Everything a person can read on the page."""
    parts = [str(getattr(e, "value", "")) or getattr(e, "body", "") for e in page.main]
    parts += [str(e.value) for kind in _KINDS for e in getattr(page, kind)]
    parts += [str(e.proto.body) for e in page.get("html")]
    parts += [e.label for e in page.expander]
    return "\n".join(parts)


def upload(page, *photos, name="chips.jpg"):
    """Give photos to the first photo input."""
    files = [(name, data, "image/jpeg") for data in photos]
    page.get("file_uploader")[0].set_value(files).run()


def button(page, label):
    """The first button with these words."""
    return next(b for b in page.button if label in b.label)
