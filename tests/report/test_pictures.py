import hashlib
import re
from xml.etree import ElementTree

import numpy as np
import pytest
from PIL import Image

from tepui.ground.findings import Finding
from tepui.report.pictures import DRAWN, draw_pictures
from tepui.report.theme import INK, PENCIL, SHEET

INK_ONLY = ("constellation", "frequency_plan", "coverage", "path_profile")  # density, or said and not read
MODE = "7 MHz 2K 64QAM 2/3 guard 1/8"


def finding(key, value, doubt, unit="dB", standing="measured"):
    low, high = value - doubt, value + doubt
    if standing == "at_most":
        low, high = None, value
    return Finding(
        about="recording:x", key=key, value=value, low=low, high=high, unit=unit, standing=standing, source="s"
    )


def slope(sign):
    levels = (-38.3, -38.6, -38.9)
    return {"offset_hz": (3e5, 5e5, 7e5), "level_db": levels, "touch_hz": 4.4e5, "touch_db": -38.3 - sign * 0.0,
            "read_db": -38.3}  # fmt: skip


# Drawn from what its job finds, in tests/desk/test_spectrum_sets.py.
DRAWN_ELSEWHERE = ("stitched",)


def drive_series():
    setting = np.linspace(-2, 6, 161)
    return {
        "setting_dbm": setting, "shoulder_db": -40 + 2 * setting, "shoulder_std_db": np.full(161, 0.2),
        "mer_db": 38 - 2 * setting, "power_dbm": 30 + setting, "read_between": (0.0, 4.0),
        "points": [(-1.0, -38.0, None), (0.0, -40.0, 0.4), (4.0, -32.0, 0.3)], "powers": [(0.0, 30.0), (4.0, 34.0)],
        "target_db": -34.0, "recommended_dbm": 2.9, "finding": finding("drive_recommended_dbm", 2.9, 0.0, "dBm"),
        "crossing": finding("drive_crossing_dbm", 3.0, 0.1, "dBm"), "name": "table", "mode": MODE,
        "at_recommended": [finding("shoulder_recommended_db", -34.2, 0.3)], "mers": [(0.0, 37.5), (4.0, 29.8)],
        "sides": (-40 + 2 * setting, -41 + 1.8 * setting),
        "spectra": [("low", np.linspace(-5e6, 5e6, 99), np.linspace(-40, 0, 99))],
    }  # fmt: skip


def drive_peaks():
    db = np.arange(0, 12.01, 0.25)
    before, after = np.exp(-(10 ** (db / 10))), np.exp(-(10 ** (db / 10)) - 0.02 * db**2)
    return {
        "setting_dbm": 2.9, "level_db": db, "before": before, "after": after, "recorded": [("low", db, before)],
        "before_db": 9.64, "finding": finding("crest_after_db", 8.2, 0.2, standing="computed"), "mode": MODE,
    }  # fmt: skip


def plan():
    frequency = np.linspace(1.3e9, 3.4e9, 301)
    return {
        "wanted_hz": 2346e6, "signal_width_hz": 7.6e6, "near_hz": 12e6, "if_hz": 786e6, "lo_hz": 1560e6, "rank": 5,
        "frequency_hz": frequency, "filter_loss_db": np.abs(frequency - 2346e6) / 8e6, "design": "3 poles",
        "products": [
            ("3 IF", 3, 2358e6, 2346.6e6, 2369.4e6, -62.0, 14.0, "channel", ""),
            ("LO", 0, 1560e6, 1560e6, 1560e6, 2.0, 6.0, "far", "oscillator"),
        ],
        "protected": [(2310e6, 2320e6)], "needed_db": 62.0,
        "finding": finding("rejection_lo_db", 62.0, 6.0, standing="computed"),
    }  # fmt: skip


def tuned():
    f = np.linspace(1236e6, 1356e6, 201)
    x = np.abs(f / 1296e6 - 1296e6 / f) * 1296 / 30 + 1e-2
    return {
        "frequency_hz": f, "s21_db": -10 * np.log10(1 + x**6) - 0.6, "s11_db": -10 * np.log10(1 + x**-6) - 0.2,
        "goal_db": -10 * np.log10(1 + x**6), "finding": finding("width_3db_hz", 30e6, 0.2e6, "Hz"), "name": "one",
        "lines": ["rod 1 is 3.4 ± 0.4 MHz low: screw out about a third of a turn", "rod 2 is near enough, leave it"],
    }  # fmt: skip


def coverage_map():
    hills = 300 + 50 * np.sin(np.arange(120) / 9)[:, None] * np.cos(np.arange(120) / 7)[None, :]
    margin = 30 - 0.5 * np.hypot(np.arange(120) - 60, np.arange(120)[:, None] - 60)
    return {
        "margin_db": np.where(margin > 0, margin, np.nan), "height_m": hills, "pixel_m": 90.0, "reach_km": 5.4,
        "margin_kept_db": 6.0, "finding": finding("covered_share", 0.4, 0.1, "1", standing="computed"),
        "sentence": "a transmitter", "foot": "a place", "lines": ["50 % of places"],
    }  # fmt: skip


def profile():
    distance = np.linspace(0, 46e3, 93)
    bulge = distance * (46e3 - distance) / 17e6
    ground = 40 + 100 * np.exp(-(((distance - 26e3) / 5e3) ** 2))
    return {
        "distance_m": distance, "ground_m": ground, "bulge_m": bulge, "line_m": np.linspace(60, 52, 93),
        "fresnel_m": np.sqrt(0.23 * distance * (46e3 - distance) / 46e3), "worst": 52, "visible": False, "name": MODE,
        "ends": ("20 m", "12 m"), "finding": finding("margin_db", 6.8, 9.0, standing="computed"),
        "lines": ["obstacle 112 m above the line,"], "foot": "a foot",
    }  # fmt: skip


def stitched_set():
    frequency = np.linspace(-7e6, 7e6, 1401)
    away = np.abs(frequency) - 3.328e6
    level = np.where(away < 0, 0.0, -34 - away / 1e6)
    built = {"offset_hz": (3e5, 5e5, 7e5), "level_db": (-34.3, -34.5, -34.7), "read_db": -34.4}
    return {
        "frequency_hz": frequency, "level_db": level, "low_db": level - 0.3, "high_db": level + 0.3,
        "floor_db": np.full(1401, -45.0), "source": np.repeat([0, 1, -1, 2], [400, 400, 100, 501]),
        "names": ("a", "b", "c"), "occupied_width_hz": 6.656e6, "resolution_hz": 39e3,
        "constructions": {"lower": built, "upper": built}, "finding": finding("shoulder_worst_db", -34.6, 0.5),
        "lower": finding("shoulder_lower_db", -34.6, 0.5), "upper": finding("shoulder_upper_db", -35.0, 0.4),
        "shown": finding("shoulder_worst_shown_db", -33.0, 0.2), "sweep": "pad 6 dB", "centre_hz": 1.275e9,
        "readings": [
            {"label": "pad 6 dB", "gain_db": -6.0, "lower": (-34.5, 0.2), "upper": (-34.9, 0.2)},
            {"label": "pad 0 dB", "gain_db": 0.0, "lower": (-28.0, 0.2), "upper": None},
        ],
        "mode": MODE,
    }  # fmt: skip


def pictures(standing="measured"):
    rng = np.random.default_rng(1)
    frequency = np.linspace(-7e6, 7e6, 2001)
    away = np.abs(frequency) - 3.328e6
    level = np.where(away < 0, 0.0, -38 - away / 1e6) + 0.1 * rng.standard_normal(len(frequency))
    delay = np.linspace(-5e-6, 40e-6, 900)
    mer = finding("mer_db", 24.31, 0.05)
    side = {
        "frequency_hz": np.linspace(-3e6, 3e6, 300),
        "mer_db": 24 + rng.standard_normal(300),
        "hit": np.arange(300) == 7,
    }
    db = np.linspace(0, 9, 91)
    return {
        "constellation": {"counts": rng.integers(0, 50, (64, 64)), "reach": 1.6, "finding": mer, "mode": MODE},
        "impulse_response": {
            "delay_s": delay, "level_db": -60 + 60 * np.exp(-((delay * 1e7) ** 2)), "guard_s": 32e-6, "first_s": 0.0,
            "mode": MODE, "echoes": [(0.0, 0.0), (6e-6, -18.0)],
        },
        "mer_by_carrier": {**side, "finding": mer, "mode": MODE},
        "mer_by_symbol": {"time_s": np.arange(300) * 3e-4, "mer_db": side["mer_db"], "finding": mer, "mode": MODE},
        "spectrum": {
            "frequency_hz": frequency, "level_db": level, "occupied_width_hz": 6.656e6, "resolution_hz": 39e3,
            "finding": finding("shoulder_worst_db", -38.4, 0.3, standing=standing),
            "lower": finding("shoulder_lower_db", -38.4, 0.3, standing=standing),
            "upper": finding("shoulder_upper_db", -38.7, 0.2), "constructions": {"lower": slope(-1), "upper": slope(1)},
            "floor_db": -52.0, "limit_db": -36.0, "centre_hz": 1.286e9, "mode": MODE,
        },
        "ccdf": {
            "level_db": db, "probability": np.exp(-(10 ** ((db + 0.5) / 10))), "gaussian_level_db": db + 2,
            "gaussian_probability": np.exp(-(10 ** ((db + 2) / 10))), "finding": finding("crest_0_01pct_db", 9.1, 0.1),
            "mode": MODE,
        },
        "drive": drive_series(),
        "drive_peaks": drive_peaks(),
        "coverage": coverage_map(),
        "path_profile": profile(),
        "frequency_plan": plan(),
        "tune": tuned(),
    }  # fmt: skip


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pictures")
    return {path.name: path for path in draw_pictures(pictures(), folder, practice=False)}


def test_every_name_is_drawn_as_svg_and_png(drawn):
    assert {*pictures(), *DRAWN_ELSEWHERE} == set(DRAWN)
    assert sorted(drawn) == sorted(f"{name}.{kind}" for name in pictures() for kind in ("svg", "png"))
    for name in pictures():
        with Image.open(drawn[f"{name}.png"]) as image:
            assert image.width == 1290
            assert image.convert("RGB").getpixel((2, image.height // 2)) == tuple(bytes.fromhex(SHEET[1:]))


def test_law_the_same_figures_give_the_same_bytes(drawn, tmp_path):
    again = draw_pictures({name: pictures()[name] for name in ("spectrum", "ccdf")}, tmp_path, practice=False)
    for path in again:
        first = hashlib.sha256(drawn[path.name].read_bytes()).hexdigest()
        assert hashlib.sha256(path.read_bytes()).hexdigest() == first
    assert not re.search(r"<dc:date>|20\d\d-\d\d-\d\d", drawn["spectrum.svg"].read_text(encoding="utf-8"))


# SVG 1.1, 5.4: title and desc are what is read aloud; they must be children of the root and come first.
def test_published_each_picture_says_itself_in_words(drawn):
    for name in pictures():
        root = ElementTree.fromstring(drawn[f"{name}.svg"].read_text(encoding="utf-8"))
        first, second = list(root)[:2]
        assert first.tag.endswith("title")
        assert second.tag.endswith("desc")
        said = {"frequency_plan": "Rejection needed at the LO 62.0 ± 6.0 dB", "coverage": "", "tune": "Width 3 dB 30.0"}
        assert said.get(name, MODE) in second.text
    spoken = ElementTree.fromstring(drawn["spectrum.svg"].read_text(encoding="utf-8"))[1].text
    assert re.search(r"worst .38\.40 ± 0\.30 dB", spoken)


def test_the_number_stands_beside_with_its_doubt(drawn):
    lettering = drawn["spectrum.svg"].read_text(encoding="utf-8")
    for words in ("−38.40", "± 0.30 dB", "target −36.0", "as shown", "700 kHz", "own noise"):
        assert words in lettering
    assert "0.5" in drawn["ccdf.svg"].read_text(encoding="utf-8")


def test_law_pencil_is_for_readings_and_practice_is_stamped(drawn, tmp_path):
    for path in draw_pictures(pictures(), tmp_path, practice=True):
        if path.suffix == ".svg":
            text = path.read_text(encoding="utf-8")
            assert "practice, nothing measured" in text
            assert PENCIL not in text
            assert INK in text
            assert PENCIL in drawn[path.name].read_text(encoding="utf-8") or path.stem in INK_ONLY
            assert "practice" not in drawn[path.name].read_text(encoding="utf-8")


def test_a_bound_is_drawn_as_an_arrow_without_a_doubt(tmp_path):
    draw_pictures({"spectrum": pictures("at_most")["spectrum"]}, tmp_path, practice=False)
    text = (tmp_path / "spectrum.svg").read_text(encoding="utf-8")
    assert "at most" in text
    assert "± 0.30" not in text


def test_without_floor_target_and_frequency_they_are_called_unknown_or_left_out(tmp_path):
    bare = {**pictures()["spectrum"], "floor_db": None, "limit_db": None, "centre_hz": None}
    draw_pictures({"spectrum": bare}, tmp_path, practice=False)
    text = (tmp_path / "spectrum.svg").read_text(encoding="utf-8")
    assert "unknown" in text
    assert "target" not in text
    assert "MHz from the centre" in text


def test_a_name_nobody_can_draw_is_our_own_fault(tmp_path):
    with pytest.raises(KeyError):
        draw_pictures({"portrait": {}}, tmp_path, practice=False)


def test_a_plan_names_its_products_with_their_widths(drawn):
    lettering = drawn["frequency_plan.svg"].read_text(encoding="utf-8")
    for words in ("3 IF: 2358 MHz, 22.8 wide", "LO: 1560 MHz, a line", "−62 ± 14 dB before the filter", "3 poles"):
        assert words in lettering
