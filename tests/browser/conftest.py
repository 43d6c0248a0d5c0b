"""A real page server and a real browser. Nothing here is a stand-in."""

from __future__ import annotations

import io
import os
import shutil
import subprocess
import sys
from contextlib import closing, contextmanager

import numpy as np
import pytest
from PIL import Image

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
STARTED = "Bluecurl is at "
START_LIMIT_MS = 60_000
READ_LIMIT_MS = 60_000

SIZES = {
    "phone": {
        "viewport": {"width": 390, "height": 844},
        "color_scheme": "light",
        "has_touch": True,
    },
    "desktop": {"viewport": {"width": 1280, "height": 900}, "color_scheme": "dark"},
}


@pytest.fixture(scope="session")
def chromium():
    """The browser's path; a missing one skips, or fails where it must not be missing."""
    if CHROMIUM is None:
        if os.environ.get("BLUECURL_NEED_BROWSER") == "1":
            pytest.fail("BLUECURL_NEED_BROWSER is set, but there is no Chromium")
        pytest.skip("no Chromium on this computer")
    return CHROMIUM


@pytest.fixture(scope="session")
def browser(chromium):
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as driver:
        running = driver.chromium.launch(
            executable_path=chromium, args=["--no-sandbox", "--disable-dev-shm-usage"]
        )
        yield running
        running.close()


@contextmanager
def serving(home, cwd):
    """Run ``bluecurl serve`` and give its address; its own words are shown when it fails."""
    code = "import sys; from app.cli import main; sys.exit(main(['serve', '--no-open']))"
    with subprocess.Popen(  # noqa: S603
        [sys.executable, "-c", code],
        cwd=cwd,
        env={**os.environ, "BLUECURL_HOME": str(home)},
        stdout=subprocess.PIPE,
        text=True,
    ) as server:
        try:
            line = server.stdout.readline()
            if not line.startswith(STARTED):
                pytest.fail(f"the page server said {line!r}")
            yield line.removeprefix(STARTED).strip()
        finally:
            server.terminate()
            server.wait(20)


@pytest.fixture(scope="session")
def home(tmp_path_factory):
    return tmp_path_factory.mktemp("home")


@pytest.fixture(scope="session")
def address(chromium, home, tmp_path_factory):  # noqa: ARG001 - no server without a browser
    """A page server of its own, started from a folder that has nothing to do with it."""
    with serving(home, tmp_path_factory.mktemp("elsewhere")) as where:
        yield where


@pytest.fixture
def job(home):
    """A job with the cut of the default demo, as the person would have set it up."""
    from app.demo import default_demo
    from app.logbook.store import Logbook
    from app.translate import metal_of

    case = default_demo().case()
    with closing(Logbook(home)) as book:
        return book.add_job(
            f"Bolt of {metal_of(case)}",
            work=case["work"],
            edge=case["edge"],
            lathe=case["lathe"],
        )


@pytest.fixture(params=sorted(SIZES))
def page(request, browser, address):
    """A fresh visit; every request is kept, and any that leaves this computer is refused."""
    context = browser.new_context(**SIZES[request.param])
    tab = context.new_page()
    tab.set_default_timeout(START_LIMIT_MS)
    tab.asked = []

    def watch(route):
        tab.asked.append(route.request.url)
        if route.request.url.startswith(("data:", "blob:", address)):
            route.continue_()
        else:
            route.abort()

    context.route("**/*", watch)
    yield tab
    context.close()


def settle(tab):
    """Wait until the page stands there and has finished its run."""
    tab.get_by_role("link", name="Read", exact=True).wait_for()
    tab.wait_for_timeout(300)
    tab.wait_for_function(
        "() => document.querySelector('[data-testid=stApp]')"
        "?.getAttribute('data-test-script-state') === 'notRunning'",
        timeout=READ_LIMIT_MS,
    )
    tab.wait_for_timeout(300)


@pytest.fixture
def visit(page, address):
    """Open a screen and wait for it."""

    def _visit(path=""):
        page.goto(f"{address}/{path}")
        settle(page)
        return page

    return _visit


@pytest.fixture
def settled():
    return settle


@pytest.fixture
def fresh_photo(tmp_path):
    """The default demo photo with other bytes behind its end: a new photo to the logbook."""
    from app.demo import default_demo

    def _fresh(name="chips"):
        photo = default_demo().photo
        copy = tmp_path / f"{name}{photo.suffix}"
        copy.write_bytes(photo.read_bytes() + os.urandom(8))
        return copy

    return _fresh


@pytest.fixture
def yellow_photo(tmp_path):
    """The chips of the default demo without the card, on a sheet under a yellow lamp."""
    from app.demo import default_demo

    whole = Image.open(default_demo().photo).convert("RGB")
    width, height = whole.size
    middle = whole.crop((width // 4, height // 4, 3 * width // 4, 3 * height // 4))
    linear = (np.asarray(middle) / 255) ** 2.2 * (0.8, 0.56, 0.32)
    out = io.BytesIO()
    Image.fromarray((255 * linear ** (1 / 2.2)).astype(np.uint8)).save(out, "JPEG", quality=92)
    photo = tmp_path / "yellow.jpg"
    photo.write_bytes(out.getvalue() + os.urandom(8))
    return photo
