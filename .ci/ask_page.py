"""Ask a running page for an answer: open it, take a demo photo, wait for advice.

python .ci/ask_page.py http://127.0.0.1:8734
"""

from __future__ import annotations

import shutil
import sys

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


def ask(address: str) -> str:
    """Return what the page says after the first demo photo was tapped."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=ARGUMENTS
        )
        page = browser.new_page(viewport=PHONE)
        page.goto(address, timeout=60_000)
        page.locator("[class*='st-key-demo-'] button").first.click(timeout=60_000)
        page.get_by_text("Form", exact=True).first.wait_for(timeout=120_000)
        text = page.locator("body").inner_text()
        browser.close()
    return text


if __name__ == "__main__":
    said = ask(sys.argv[1])
    print(said)
    wanted = ("Form", "Tint", "rev/min")
    missing = [word for word in wanted if word not in said]
    if missing:
        sys.exit(f"the page's answer lacks {', '.join(missing)}")
    print("the page answered")
