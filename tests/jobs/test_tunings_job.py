"""Where to tune a narrow receiver."""

import json
from pathlib import Path

import pytest

from nomenclature import nomenclature_tables
from tepui.cli.main import main
from tepui.files.tunings import read_tunings
from tepui.ground.errors import ChoiceError, RangeError
from tepui.ground.findings import finding_named
from tepui.jobs.tunings import TuningRequest, tuning_list
from tepui.station.example import example_text


def request(**changes):
    told = {"centre_hz": 1286e6, "width_hz": 7e6, "n_fft": 8192, "usable_hz": 1.8e6, "dc_width_hz": 0.1e6}
    return TuningRequest(**(told | changes))


def tunings(**changes):
    table = next(one for one in tuning_list(request(**changes)).tables if one.name == "quick_tunings")
    keys = [key for key, _ in table.columns]
    return [dict(zip(keys, row, strict=True)) for row in table.rows]


# Worked case of a 23 cm station, 7 MHz 8K, receiver usable +-0.9 MHz with a line of +-0.05 MHz: edges, windows and the
# ranges of tuning printed in MHz to three places.
def test_published_worked_case_of_the_two_tunings():
    outcome = tuning_list(request())
    assert finding_named(outcome.findings, "edge_lower_hz").value / 1e6 == pytest.approx(1282.672, abs=6e-4)
    assert finding_named(outcome.findings, "edge_upper_hz").value / 1e6 == pytest.approx(1289.328, abs=6e-4)
    assert "1281.972 to 1282.372" in finding_named(outcome.findings, "edge_lower_hz").remark
    assert "1289.628 to 1290.028" in finding_named(outcome.findings, "edge_upper_hz").remark
    lower, upper = tunings()
    assert (lower["tuned_low_hz"] / 1e6, lower["tuned_high_hz"] / 1e6) == pytest.approx((1282.422, 1282.872), abs=6e-4)
    assert (upper["tuned_low_hz"] / 1e6, upper["tuned_high_hz"] / 1e6) == pytest.approx((1289.128, 1289.578), abs=6e-4)
    for one in (lower, upper):
        assert one["tuned_low_hz"] <= one["tuned_hz"] <= one["tuned_high_hz"]
        assert one["signal_shown_hz"] >= 0.5e6
    assert "1282.422 to 1282.872" in finding_named(outcome.findings, "tuning_lower_hz").remark


# By hand: usable +-0.5 MHz, 0.2 MHz outside the edge shows 0.7 MHz outside to 0.3 MHz of signal.
def test_limit_half_a_megahertz_on_either_side_is_enough():
    lower, upper = tunings(usable_hz=1.0e6)
    edge = 1286e6 - 6816 * 8 * 7e6 / (7 * 8192) / 2
    assert lower["tuned_hz"] == pytest.approx(edge - 200e3, abs=1)
    assert lower["shows_from_hz"] == pytest.approx(edge - 700e3, abs=1)
    assert lower["signal_shown_hz"] == pytest.approx(300e3, abs=1)
    assert upper["side"] == "upper"


def test_limit_narrower_receivers_take_the_signal_apart():
    sides = [one["side"] for one in tunings(usable_hz=0.8e6)]
    assert sides == ["lower", "upper", "middle"]


# Every frequency from 1 MHz below the channel to 1 MHz above is shown by two recordings, or by one at the ends.
@pytest.mark.parametrize("usable_hz", [0.8e6, 1.8e6, 5e6, 8e6])
def test_law_the_sweep_leaves_no_gap(usable_hz):
    table = tuning_list(request(usable_hz=usable_hz)).tables[1]
    ends = [(row[1], row[2]) for row in table.rows]
    half = 6816 * 8 * 7e6 / (7 * 8192) / 2 + 1e6
    assert ends[0][0] <= 1286e6 - half + 1
    assert ends[-1][1] >= 1286e6 + half - 1
    for (_, top), (low, _), (tuned, _, _) in zip(ends, ends[1:], table.rows, strict=False):
        assert low < top - 0.3 * usable_hz
        assert low > tuned - 0.35 * usable_hz


def test_law_pads_keep_the_peaks_below_what_the_input_stands():
    told = finding_named(tuning_list(request(level_dbm=10.0, max_input_dbm=-10.0)).findings, "pad_least_db")
    assert told.value == 30.0
    assert "rated for the power" in told.remark
    assert finding_named(tuning_list(request()).findings, "pad_least_db").standing == "unknown"


def test_message_receivers_that_cannot_do_it():
    with pytest.raises(RangeError, match=r"sees 0.2 MHz on either side is too narrow for a shoulder"):
        tuning_list(request(usable_hz=0.4e6, dc_width_hz=0.02e6))
    with pytest.raises(RangeError, match=r"A receiver of 1.5 MS/s cannot show 1.8 MHz: give the usable width"):
        request(rate_hz=1.5e6)
    with pytest.raises(RangeError, match=r"width of the line at zero must lie between 0 and the usable width, 1.8 MHz"):
        request(dc_width_hz=2e6)
    with pytest.raises(ChoiceError, match="n_fft must be 2048, 4096 or 8192"):
        request(n_fft=1024)


def test_law_from_the_command_line(capsys, read_json, nomenclature):
    words = ["spectrum", "--tunings", "--centre", "1286 MHz", "--width", "7 MHz", "--usable", "1.8 MHz", "--json"]
    assert main(words) == 0
    document = read_json(capsys.readouterr().out)
    assert {one["about"] for one in document["findings"]} == {"station"}
    assert {one["key"] for one in document["findings"]} <= set(nomenclature)
    assert set(document["tables"]) == {"quick_tunings", "sweep_tunings", "tunings"} <= set(nomenclature_tables())
    for table in document["tables"].values():
        assert {column["key"] for column in table["columns"]} <= set(nomenclature)


@pytest.fixture
def station(tmp_path):
    """The example station, with what a test wants replaced."""

    def written(*changes):
        text = example_text()
        for old, new in changes:
            assert old in text
            text = text.replace(old, new)
        path = tmp_path / "station.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return written


def listed(capsys, read_json, *words):
    assert main(["spectrum", "--tunings", *map(str, words), "--json"]) == 0
    return read_json(capsys.readouterr().out)


# The example station has the channel and the receiver of the worked case above.
def test_published_worked_case_from_a_station_file(station, capsys, read_json, nomenclature):
    document = listed(capsys, read_json, station())
    found = {one["key"]: one for one in document["findings"]}
    assert set(found) <= set(nomenclature)
    assert document["station"] == "Q1TPU Slate Ridge"
    assert [Path(one["path"]).name for one in document["inputs"]] == ["station.toml"]
    assert found["edge_lower_hz"]["value"] / 1e6 == pytest.approx(1282.672, abs=6e-4)
    assert "1282.422 to 1282.872" in found["tuning_lower_hz"]["remark"]
    assert "With 8 bits, rounding alone then reads -38 dB" in found["pad_least_db"]["remark"]
    rows = [dict(zip(("f", "s", "pad"), row, strict=True)) for row in document["tables"]["tunings"]["rows"]]
    assert sorted({row["f"] for row in rows}) == [row[0] for row in document["tables"]["sweep_tunings"]["rows"]]
    pads = sorted({row["pad"] for row in rows})
    assert pads == [pads[0], pads[0] + 10, pads[0] + 20]
    assert pads[0] >= found["pad_least_db"]["value"]


# "tepui levels" predicts what leaves the amplifier; peaks 10 dB over that must not pass -10 dBm, and 60 dB are fitted.
def test_law_the_pad_is_reckoned_for_the_level_predicted(station, capsys, read_json):
    path = station()
    assert main(["levels", str(path), "--json"]) == 0
    levels = read_json(capsys.readouterr().out)["findings"]
    high = next(one["high"] for one in levels if (one["about"], one["key"]) == ("point:after amplifier", "level_dbm"))
    document = listed(capsys, read_json, path)
    found = {one["key"]: one for one in document["findings"]}
    assert found["pad_least_db"]["value"] == pytest.approx(high + 10 + 10, abs=0.1)
    assert (found["pad_lacking_db"]["kind"], found["pad_lacking_db"]["value"]) == (
        "caution",
        pytest.approx(high + 20 - 60, abs=0.11),
    )
    told = listed(capsys, read_json, path, "--level", "+10 dBm", "--max-input", "0 dBm", "--usable", "1 MHz")
    assert next(one["value"] for one in told["findings"] if one["key"] == "pad_least_db") == 20.0
    assert told["tables"]["quick_tunings"]["rows"][0][6] == pytest.approx(300e3, abs=1)  # --usable outranks the file


# The list that is printed is one that "record" reads, row for row.
def test_law_record_reads_the_list(station, tmp_path, capsys, read_json):
    document = listed(capsys, read_json, station(), "--quick")
    path = tmp_path / "list.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    rows = read_tunings(path)
    assert len(rows) == 6
    assert {row.values["frequency_hz"] for row in rows} == {
        row[1] for row in document["tables"]["quick_tunings"]["rows"]
    }
    assert all(row.values["duration_s"] == pytest.approx(2000 / (10 * 8e6 / 8192)) for row in rows)


NARROW = 'name = "narrow"\nkind = "receiver"'
USABLE = 'usable = "1.8 MHz"\n'


@pytest.mark.parametrize(
    ("changes", "words", "sentence"),
    [
        (
            [(NARROW, 'name = "narrow"\nkind = "log detector"'), (USABLE, "")],
            [],
            "has no receiver to make a list for: add",
        ),
        ([(USABLE, ""), ('rate = "2.4 MHz"\n', "")], [], "the instrument narrow states neither usable nor rate"),
        ([(USABLE, 'usable = "0.3 MHz"\n')], [], "too narrow for a shoulder"),
        ([(USABLE, USABLE + 'tunes = "24..1000 MHz"\n')], [], "narrow tunes 24 to 1000 MHz, and the list"),
        ([], ["--instrument", "head"], "head is a thermal head, which shows no spectrum: name a receiver"),
        ([], ["--instrument", "narow"], 'has no instrument "narow"; it has head, narrow. Nearest: narrow.'),
        (
            [("[[far]]", '[[instrument]]\nname = "wide"\nkind = "receiver"\n[[far]]')],
            [],
            "has more than one receiver (narrow, wide): say which with --instrument",
        ),
    ],
)
def test_message_station_files_that_do_not_tell(station, capsys, changes, words, sentence):
    assert main(["spectrum", "--tunings", str(station(*changes)), *words]) == 2
    seen = capsys.readouterr()
    assert seen.out == ""
    assert sentence in seen.err
    assert seen.err.count("\n") == 1


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--tunings", "--centre", "1286 MHz"], "--tunings needs --width and --usable as well"),
        (["--tunings", "no.toml"], "no.toml cannot be opened"),
        (["one.wav", "--tunings"], "--tunings measures nothing, so one.wav has no place beside it"),
        (["--tunings", "--instrument", "narrow"], "--instrument names one of a station file"),
    ],
)
def test_message_tunings_without_what_they_need(capsys, words, sentence):
    assert main(["spectrum", *words]) == 2
    seen = capsys.readouterr()
    assert seen.out == ""
    assert sentence in seen.err
