"""Where to tune a narrow receiver."""

import pytest

from nomenclature import nomenclature_tables
from tepui.cli.main import main
from tepui.ground.errors import ChoiceError, RangeError
from tepui.ground.findings import finding_named
from tepui.jobs.tunings import TuningRequest, tuning_list


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
    assert set(document["tables"]) == {"quick_tunings", "sweep_tunings"} <= set(nomenclature_tables())
    for table in document["tables"].values():
        assert {column["key"] for column in table["columns"]} <= set(nomenclature)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--tunings", "--centre", "1286 MHz"], "--tunings needs --width and --usable as well"),
        (["--tunings", "station.toml"], "--tunings measures nothing, so station.toml has no place beside it"),
    ],
)
def test_message_tunings_without_what_they_need(capsys, words, sentence):
    assert main(["spectrum", *words]) == 2
    seen = capsys.readouterr()
    assert seen.out == ""
    assert sentence in seen.err
