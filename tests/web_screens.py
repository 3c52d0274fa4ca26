"""What browser tests of several sheets share: flags of the browser, patience, and where screenshots are kept."""

import os
from pathlib import Path

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
