"""The log and the evening in a real browser: keyboard alone, three sizes, axe-core, nothing asked of the outside."""

import re
import shutil
import threading
import time
from pathlib import Path

import pytest
import uvicorn
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from tepui.desk.watching import Watching
from tepui.desk.workshop import Workshop
from tepui.web.app import build_app
from tepui.web.chain import Chain
from tepui.web.live import ENTRY as WATCH
from tepui.web.serve import _listener
from tepui.web.state import RESULTS, BenchState
from web_screens import PATIENT_MS, SERIOUS, browser_open, keep, watched_page

STATION = Path(__file__).parent.parent / "data" / "stations" / "slate_ridge.toml"
SHEETS = (
    *("/tonight", "/log", "/log/entry/1", "/log/add/contact", "/log/add/check", "/log/bring", "/log/trend", "/levels"),
)


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bench")
    shutil.copy(STATION, folder / "station.toml")
    listener = _listener(0, everywhere=False)
    port = listener.getsockname()[1]
    workshop = Workshop(folder / RESULTS, entry="tepui.cli.main:main", processes=1)
    chain = Chain(folder, workshop)
    state = BenchState(folder=folder, workshop=workshop, watching=Watching(entry=WATCH), chain=chain, practice=False)
    app = build_app(state, hosts=[f"127.0.0.1:{port}"], token=None)
    server = uvicorn.Server(uvicorn.Config(app, log_level="error", access_log=False, ws="websockets-sansio"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    levels = chain.levels().work  # once they are there no page is drawn anew in the midst of a test
    if levels is not None:
        workshop.wait(levels.number, timeout_s=PATIENT_MS / 1e3)
    yield f"http://127.0.0.1:{port}", state
    server.should_exit = True
    thread.join(10)
    workshop.close()


@pytest.fixture(scope="module")
def chromium():
    with browser_open() as browser:
        yield browser


@pytest.fixture
def page(chromium, bench):
    with watched_page(chromium, bench[0]) as page:
        yield page


def press_until(page, script, key="Tab", most=120):
    """Press a key until what the script says of the focused element holds."""
    for _ in range(most):
        if page.evaluate(f"(() => {{ const at = document.activeElement; return {script}; }})()"):
            return
        page.keyboard.press(key)
    raise AssertionError(f"never reached: {script}")


def test_law_one_key_enters_the_evening_and_the_keyboard_does_the_rest(page, bench):
    _, state = bench
    page.goto("/tonight")
    page.keyboard.press("1")
    lock = page.get_by_role("button", name="Lock")
    expect(lock).to_have_attribute("aria-pressed", "true")
    press_until(page, "at.id === 'tick-shoulders'")
    page.keyboard.press("Space")
    shoulders = page.get_by_role("button", name="Shoulders")
    expect(shoulders).to_have_attribute("aria-pressed", "true")
    expect(shoulders).to_be_focused()  # drawn anew in place, the focus stays
    page.keyboard.press("n")
    expect(page.get_by_label("Note")).to_be_focused()
    page.keyboard.type("seen 1 and e")  # keys are letters while one types
    page.keyboard.press("Escape")
    page.keyboard.press("r")
    expect(page.get_by_label("Report we got")).to_be_focused()
    page.keyboard.type("P4")
    page.keyboard.press("Escape")
    page.keyboard.press("e")
    expect(page.get_by_role("status").filter(has_text="Entered")).to_be_visible()
    with_words = [entry.revision for entry in state.chain.log.entries()]
    assert re.search(r"Ticked: lock .*, shoulders .* seen 1 and e", with_words[0].body["text"])
    assert with_words[1].body["report_received"] == "P4"
    page.reload()
    expect(page.get_by_role("button", name="Lock")).to_have_attribute("aria-pressed", "true")
    page.get_by_label("single keys are on").uncheck()
    page.keyboard.press("1")
    expect(page.get_by_role("button", name="Lock")).to_have_attribute("aria-pressed", "true")


def test_law_a_note_is_written_changed_and_undone_by_keyboard_alone(page):
    page.goto("/log")
    press_until(page, "at.textContent === 'Note'")
    page.keyboard.press("Enter")
    page.wait_for_url("**/log/add/note")
    press_until(page, "at.name === 'text'")
    page.keyboard.type("a new relay")
    press_until(page, "at.type === 'submit' && at.textContent.includes('Enter it')")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name=re.compile("Entry .*: note"))).to_be_visible()
    press_until(page, "at.id === 'e-text'")
    page.keyboard.type(" of silver")
    press_until(page, "at.type === 'submit' && at.textContent.includes('revision')")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Revision 2: edit")).to_be_visible()
    press_until(page, "at.type === 'submit' && at.textContent === 'Undo'")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Revision 3: undo")).to_be_visible()
    page.go_back()
    page.go_forward()
    expect(page.get_by_role("heading", name="Revision 3: undo")).to_be_visible()


@pytest.mark.parametrize(("width", "theme"), [(390, "night"), (1280, "day")])
def test_tool_axe_finds_nothing_serious_and_nothing_scrolls_sideways(page, bench, width, theme):
    _, state = bench
    if not state.chain.log.entries():
        state.chain.log.write(lambda log: log.add("note", {"text": "first"}))
    for sheet in SHEETS:
        page.set_viewport_size({"width": width, "height": 844})
        page.goto(f"{sheet}?theme={theme}")
        keep(page, f"log-{width}-{theme}{sheet.replace('/', '-')}")
        found = Axe().run(page).response["violations"]
        told = [(one["id"], one["nodes"][0]["html"][:120]) for one in found if one["impact"] in SERIOUS]
        assert told == [], f"{sheet} by {theme}"
        for wide in (width, 2560):
            page.set_viewport_size({"width": wide, "height": 844})
            assert page.evaluate("document.documentElement.scrollWidth") <= wide, sheet
