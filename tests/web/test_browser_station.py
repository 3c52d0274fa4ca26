"""The station and its frequencies in a browser: error states, undo, two pages on one file, a handle that is dragged."""

import re
import tomllib

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect, sync_playwright
from test_browser import served

from conftest import find_browser
from tepui.station.example import example_text
from web_screens import FLAGS, SERIOUS, is_complaint, keep


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("bench")


@pytest.fixture(scope="module")
def context(folder):
    """A browser that may ask this bench only."""
    with served(folder) as address, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=find_browser(), args=FLAGS)
        yield browser.new_context(viewport={"width": 1280, "height": 900}, base_url=address)
        browser.close()


@pytest.fixture
def file(folder):
    """The station file, as the example has it."""
    path = folder / "station.toml"
    path.write_text(example_text(), encoding="utf-8")
    return path


@pytest.fixture
def opened(context):
    """Opens pages whose complaints fail the test."""
    pages, complaints = [], []

    def open_page(path):
        page = context.new_page()
        page.on("pageerror", lambda problem: complaints.append(str(problem)))
        page.on("console", lambda said: complaints.append(said.text) if is_complaint(said) else None)
        page.goto(path)
        pages.append(page)
        return page

    yield open_page
    for page in pages:
        page.close()
    assert complaints == []


def stage(file, number):
    return tomllib.loads(file.read_text(encoding="utf-8"))["stage"][number - 1]


def written(page, key, text):
    page.get_by_label(key, exact=True).fill(text)
    page.get_by_label(key, exact=True).blur()


@pytest.mark.parametrize("theme", ["day", "night"])
def test_law_a_refused_field_says_why_in_its_place(opened, file, theme):
    page = opened(f"/station/stage-5?theme={theme}")
    written(page, "gain", "26")
    field = page.locator("[data-key=gain]")
    expect(field.locator(".wrong")).to_contain_text("no unit")
    gain = page.get_by_label("gain", exact=True)
    assert gain.get_attribute("aria-invalid") == "true"
    told = gain.get_attribute("aria-describedby").split()
    assert "no unit" in page.locator(f"#{told[-1]}").inner_text()
    assert file.read_text(encoding="utf-8") == example_text()
    found = Axe().run(page).response["violations"]
    assert [one["id"] for one in found if one["impact"] in SERIOUS] == []
    keep(page, f"refused-{theme}")
    written(page, "gain", "27 dB ± 1 dB")
    expect(field.locator(".wrong")).to_be_empty()
    assert gain.get_attribute("aria-invalid") is None
    assert stage(file, 5)["gain"] == {"value": "27 dB ± 1 dB", "origin": "data sheet"}


def test_law_steps_are_undone_and_done_again_on_the_page(opened, file):
    page = opened("/station/stage-1")
    for level in ("-10 dBm", "-9 dBm"):
        written(page, "level", level)
        expect(page.locator("#text")).to_have_value(re.compile(f'level = "{level}"'))
    page.get_by_role("button", name=re.compile("Undo")).click()
    expect(page.get_by_label("level", exact=True)).to_have_value("-10 dBm")
    page.get_by_role("button", name=re.compile("Undo")).click()
    expect(page.get_by_label("level", exact=True)).to_have_value("-11 dBm ± 1.5 dB")
    assert file.read_text(encoding="utf-8") == example_text()
    page.get_by_role("button", name=re.compile("Do again")).click()
    expect(page.get_by_label("level", exact=True)).to_have_value("-10 dBm")


def test_law_two_pages_on_one_file_lose_nothing(opened, file):
    one, other = opened("/station/stage-1"), opened("/station/stage-5")
    written(one, "level", "-10 dBm")
    expect(one.locator("#text")).to_have_value(re.compile('level = "-10 dBm"'))
    expect(other.get_by_text("Changed on the disk")).to_be_visible(timeout=20_000)
    expect(other.locator(".difference .disk").first).to_contain_text("-10 dBm")
    written(other, "idle", "2.6 A")
    expect(other.locator("[data-key=idle] .wrong")).to_contain_text("not overwritten")
    expect(other.get_by_label("idle", exact=True)).to_have_value("2.6 A")
    assert (stage(file, 1)["level"], stage(file, 5)["idle"]) == ("-10 dBm", "2.5 A")
    keep(other, "changed-on-the-disk")
    other.on("dialog", lambda asked: asked.accept())
    other.get_by_role("link", name="Draw this page from the disk").click()
    expect(other.get_by_text("Changed on the disk")).to_have_count(0)
    written(other, "idle", "2.6 A")
    expect(other.locator("#text")).to_have_value(re.compile('idle = "2.6 A"'))
    assert (stage(file, 1)["level"], stage(file, 5)["idle"]) == ("-10 dBm", "2.6 A")


def test_law_the_text_is_written_from_the_page_and_back_leads_back(opened, file):
    page = opened("/station/stage-3")
    text = page.locator("#text")
    text.fill(text.input_value().replace("poles = 3", "poles = 5"))
    page.get_by_role("button", name="Check and write the file").click()
    expect(page.get_by_label("poles", exact=True)).to_have_value("5")
    assert stage(file, 3)["poles"] == 5
    page.get_by_role("navigation", name="Parts of the file").get_by_role("link", name="feeder").click()
    expect(page.get_by_role("heading", name="feeder", level=1)).to_be_visible()
    page.go_back()
    expect(page.get_by_label("poles", exact=True)).to_have_value("5")
    page.reload()
    expect(page.get_by_label("poles", exact=True)).to_have_value("5")


def test_law_a_handle_is_dragged_and_the_products_follow(opened, file):
    page = opened("/frequencies")
    handle = page.locator("#if")
    expect(page.locator("[data-out=if]")).to_have_text("809 MHz")
    box = handle.bounding_box()
    at = box["x"] + 12 + (box["width"] - 24) * (809 - 170) / (860 - 170), box["y"] + box["height"] / 2
    page.mouse.move(*at)
    page.mouse.down()
    page.mouse.move(at[0] - 40, at[1], steps=4)
    page.mouse.up()
    chosen = float(handle.input_value()) / 1e6
    assert 700 < chosen < 800
    expect(page.locator("[data-out=lo]")).to_have_text(f"{1286 - chosen:g} MHz", timeout=20_000)
    expect(page).to_have_url(re.compile(rf"if={chosen:g}\b"))
    address = page.url
    drawn = page.locator(".d-plan").first.inner_html()
    page.reload()
    assert page.url == address
    assert page.locator(".d-plan").first.inner_html() == drawn
    keep(page, "dragged")
    oscillator = page.locator("#lo")
    oscillator.focus()
    page.keyboard.press("ArrowRight")
    expect(page.locator("[data-out=if]")).to_have_text(f"{chosen - 1:g} MHz", timeout=20_000)
