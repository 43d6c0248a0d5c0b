"""Ask a running page for an answer: open it, take a demo photo, wait for advice.

python .ci/ask_page.py http://127.0.0.1:8734
"""

from __future__ import annotations

import shutil
import sys

from playwright.sync_api import TimeoutError as TooLong
from playwright.sync_api import sync_playwright

PHONE = {"width": 390, "height": 844}
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
WANTED = ("Form", "Tint", "rev/min")
# The page draws from the top; on a busy machine the advice may come well after the form.
ALL_THERE = "words => words.every(word => document.body.innerText.includes(word))"


def ask(address: str) -> str:
    """Return what the page says after the first demo photo was tapped."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=ARGUMENTS
        )
        page = browser.new_page(viewport=PHONE)
        page.goto(address, timeout=60_000)
        page.locator("[class*='st-key-demo-'] button").first.click(timeout=60_000)
        try:
            page.wait_for_function(ALL_THERE, arg=list(WANTED), timeout=180_000)
        except TooLong:
            print("not everything came in time")
        text = page.locator("body").inner_text()
        browser.close()
    return text


if __name__ == "__main__":
    said = ask(sys.argv[1])
    print(said)
    missing = [word for word in WANTED if word not in said]
    if missing:
        sys.exit(f"the page's answer lacks {', '.join(missing)}")
    print("the page answered")
