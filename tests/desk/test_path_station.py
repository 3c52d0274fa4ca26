"""``tepui path`` with a station file: its far stations, named sites, the way back, and candidates for the licence."""

import math

import pytest

from tepui.cli.main import main
from tepui.files.ticks import set_tick

STATION = """\
format = 1
[station]
call = "Q2ABC"
locator = "HI45kt"
coordinates = "-4.1875, -51.125"
antenna_height = "72 m"
[channel]
centre = "436 MHz"
width = "2 MHz"
fft = "2K"
guard = "1/32"
[path]
model = "p526"
clutter_loss = "17 dB ± 8 dB"
noise_figure = "2 dB"
[[stage]]
name = "modulator"
kind = "modulator"
level = "33 dBm ± 1 dB"
[[stage]]
name = "feeder"
kind = "feeder"
loss = "1.6 dB ± 0.2 dB"
[[stage]]
name = "antenna"
kind = "antenna"
gain = "11 dBi ± 1 dB"
pattern = "yagi.csv"
[[far]]
call = "Q3GHJ"
locator = "HI46ob"
antenna_height = "32 m"
antenna_gain = "13 dBi"
feeder_loss = "2.1 dB"
noise_figure = "3 dB"
external_noise = "4 dB"
power = "30 dBm"
[[far]]
call = "Q4KLM"
coordinates = "-4.3, -51.0"
antenna_height = "12 m"
[[site]]
name = "Gorse Hill"
locator = "HI46bb"
antenna_height = "15 m"
"""


@pytest.fixture
def station(tmp_path):
    place = tmp_path / "station.toml"
    place.write_text(STATION, encoding="utf-8")
    (tmp_path / "yagi.csv").write_text("angle_deg,loss_db\n0,0\n30,3\n90,14\n180,18\n", encoding="utf-8")
    return place


def ask(capsys, read_json, *given):
    assert main([*map(str, given), "--json"]) == 0
    document = read_json(capsys.readouterr().out)
    return document, {(finding["about"], finding["key"]): finding for finding in document["findings"]}


# The same numbers as the scenario of Tern Hill and Low Fen, typed: 33.0 dBm, 1.6 dB, 11 dBi give 42.4 dBm.
def test_published_link_of_the_scenario_from_a_station_file(capsys, read_json, station):
    document, found = ask(capsys, read_json, "path", station, "--exposure", "--licence")
    assert document["station"] == "Q2ABC"
    assert {file["path"].rsplit("/", 1)[-1] for file in document["inputs"]} == {"station.toml", "yagi.csv"}
    assert found["path:Q3GHJ", "eirp_dbm"]["value"] == pytest.approx(42.4, abs=1e-6)
    assert found["path:Q3GHJ", "system_noise_db"]["value"] == pytest.approx(6.76, abs=0.1)
    assert found["path:Q3GHJ", "eirp_dbm"]["high"] - 42.4 == pytest.approx(2 * (0.25 + 0.01 + 0.25) ** 0.5, abs=1e-3)
    # Q4KLM tells no antenna and no noise figure: its path is worked out, a link is not.
    assert ("path:Q4KLM", "cn_db") not in found
    assert "antenna_gain of the far station" in found["path:Q4KLM", "distance_m"]["remark"]
    # the pattern's 3 dB at 30 degrees: 10^(-3/20) of the distance on the axis
    rows = document["tables"]["exposure_by_direction"]["rows"]
    assert rows[2][1] == pytest.approx(rows[0][1] * 10 ** (-3 / 20))
    assert ("station", "band_edge_lower_hz") in found


# Reciprocity: the ground loses the same; 30 dBm, 2.1 dB, 13 dBi back: 40.9 dBm; receiver 2 dB behind 1.6 dB: 3.6 dB.
def test_law_the_way_back_has_its_own_power_and_noise(capsys, read_json, station):
    _, found = ask(capsys, read_json, "path", station, "--to", "q3ghj")
    there, back = "path:Q3GHJ", "path:Q3GHJ-back"
    assert found[back, "loss_total_db"]["value"] == pytest.approx(found[there, "loss_total_db"]["value"], abs=1e-9)
    assert found[back, "bearing_out_deg"]["value"] == found[there, "bearing_back_deg"]["value"]
    assert found[back, "eirp_dbm"]["value"] == pytest.approx(40.9)
    assert found[back, "system_noise_db"]["value"] == pytest.approx(3.6, abs=1e-6)
    assert found[back, "clear_rise_tx_m"]["value"] == pytest.approx(found[there, "clear_rise_rx_m"]["value"])


# 15 kHz hold 10 log(15e3) + -173.98 dBm; talk-back at 144 MHz with antennas of its own.
def test_limit_a_talk_back_of_another_kind(capsys, read_json, station):
    _, found = ask(
        capsys, read_json, "path", station, "--to", "Q3GHJ", "--back-frequency", "144.75 MHz", "--back-width",
        "15 kHz", "--back-cn", "10 dB", "--back-tx-gain", "8 dBi", "--back-rx-gain", "6 dBi",
        "--back-external-noise", "8 dB",
    )  # fmt: skip
    back = "path:Q3GHJ-back"
    noise_db = found[back, "system_noise_db"]["value"]
    assert noise_db == pytest.approx(10 * math.log10(10**0.8 + 10**0.2 - 1), abs=1e-6)
    assert found[back, "noise_power_dbm"]["value"] == pytest.approx(-173.975 + 41.761 + noise_db, abs=0.01)
    assert found[back, "margin_db"]["value"] == pytest.approx(found[back, "cn_db"]["value"] - 10)


def test_law_names_are_places_and_options_come_first(capsys, read_json, station):
    _, found = ask(capsys, read_json, "path", station, "--from", "Gorse Hill", "--to", "Q4KLM", "--rx-height", "50 m")
    named = found["path:Q4KLM", "distance_m"]["value"]
    _, typed = ask(capsys, read_json, "path", "--from", "HI46bb", "--to", "-4.3, -51.0", "--frequency", "436 MHz",
                   "--tx-height", "15 m", "--rx-height", "50 m", "--name", "Q4KLM")  # fmt: skip
    assert named == pytest.approx(typed["path:Q4KLM", "distance_m"]["value"])
    assert found["path:Q4KLM", "radio_horizon_m"]["value"] == typed["path:Q4KLM", "radio_horizon_m"]["value"]


def test_law_each_candidate_has_its_sheet(capsys, read_json, station):
    document, found = ask(
        capsys, read_json, "path", station, "--to", "Q3GHJ", "--candidate", "434 MHz", "--candidate", "439.5 MHz"
    )
    # 439.5 MHz and half of 1.9025 MHz reach 0.45 MHz past 440 MHz
    assert found["channel:439.5 MHz", "band_edge_upper_hz"]["value"] == pytest.approx(-0.451e6, abs=1e3)
    assert "reaches outside" in found["channel:439.5 MHz", "band_edge_upper_hz"]["remark"]
    assert found["channel:436 MHz", "licence_satellite_segment"]["kind"] == "caution"
    assert found["channel:434 MHz", "segment_distance_hz"]["value"] == pytest.approx(49e3, abs=1e3)
    assert document["schema"] == 1


def test_a_drawing_of_the_profile_is_written(capsys, read_json, station, tmp_path):
    document, _ = ask(capsys, read_json, "path", station, "--to", "Q3GHJ", "--plots", tmp_path / "drawn")
    assert {path.rsplit("/", 1)[-1] for path in document["files"]} == {"path_profile.svg", "path_profile.png"}


@pytest.mark.parametrize(
    ("change", "given", "sentence"),
    [
        (("", ""), ["--to", "ZZ99"], "character 1 must be A to R"),
        (('antenna_height = "72 m"', ""), [], "--tx-height is needed or antenna_height under [station]"),
        (('coordinates = "-4.3, -51.0"', 'coordinates = "-4.3"'), [], "coordinates"),
        (("angle_deg", "angle"), [], None),
        (("", ""), ["--tx-azimuth", "53 deg", "--tx-pointing", "3 deg", "--to", "Q3GHJ"], "is told twice"),
        (("", ""), ["--back-frequency", "144 MHz", "--to", "Q3GHJ"], "missing: --back-width"),
    ],
)
def test_bad_input_is_one_sentence(capsys, station, change, given, sentence):
    if sentence is None:
        (station.parent / "yagi.csv").write_text("angle,loss_db\n0,0\n90,3\n", encoding="utf-8")
        sentence = '"angle" is no column of a pattern of an antenna'
    station.write_text(STATION.replace(*change) if change[0] else STATION, encoding="utf-8")
    assert main(["path", str(station), *given]) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert sentence in shown.err
    assert shown.err.count("\n") == 1


# 42.4 dBm mean e.i.r.p. against f/200 = 2.18 W/m2: sqrt(17.38/(4 pi 2.18)) = 0.80 m, 1.59 m where the field doubles.
def test_published_care_beside_the_check_of_a_station(capsys, read_json, station):
    (station.parent / "mine.csv").write_text(
        "country,f_low_mhz,f_high_mhz,quantity,limit,unit,source,date\n"
        "XX,430,440,power_pep_w,10,W,licence sheet 4,2031-05-01\n",
        encoding="utf-8",
    )
    document, found = ask(
        capsys, read_json, "check", station, "--exposure", "--candidate", "434 MHz", "--rules",
        station.parent / "mine.csv", "--country", "XX",
    )  # fmt: skip
    assert found["stage:antenna", "exposure_distance_m"]["value"] == pytest.approx(1.59, abs=0.01)
    worst = found["stage:antenna", "exposure_distance_m"]["high"]
    assert worst == pytest.approx(1.59 * 10 ** (2 * 0.714 / 20), abs=0.01)
    for channel in ("channel:436 MHz", "channel:434 MHz"):
        rule = found[channel, "rule_power_pep_w"]
        assert rule["value"] == pytest.approx(18.4, abs=0.1)
        assert rule["limit_source"] == "licence sheet 4, 2031-05-01"
        assert rule["margin"] < 0
    # 2 MHz channel, 1.9025 MHz occupied: 2.5 times that, and 1.5 times the channel
    assert found["channel:436 MHz", "spurious_upper_hz"]["value"] == pytest.approx(436e6 + 4.756e6, abs=2e3)
    assert found["channel:436 MHz", "broadcast_spurious_upper_hz"]["value"] == pytest.approx(439e6)
    assert {file["path"].rsplit("/", 1)[-1] for file in document["inputs"]} == {"station.toml", "yagi.csv", "mine.csv"}


def test_law_a_tick_counts_for_the_words_it_was_given_for(capsys, read_json, station, tmp_path):
    ticks = tmp_path / "care-ticks.json"
    _, found = ask(capsys, read_json, "check", station, "--licence")
    edge = found["channel:436 MHz", "band_edge_lower_hz"]["value"]
    set_tick(ticks, "channel:436 MHz band_edge_lower_hz", f"Band edge lower: {edge / 1e6:.9g} MHz")
    set_tick(ticks, "channel:436 MHz power_mean_dbm", "Power mean: 20 dBm")
    set_tick(ticks, "own beam", "Nobody can come into the beam")
    document, _ = ask(capsys, read_json, "check", station, "--licence", "--ticks", ticks)
    told = {row[0]: row[3] for row in document["tables"]["care_ticks"]["rows"]}
    assert told["channel:436 MHz power_mean_dbm"] == "for other words: look again"
    assert told["channel:436 MHz band_edge_lower_hz"] == "as it stands"
    assert told["own beam"] == "as it stands"
    ticks.write_text("{}", encoding="utf-8")
    assert main(["check", str(station), "--ticks", str(ticks)]) == 2
    assert "is no list of ticks" in capsys.readouterr().err
