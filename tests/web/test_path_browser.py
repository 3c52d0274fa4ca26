"""The sheets of path, modes, map and care in a real browser: used, read aloud, day and night, on a phone and a wall.

axe-core (W3C's WCAG 2.2 as rules, by way of axe-playwright-python) is the outside opinion on reading and use by all.
"""

import re
import threading
import time

import pytest
import uvicorn
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from path_station import STATION
from tepui.desk.watching import Watching
from tepui.desk.workshop import Workshop
from tepui.web.app import build_app
from tepui.web.chain import Chain
from tepui.web.live import ENTRY as WATCH
from tepui.web.serve import _listener
from tepui.web.state import RESULTS, BenchState
from terrain_files import write_wgs84
from web_screens import PATIENT_MS, SERIOUS, browser_open, keep, watched_page

SHEETS = ("/path", "/mode", "/map", "/care")
DRAWN = {"/path": ".d-profile", "/mode": ".d-modes", "/map": ".side .fields", "/care": ".answers"}


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bench")
    pytest.importorskip("rasterio")
    write_wgs84(folder)
    (folder / "station.toml").write_text(STATION, encoding="utf-8")
    (folder / "yagi.csv").write_text("angle_deg,loss_db\n0,0\n30,3\n90,14\n180,18\n", encoding="utf-8")
    listener = _listener(0, everywhere=False)
    port = listener.getsockname()[1]
    workshop = Workshop(folder / RESULTS, entry="tepui.cli.main:main", processes=1)
    state = BenchState(
        folder=folder, workshop=workshop, watching=Watching(entry=WATCH), chain=Chain(folder, workshop), practice=False
    )
    app = build_app(state, hosts=[f"127.0.0.1:{port}"], token=None)
    server = uvicorn.Server(uvicorn.Config(app, log_level="error", access_log=False, ws="websockets-sansio"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join(10)
    workshop.close()


@pytest.fixture(scope="module")
def chromium():
    with browser_open() as browser:
        yield browser


@pytest.fixture
def page(chromium, bench):
    with watched_page(chromium, bench) as page:
        yield page


def test_law_a_path_is_drawn_and_asked_otherwise(page):
    page.goto("/path")
    expect(page.locator(".d-profile")).to_be_visible(timeout=PATIENT_MS)
    expect(page.get_by_role("heading", name="Path to Q3GHJ")).to_be_visible()
    before = page.locator(".reading .n").first.text_content()
    page.get_by_label("Far antenna above ground").fill("90 m")
    page.get_by_label("Model").select_option("p1812")
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator(".d-profile")).to_be_visible(timeout=PATIENT_MS)
    expect(page).to_have_url(re.compile("rx-height=90"))
    assert page.locator(".reading .n").first.text_content() != before
    assert "--rx-height '90 m'" in page.locator(".command").text_content()
    page.get_by_role("button", name="Keep it for the report").click()
    expect(page.locator(".picture svg")).to_be_visible(timeout=PATIENT_MS)
    page.goto("/report")
    expect(page.get_by_text("path to Q3GHJ").first).to_be_visible()
    page.goto("/path")
    page.get_by_label("Far antenna above ground").fill("0 m")
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator(".refusal")).to_contain_text("must be a number above zero", timeout=PATIENT_MS)


def test_law_a_mode_sheet_stands_under_the_path(page):
    page.goto("/mode")
    expect(page.locator(".d-modes")).to_be_visible(timeout=PATIENT_MS)
    expect(page.get_by_role("columnheader", name="left of C/N, dB")).to_be_visible(timeout=PATIENT_MS)


def test_law_a_map_is_made_moved_and_read(page):
    page.goto("/map")
    page.get_by_label("Reach around the transmitter").fill("9 km")
    page.get_by_label("Pixel").fill("90 m")
    page.get_by_role("button", name="Make it").click()
    land = page.get_by_role("application")
    expect(land).to_be_visible(timeout=PATIENT_MS)
    under = page.locator("[data-under]")
    expect(under).to_contain_text("ground", timeout=PATIENT_MS)
    land.locator("img").first.wait_for()
    land.focus()
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    expect(under).to_contain_text("level", timeout=PATIENT_MS)
    expect(under).to_contain_text("dBi or more")
    for key in ("+", "+"):
        page.keyboard.press(key)
    before = under.text_content()
    box = land.bounding_box()
    page.mouse.move(box["x"] + 300, box["y"] + 200)
    page.mouse.down()
    page.mouse.move(box["x"] + 200, box["y"] + 260, steps=4)
    page.mouse.up()
    expect(under).not_to_have_text(before)
    page.locator("[data-layer]").select_option("gain")
    expect(page.locator("[data-legend=gain]")).to_be_visible()
    expect(land.locator("img").first).to_have_js_property("complete", True)
    assert land.locator("img").first.evaluate("tile => tile.naturalWidth") == 256
    expect(page.get_by_text("Q3GHJ").first).to_be_visible()
    page.get_by_role("button", name="Whole map").click()
    keep(page, "map")


def test_law_a_tick_is_kept_and_falls_with_its_words(page):
    page.goto("/care?candidates=1255 MHz")
    button = page.get_by_role("button", name="Tick Band edge lower").first
    button.click(timeout=PATIENT_MS)
    expect(page.get_by_text("Ticked by you on").first).to_be_visible()
    page.reload()
    expect(page.get_by_role("button", name="Take back Band edge lower").first).to_be_visible()
    page.get_by_role("button", name="Keep it for the report").click()
    expect(page.get_by_role("heading", name="Care ticks")).to_be_visible(timeout=PATIENT_MS)
    page.goto("/care?candidates=1255 MHz")
    page.get_by_role("button", name="Take back Band edge lower").first.click()
    expect(page.get_by_role("button", name="Tick Band edge lower").first).to_be_visible()
    assert page.get_by_text("Ticked by you on").count() == 0
    text = page.locator("body").inner_text().lower()
    for verdict in ("is safe", "is legal", "is allowed here"):
        assert verdict not in text


@pytest.mark.parametrize("sheet", SHEETS)
def test_tool_axe_finds_nothing_serious_and_no_width_scrolls_sideways(page, sheet):
    page.goto(f"{sheet}?theme=day")
    page.locator(DRAWN[sheet]).first.wait_for(timeout=PATIENT_MS)
    for theme in ("day", "night"):
        page.evaluate("theme => { document.documentElement.dataset.theme = theme; }", theme)
        found = Axe().run(page).response["violations"]
        serious = [(one["id"], one["nodes"][0]["html"][:120]) for one in found if one["impact"] in SERIOUS]
        assert serious == [], theme
        keep(page, f"{sheet[1:]}-{theme}")
    for width in (390, 1280, 2560):
        page.set_viewport_size({"width": width, "height": 844 if width < 500 else 1300})
        assert page.evaluate("document.documentElement.scrollWidth") <= width, width
        keep(page, f"{sheet[1:]}-{width}")
