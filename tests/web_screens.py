"""What browser tests of several sheets share: the browser, a page that is watched, patience, and screenshots."""

import os
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import sync_playwright

from conftest import find_browser

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PATIENT_MS = 120_000
SERIOUS = ("serious", "critical")
KEPT = os.environ.get("TEPUI_SCREENSHOTS")


def is_complaint(said):
    """An error on the console; an answer of 400 is the refusal that a test asked for."""
    return said.type == "error" and "status of 400" not in said.text


def keep(page, name):
    """A screenshot where the environment asks for them."""
    if KEPT:
        Path(KEPT).mkdir(parents=True, exist_ok=True)
        page.screenshot(path=Path(KEPT) / f"{name}.png", full_page=True)


@contextmanager
def browser_open():
    """Chromium, closed again at the end."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=find_browser(), args=FLAGS)
        yield browser
        browser.close()


@contextmanager
def watched_page(browser, address):
    """A page that may ask this address only, and whose complaints fail the test."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, base_url=address)
    asked, complaints = [], []
    page = context.new_page()
    page.on("request", lambda request: asked.append(request.url))
    page.on("pageerror", lambda problem: complaints.append(str(problem)))
    page.on("console", lambda said: complaints.append(said.text) if is_complaint(said) else None)
    yield page
    context.close()
    assert [url for url in asked if not url.startswith((address, "data:"))] == []
    assert complaints == []
