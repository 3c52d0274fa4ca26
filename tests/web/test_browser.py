"""The bench in a real browser: first steps, keyboard, phone, day and night, nothing asked of the outside.

axe-core (W3C's WCAG 2.2 as rules, by way of axe-playwright-python) is the outside opinion on reading and use by all.
"""

import re
import shutil
import threading
import time
from contextlib import contextmanager
from pathlib import Path

import pytest
import uvicorn
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from captures import FOLDER
from tepui.desk.watching import Watching
from tepui.desk.workshop import Workshop
from tepui.station.example import example_text
from tepui.web.app import build_app
from tepui.web.chain import Chain
from tepui.web.live import ENTRY as WATCH
from tepui.web.serve import _listener
from tepui.web.state import RESULTS, BenchState
from web_screens import PATIENT_MS, SERIOUS, browser_open, keep, watched_page

NAME = "a4_drive_7MHz_2K_64QAM23_GI8_1"
SHEETS = (
    "/",
    "/station",
    "/station/stage-5",
    "/frequencies",
    "/levels",
    "/watch",
    "/recordings",
    "/results",
    "/legend",
    "/stage/amplifier",
    "/stage/mixer",
    "/do/spectrum",
    "/do/drive",
    "/do/receive",
    "/do/record",
    "/do/tunings",
    "/screws",
)


@contextmanager
def served(folder):
    """The address of a bench of that folder, with the example station whose levels are worked out."""
    listener = _listener(0, everywhere=False)
    port = listener.getsockname()[1]
    workshop = Workshop(folder / RESULTS, entry="tepui.cli.main:main", processes=1)
    state = BenchState(
        folder=folder, workshop=workshop, watching=Watching(entry=WATCH), chain=Chain(folder, workshop), practice=False
    )
    state.chain.station.write_text(example_text(), encoding="utf-8")
    work = state.chain.levels().work
    workshop.wait(work.number, timeout_s=PATIENT_MS / 1000)  # no page draws itself anew while it is looked at
    app = build_app(state, hosts=[f"127.0.0.1:{port}"], token=None)
    server = uvicorn.Server(uvicorn.Config(app, log_level="error", access_log=False, ws="websockets-sansio"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    yield f"http://127.0.0.1:{port}"
    state.watching.stop()
    server.should_exit = True
    thread.join(10)
    workshop.close()


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bench")
    for path in Path(FOLDER).glob(f"{NAME}.sigmf-*"):
        shutil.copy(path, folder)
    with served(folder) as address:
        yield address


@pytest.fixture(scope="module")
def chromium():
    with browser_open() as browser:
        yield browser


@pytest.fixture
def page(chromium, bench):
    with watched_page(chromium, bench) as page:
        yield page


def measured(page):
    """A result of the drive recording: made once, then found."""
    page.goto("/results")
    link = page.get_by_role("link", name="spectrum")
    if link.count():
        link.first.click()
    else:
        page.goto("/do/spectrum")
        page.get_by_label(NAME).check()
        page.get_by_role("button", name="Measure").click()
    page.wait_for_selector(".reading", timeout=PATIENT_MS)


def test_law_a_recording_is_measured_by_clicks(page):
    page.goto("/")
    page.get_by_role("link", name="Amplifier", exact=False).first.click()
    page.get_by_role("link", name="Spectrum and shoulders").click()
    page.get_by_label(NAME).check()
    page.get_by_role("button", name="Measure").click()
    page.wait_for_selector(".reading", timeout=PATIENT_MS)
    expect(page.get_by_role("heading", name="Shoulder worst")).to_be_visible()
    expect(page.locator(".picture svg").first).to_be_visible()
    keep(page, "spectrum")
    page.reload()
    expect(page.locator(".reading").first).to_be_visible()
    page.go_back()
    page.go_forward()
    expect(page.locator(".reading").first).to_be_visible()


def test_law_the_keyboard_alone_reaches_a_result(page):
    page.goto("/do/spectrum")
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="To the drawing")).to_be_focused()
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.type === 'checkbox'"):
            break
    page.keyboard.press("Space")
    assert page.get_by_label(NAME).is_checked()
    for _ in range(30):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.type === 'submit'"):
            break
    page.keyboard.press("Enter")
    page.wait_for_selector(".reading", timeout=PATIENT_MS)


@pytest.mark.parametrize("width", [390, 1280, 2560])
def test_law_no_sheet_scrolls_sideways(page, width):
    page.set_viewport_size({"width": width, "height": 844})
    measured(page)
    result = page.url
    for sheet in (*SHEETS, result):
        page.goto(sheet)
        assert page.evaluate("document.documentElement.scrollWidth") <= width, sheet
        keep(page, f"{width}{sheet.removeprefix('http:').replace('/', '-')}"[:60])


@pytest.mark.parametrize("theme", ["day", "night"])
def test_tool_axe_finds_nothing_serious(page, theme):
    measured(page)
    result = page.url
    for sheet in (*SHEETS, result):
        page.goto(f"{sheet}?theme={theme}")
        found = Axe().run(page).response["violations"]
        told = [(one["id"], one["nodes"][0]["html"][:120]) for one in found if one["impact"] in SERIOUS]
        assert told == [], f"{sheet} by {theme}"


def test_message_of_a_form_without_a_recording(page):
    page.goto("/do/receive")
    page.get_by_role("button", name="Receive").click()
    expect(page.get_by_role("alert")).to_contain_text("Choose a recording")


def test_law_the_theme_stays_chosen(page):
    page.goto("/?theme=day")
    page.goto("/")
    page.get_by_role("button", name="Night sheet").first.click()
    page.goto("/legend")
    assert page.evaluate("document.documentElement.dataset.theme") == "night"


STILL_S = 4.0
STANDS_STILL = """(still) => new Promise((done) => {
  const drawn = [];
  document.addEventListener("trace-drawn", (e) => drawn.push([performance.now() / 1e3, e.detail.time_s]));
  setTimeout(() => {
    const end = performance.now() + 1e3 * still;
    while (performance.now() < end);
    const woke = performance.now() / 1e3;
    setTimeout(() => done({ woke, drawn }), 3000);
  }, 2000);
})"""


def stands_still(page):
    """A page that stood still four seconds draws nothing that is older than what it would have drawn without."""
    told = page.evaluate(STANDS_STILL, STILL_S)
    before = [at - time_s for at, time_s in told["drawn"] if at < told["woke"] - STILL_S]
    after = [at - time_s for at, time_s in told["drawn"] if at >= told["woke"]]
    assert before
    assert after
    assert max(after) - min(before) < STILL_S / 2, "an old trace was drawn"


def test_law_the_practice_watch_shows_both_shoulders_and_hears_keys(page):
    page.goto("/watch")
    page.get_by_role("textbox", name="Receiver", exact=True).fill("practice")
    page.get_by_role("button", name="Begin the watch").click()
    number = re.compile(r"[0-9]")
    for side in ("lower", "upper"):
        expect(page.locator(f"[data-side={side}] [data-value]")).to_have_text(number, timeout=3 * PATIENT_MS)
    expect(page.get_by_text("practice, nothing measured")).to_be_visible()
    page.keyboard.press("+")
    expect(page.locator("[data-state]")).to_contain_text("drive 0.5 dB", timeout=PATIENT_MS)
    expect(page.locator("[data-watch]")).to_have_attribute("data-rate", number, timeout=PATIENT_MS)
    stands_still(page)
    told = [(one["id"], one["impact"]) for one in Axe().run(page).response["violations"] if one["impact"] in SERIOUS]
    assert told == []
    for width in (390, 1280, 2560):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        keep(page, f"watch-{width}")
    page.get_by_role("button", name="End the watch").click()
    expect(page.get_by_role("button", name="Begin the watch")).to_be_visible()
