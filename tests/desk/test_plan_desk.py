"""``tepui new``, ``check`` and ``levels`` from the command line: the worked cases from station files, and refusals."""

import json
import tomllib
from pathlib import Path

import jsonschema
import pytest

from tepui.cli.main import main

DATA = Path(__file__).parents[1] / "data"
STATIONS = DATA / "stations"
SIX = tomllib.loads((DATA / "plan/s6_expected.toml").read_text(encoding="utf-8"))


def run(words, capsys, read_json):
    """Findings by (about, key) and tables of one command line that succeeds."""
    assert main([*words, "--json"]) == 0
    document = read_json(capsys.readouterr().out)
    return {(one["about"], one["key"]): one for one in document["findings"]}, document


def rows_of(document, name):
    table = document["tables"][name]
    keys = [column["key"] for column in table["columns"]]
    return [dict(zip(keys, row, strict=True)) for row in table["rows"]]


def refused(words, capsys):
    """The one sentence of a command line that is refused."""
    assert main(words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    return err


def station(tmp_path, text, name="station.toml"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return str(path)


def altered(tmp_path, source, *pairs):
    text = (STATIONS / source).read_text(encoding="utf-8")
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    return station(tmp_path, text)


# data/plan/s6_expected.toml: a station without instruments, every figure worked by hand.
class TestBroomHead:
    @pytest.fixture(params=["check", "levels"])
    def found(self, request, capsys, read_json):
        return run([request.param, str(STATIONS / "s6.toml")], capsys, read_json)[0]

    @pytest.mark.parametrize("key", [key for key in SIX if not key.startswith("backoff_")])
    def test_published_figures(self, found, key):
        about = "stage:amplifier" if key in ("heat_w", "sink_needed", "drive_less_db") else "station"
        tolerance = (
            {"abs": 0.1} if key.endswith(("_db", "_dbm")) else {"abs": 0.05} if key.endswith("_m") else {"rel": 0.01}
        )
        assert found[about, key]["value"] == pytest.approx(SIX[key], **tolerance)

    def test_published_backoff(self, found):
        one = found["stage:amplifier", "backoff_db"]
        assert [one["value"], one["low"], one["high"]] == pytest.approx(
            [SIX["backoff_db"], SIX["backoff_low_db"], SIX["backoff_high_db"]], abs=0.1
        )
        assert "drive 3.0 dB less" in found["stage:amplifier", "drive_less_db"]["remark"]

    def test_published_no_claim_on_shoulders_mer_or_exposure(self, found):
        for (about, key), one in found.items():
            if key.startswith(("shoulder", "mer")):
                assert one["standing"] == "unknown", (about, key)
        assert "narrow receiver with rated pads" in found["point:after amplifier", "shoulder_worst_db"]["remark"]
        assert found["station", "exposure_met"]["standing"] == "unknown"

    def test_published_the_one_instrument_to_buy_first(self, found):
        assert found["station", "instrument_first"]["value"] == "a narrow receiver and rated pads"

    def test_law_nothing_is_called_safe_or_legal(self, found):
        words = json.dumps(list(found.values())).lower()
        assert '"safe' not in words
        assert " legal" not in words


# The same station with P1dB of the driver: P1dB alone still makes no claim without an instrument that sees shoulders.
def test_published_p1db_alone_makes_no_claim(tmp_path, capsys, read_json):
    path = altered(tmp_path, "s6.toml", ('gain = "18 dB ± 1.5 dB"', 'gain = "18 dB ± 1.5 dB"\noip3 = "40 dBm"'))
    found, _ = run(["levels", path], capsys, read_json)
    one = found["point:after amplifier", "shoulder_worst_db"]
    assert one["standing"] == "unknown"
    assert "p1db of amplifier says where a single carrier loses 1 dB" in one["remark"]
    assert found["point:after driver", "shoulder_worst_db"]["value"] == pytest.approx(
        -2 * (40 - 13) - 0.6 - 0.44, abs=0.5
    )


# Worked case of a narrow receiver: half width 3.328 MHz, windows and tunings as printed there, to 0.01 MHz.
def test_published_edges_windows_and_tunings(capsys, read_json):
    found, document = run(["check", str(STATIONS / "s1.toml")], capsys, read_json)
    assert found["station", "occupied_low_hz"]["value"] == pytest.approx(1282.672e6, abs=1e3)
    assert found["station", "occupied_high_hz"]["value"] == pytest.approx(1289.328e6, abs=1e3)
    assert found["station", "net_bit_rate_bps"]["value"] == pytest.approx(7.037e6, abs=600)
    assert found["station", "output_dbm"]["value"] == pytest.approx(36.7, abs=0.1)
    assert found["station", "output_w"]["value"] == pytest.approx(4.68, rel=0.01)
    lower, upper = rows_of(document, "narrow_settings")
    printed = [1281.972e6, 1282.372e6, 1282.422e6, 1282.872e6], [1289.628e6, 1290.028e6, 1289.128e6, 1289.578e6]
    for row, expected in zip((lower, upper), printed, strict=True):
        ends = ("window_low_hz", "window_high_hz", "centre_low_hz", "centre_high_hz")
        assert [row[end] for end in ends] == pytest.approx(expected, abs=2e3)


# Worked case of a detuned output filter: mean in-channel loss 1.1 dB (1.0 to 1.2).
def test_published_mean_loss_of_a_detuned_filter(capsys, read_json):
    _, document = run(["levels", str(STATIONS / "s5.toml")], capsys, read_json)
    levels = {row["point"]: row["level_dbm"] for row in rows_of(document, "levels")}
    assert 1.0 <= levels["after amplifier"] - levels["after output filter"] <= 1.2


# The filter takes 4.6 dB more of the upper shoulder than of the lower one (asymmetry of the worked case).
def test_published_a_filter_takes_shoulders_down_by_its_curve(tmp_path, capsys, read_json):
    path = altered(
        tmp_path, "s5.toml", ('gain = "30 dB ± 2 dB"', 'gain = "30 dB ± 2 dB"\noip3 = "48 dBm"'), ("± 1 dB", "± 0.1 dB")
    )
    found, _ = run(["levels", path], capsys, read_json)
    before = found["point:after amplifier", "shoulder_worst_db"]["value"]
    after = found["point:after output filter", "shoulder_worst_db"]["value"]
    assert after - before == pytest.approx(1.1 - 0.8, abs=0.15)  # the lower side loses less than the channel


def test_limit_readings_sharpen_and_say_carry_on(capsys, read_json):
    path = str(STATIONS / "slate_ridge.toml")
    plan, _ = run(["levels", path], capsys, read_json)
    words = [
        "levels",
        path,
        "--reading",
        "after filter = -20.1 dBm ± 1 dB",
        "--reading",
        "after driver = 9.7 dBm ± 0.5 dB",
    ]
    found, document = run(words, capsys, read_json)
    for key in (key for key in found if key[1] in ("level_dbm", "eirp_dbm")):
        assert found[key]["high"] - found[key]["low"] <= plan[key]["high"] - plan[key]["low"] + 1e-9
    assert found["point:after driver", "reading_verdict"]["value"] == "carry on"
    # level_sheet.toml, drawn beforehand: modulator -11.4 ± 1.1, amplifier 35.5 ± 2.1 (its chain's doubt is 0.1 more).
    one = found["point:after modulator", "level_dbm"]
    assert (one["value"], one["high"] - one["value"]) == pytest.approx((-11.4, 1.1), abs=0.06)
    assert found["point:after amplifier", "level_dbm"]["value"] == pytest.approx(35.5, abs=0.06)
    assert len(rows_of(document, "level_readings")) == 2
    head = next(
        row
        for row in rows_of(document, "expected_readings")
        if (row["point"], row["instrument"]) == ("after amplifier", "head")
    )
    assert (head["shown_dbm"], head["pads_db"]) == (pytest.approx(-4.5, abs=0.06), 40)  # the sheet's "head should show"


def test_limit_outliers_and_contradictions_are_said_and_not_absorbed(capsys, read_json):
    path = str(STATIONS / "slate_ridge.toml")
    plan, _ = run(["levels", path], capsys, read_json)
    found, _ = run(["levels", path, "--reading", "after driver = 20.5 dBm ± 0.5 dB"], capsys, read_json)
    one = found["point:after driver", "reading_verdict"]
    assert one["value"] == "stop"
    assert "Either driver or a stage before it gives 10.0 dB more" in one["remark"]
    assert "a pad of 10 dB counted that is not there" in one["remark"]
    assert found["point:after driver", "level_dbm"]["value"] == plan["point:after driver", "level_dbm"]["value"]
    words = [
        "levels",
        path,
        "--reading",
        "after mixer = -15.2 dBm ± 0.4 dB",
        "--reading",
        "after filter = -20.6 dBm ± 0.4 dB",
    ]
    found, _ = run(words, capsys, read_json)
    assert "cannot both be true" in found["station", "readings_contradict"]["remark"]


def test_limit_a_reading_on_an_instrument_loses_pads_and_factor(tmp_path, capsys, read_json):
    path = altered(tmp_path, "slate_ridge.toml", ('kind = "thermal head"', 'kind = "log detector"'))
    _, document = run(["levels", path, "--reading", "after amplifier on head = -7.0 dBm ± 0.2 dB"], capsys, read_json)
    (row,) = rows_of(document, "level_readings")
    assert row["read_dbm"] == pytest.approx(-7.0 + 40 + 2.51, abs=0.01)
    words = ["levels", path, "--reading", "after driver on head through 10 dB = -3 dBm"]
    (row,) = rows_of(run(words, capsys, read_json)[1], "level_readings")
    assert row["read_dbm"] == pytest.approx(-3 + 10 + 2.51, abs=0.01)


def test_published_a_level_7_ring_at_0_dbm_is_hopeless_and_needs_10_db(tmp_path, capsys, read_json):
    path = altered(
        tmp_path,
        "slate_ridge.toml",
        ('level = "-11 dBm ± 1.5 dB"', 'level = "0 dBm ± 1 dB"'),
        ('max_input = "5 dBm"', 'max_input = "15 dBm"'),
        ('max_input = "20 dBm"\nharmonic', 'max_input = "30 dBm"\nharmonic'),
    )
    found, _ = run(["levels", path], capsys, read_json)
    one = found["stage:mixer", "pad_advised_db"]
    assert one["value"] == 10
    assert one["remark"].startswith("Hopeless: 0.0 dBm of OFDM into a ring with 7 dBm")
    assert found["station", "worst_stage"]["value"] in ("mixer", "amplifier")
    shoulder = found["point:after mixer", "shoulder_worst_db"]
    assert (shoulder["standing"], shoulder["high"]) == ("at_least", None)  # the ring's table ends here


def test_limit_without_ambient_no_word_on_sinks(tmp_path, capsys, read_json):
    path = altered(tmp_path, "s6.toml", ('ambient = "40 degC"\n', ""))
    found, _ = run(["check", path], capsys, read_json)
    one = found["stage:amplifier", "sink_needed"]
    assert one["standing"] == "unknown"
    assert "without a fan; write ambient in [station]" in one["remark"]
    assert ("stage:amplifier", "sink_width_m") not in found


def test_law_no_amplifier_gives_more_than_it_takes(tmp_path, capsys, read_json):
    path = altered(tmp_path, "s6.toml", ('"5.2 A"', '"0.5 A"'))
    found, _ = run(["check", path], capsys, read_json)
    one = found["stage:amplifier", "heat_w"]
    assert one["standing"] == "unknown"
    assert "6.9 W from the supply, 12.6 W out: a gain, level or current is wrong" in one["remark"]


# Heat is stated at worst: a bound with what is planned in words, not a value with a doubt that ends at itself.
def test_law_heat_at_worst_is_a_bound(capsys, read_json):
    found, _ = run(["levels", str(STATIONS / "slate_ridge.toml")], capsys, read_json)
    one = found["stage:driver", "heat_w"]
    assert (one["standing"], one["low"]) == ("at_most", None)
    assert "As planned 4.79 W." in one["remark"]


def test_limit_mean_and_pep_against_an_unclear_limit(capsys, read_json):
    found, _ = run(["levels", str(STATIONS / "slate_ridge.toml")], capsys, read_json)
    mean, pep = found["station", "power_mean_w"], found["station", "power_pep_w"]
    assert pep["value"] / mean["value"] == pytest.approx(10**0.964, rel=1e-3)
    assert mean["margin"] > 0 > pep["margin"]
    assert main(["levels", str(STATIONS / "slate_ridge.toml"), "--strict"]) == 1
    capsys.readouterr()


def test_limit_card_has_supplies_first_antenna_last_and_20_db_down(capsys, read_json):
    _, document = run(["levels", str(STATIONS / "slate_ridge.toml"), "--card"], capsys, read_json)
    card = rows_of(document, "card")
    assert [row["step"] for row in card] == list(range(1, len(card) + 1))
    assert card[0]["what"] == "supplies without RF"
    assert card[-1]["what"] == "antenna"
    amplifier = [row for row in card if row["what"].startswith("amplifier")]
    (down,) = (row for row in amplifier if "20 dB down" in row["what"])
    (up,) = (row for row in amplifier if "drive up" in row["what"])
    assert up["shown_dbm"] - down["shown_dbm"] == pytest.approx(20)
    assert down["shown_low_dbm"] < down["shown_dbm"] < down["shown_high_dbm"]
    assert all(row["stop_rule"] and row["box"] for row in card)
    assert main(["levels", str(STATIONS / "slate_ridge.toml"), "--card"]) == 0
    assert "expect   -3.7 dBm, accept" in capsys.readouterr().out


def test_limit_what_to_buy_and_library_and_doubts_that_were_not_stated(tmp_path, capsys, read_json):
    path = altered(
        tmp_path,
        "slate_ridge.toml",
        (
            'gain = "25.8 dB ± 1.9 dB"\np1db = { value = "45 dBm ± 1 dB", origin = "data sheet" }',
            'part = "power module"\nwanted = true\np1db = "45 dBm"',
        ),
        ('loss = "1.8 dB ± 0.6 dB"\n', ""),
    )
    found, document = run(["levels", path], capsys, read_json)
    (row,) = rows_of(document, "to_buy")
    assert (row["stage"], row["gain_db"]) == ("amplifier", 30)
    assert row["p1db_least_dbm"] > row["mean_output_dbm"]
    assert "the usual ± 0.5 dB is taken" in found["stage:filter", "doubt_missing"]["remark"]


def test_limit_outside_the_range_its_data_hold_for(tmp_path, capsys, read_json):
    gain = 'gain = { value = "29.8 dB ± 1.8 dB", origin = "data sheet" }'
    path = altered(tmp_path, "slate_ridge.toml", (gain, f'{gain}\nholds = "100..1000 MHz"'))
    found, document = run(["levels", path], capsys, read_json)
    assert "read its gain first, at three drives" in found["stage:driver", "outside_data"]["remark"].lower()
    levels = {row["point"]: row["planned_rss_db"] for row in rows_of(document, "levels")}
    assert levels["after driver"] == pytest.approx((2.01**2 + 3.6**2) ** 0.5, abs=0.02)
    given = found["stage:driver", "gain_db"]
    assert (given["standing"], given["low"], given["high"]) == ("given", 26.2, pytest.approx(33.4))
    first = found["station", "next_reading"]
    assert first["value"] == "after driver"
    assert first["remark"].startswith("Read its gain at three drives: behind filter (")
    after, _ = run(["levels", path, "--reading", "after driver = 10 dBm ± 0.5 dB"], capsys, read_json)
    assert after["station", "next_reading"]["value"] != "after driver"


# Nothing may change: neither levels nor shoulders, MER nor their intervals, before readings and after.
@pytest.mark.parametrize("words", [(), ("--reading", "after driver = 10 dBm ± 0.5 dB")])
def test_law_a_lossless_stage_changes_nothing_at_all(tmp_path, capsys, read_json, words):
    nothing = '[[stage]]\nname = "nothing"\nkind = "pad"\nloss = "0 dB ± 0.000001 dB"\n\n'
    driver = '[[stage]]\nname = "driver"'
    path = altered(tmp_path, "slate_ridge.toml", (driver, nothing + driver))
    plain, _ = run(["levels", str(STATIONS / "slate_ridge.toml"), *words], capsys, read_json)
    more, _ = run(["levels", path, *words], capsys, read_json)
    for place, one in plain.items():
        other = more[place]
        assert (other["standing"], other["unit"]) == (one["standing"], one["unit"])
        for end in ("value", "low", "high"):
            if isinstance(one[end], float):
                assert other[end] == pytest.approx(one[end], abs=1e-3), (place, end)


MEMORY = """# an amplifier with memory, its distortion heard again 70 ns later
reference_dbm; 20
reach_dbm; 22
delay_ns; order; real; imag
0; 1; 1; 0
0; 3; -0.05; 0
70; 3; 0; -0.03
"""


# By hand, term 1 of x |x|^2 weighs a = -0.05 - 0.03i exp(-2 pi i f 70 ns); 3.83 MHz off the centre the turn is 96.5
# degrees, so |a| is 0.0205 below and 0.0799 above: 11.8 dB between the shoulders.
def test_limit_a_measured_memory_polynomial_has_two_shoulders(tmp_path, capsys, read_json):
    p1db = 'p1db = { value = "45 dBm ± 1 dB", origin = "data sheet" }'
    path = altered(tmp_path, "slate_ridge.toml", (p1db, 'memory_polynomial = "memory.csv"'),
                   ("-11 dBm ± 1.5 dB", "-11 dBm ± 0.2 dB"), ("29.8 dB ± 1.8 dB", "29.8 dB ± 0.2 dB"),
                   ("6.5 dB ± 1.2 dB", "6.5 dB ± 0.2 dB"), ('oip3 = "37', 'oip3 = "60'))  # fmt: skip
    (tmp_path / "memory.csv").write_text(MEMORY)
    found, document = run(["levels", path], capsys, read_json)
    assert found["stage:amplifier", "amplifier_model"]["value"] == "memory polynomial of 2 delays up to order 3"
    row = next(row for row in rows_of(document, "distortion") if row["stage"] == "amplifier")
    assert row["shoulder_upper_db"] - row["shoulder_lower_db"] == pytest.approx(11.8, abs=1.5)
    about = "point:after amplifier"
    higher = max(found[about, "shoulder_lower_db"]["value"], found[about, "shoulder_upper_db"]["value"])
    assert found[about, "shoulder_worst_db"]["value"] == pytest.approx(higher)
    assert any(one["path"].endswith("memory.csv") for one in document["inputs"])
    (tmp_path / "memory.csv").write_text(MEMORY.replace("70; 3", "70; 4"))
    said = refused(["levels", path], capsys)
    assert 'memory_polynomial of stage "amplifier"' in said
    assert "the order of a coefficient is odd, from 1 to 11, not 4" in said


SECOND_MIXER = """
[[stage]]
name = "second mixer"
kind = "mixer"
frequency = "1486 MHz"
loss = "6.5 dB ± 1.2 dB"
lo_level = "7 dBm"

[[stage]]
name = "filter"
"""


# By hand: 1486 - 1286 = 200 MHz and mirrored; 200 - 163.875 = 36.125 MHz.
def test_limit_two_mixers_are_undone_one_after_the_other(tmp_path, capsys, read_json):
    path = altered(
        tmp_path,
        "slate_ridge.toml",
        ('frequency = "428 MHz"', 'frequency = "163.875 MHz"'),
        ('\n[[stage]]\nname = "filter"\n', SECOND_MIXER),
        ('tunes = "170..860 MHz"', 'tunes = "30..60 MHz"'),
    )
    _, document = run(["mode", path], capsys, read_json)
    card = {row["setting"]: row["enter"] for row in rows_of(document, "settings_card")}
    assert (card["frequency"], card["spectrum"]) == ("36.125 MHz", "inverted")
    _, document = run(["frequencies", path], capsys, read_json)
    for row in rows_of(document, "cascades"):
        assert (row["if_hz"], row["second_if_hz"]) == (36.125e6, 200e6)


class TestNew:
    def test_limit_the_example_passes_every_verb_and_the_schema(self, tmp_path, capsys, read_json):
        path = tmp_path / "station.toml"
        assert main(["new", str(path)]) == 0
        text = path.read_text(encoding="utf-8")
        capsys.readouterr()
        assert main(["check", "--schema"]) == 0
        schema = json.loads(capsys.readouterr().out)
        jsonschema.validate(tomllib.loads(text), schema)
        for verb in ("check", "levels"):
            _, document = run([verb, str(path)], capsys, read_json)
            assert document["station"] == "Q1TPU Slate Ridge"
        assert "exists and is left as it is" in refused(["new", str(path)], capsys)
        assert path.read_text(encoding="utf-8") == text

    def test_limit_questions(self, tmp_path, capsys, monkeypatch):
        import io

        monkeypatch.setattr("sys.stdin", io.StringIO("Q9XYZ\n\n\n1296 mHz\n1296 MHz\n"))
        path = tmp_path / "asked.toml"
        assert main(["new", str(path), "--ask"]) == 0
        parsed = tomllib.loads(path.read_text(encoding="utf-8"))
        assert (parsed["station"]["call"], parsed["channel"]["centre"]) == ("Q9XYZ", "1296 MHz")
        assert "not mHz. Nearest: MHz" in capsys.readouterr().err
        monkeypatch.setattr("sys.stdin", io.StringIO("Q9XYZ\n\n\n1\n2\n3\n"))
        other = tmp_path / "other.toml"
        assert '"3" has no unit' in refused_last(["new", str(other), "--ask"], capsys)
        assert not other.exists()


def refused_last(words, capsys):
    assert main(words) == 2
    return capsys.readouterr().err.splitlines()[-1]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--reading", "after drvier = 1 dBm"], 'no point "after drvier"; there are modulator, mixer'),
        (["--reading", "after driver = 1"], "has no unit"),
        (["--reading", "after driver = 1..3 dBm"], "one level with its doubt, not a range"),
        (["--reading", "9 dBm"], "is no reading; write"),
        (["--reading", "after driver on probe = 9 dBm"], 'no instrument "probe"; there are head or narrow'),
        (["--reading", "after driver through 3 dB = 9 dBm"], "pads belong to an instrument"),
        (["--reading", "after driver = 9 dBm ± 0 dB"], "a doubt of zero is not possible"),
        (["--readings", "nowhere.txt"], "cannot be opened"),
    ],
)
def test_limit_readings_that_cannot_be_used(words, said, capsys):
    assert said in refused(["levels", str(STATIONS / "slate_ridge.toml"), *words], capsys)


def test_limit_a_file_of_readings_names_its_line(tmp_path, capsys, read_json):
    path = tmp_path / "readings.txt"
    path.write_text("# evening\nafter driver = 9.7 dBm ± 0.5 dB\n", encoding="utf-8")
    words = ["levels", str(STATIONS / "slate_ridge.toml"), "--readings", str(path)]
    found, document = run(words, capsys, read_json)
    assert ("point:after driver", "reading_verdict") in found
    assert len(document["inputs"]) == 2
    path.write_text("after driver = 9.7 dBm\nafter drive = 3 dBm\n", encoding="utf-8")
    assert "readings.txt, line 2:" in refused(words, capsys)
    assert "name a station file" in refused(["check"], capsys)
