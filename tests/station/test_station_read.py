"""The station file read: the drawn shape, what is refused and in which words, and the published schema."""

import tomllib
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tepui.cli.main import main
from tepui.files.station import open_station
from tepui.ground.errors import FormatError, InputError
from tepui.station.lines import key_lines
from tepui.station.nouns import LISTED, SINGLE
from tepui.station.read import read_station
from tepui.station.schema import station_schema
from tepui.tables.load import load_table

STATIONS = Path(__file__).parents[1] / "data" / "stations"
FILES = sorted(STATIONS.glob("*.toml"))
VALIDATOR = jsonschema.Draft202012Validator(station_schema())

# The shape drawn in the project's design, one key a line.
DESIGN = """\
format = 1
[station]
call = "Q1ABC"
name = "Marl Bay"
locator = "HI45kt"
[channel]
centre = "1286 MHz"
width = "7 MHz"
fft = "8K"
guard = "1/16"
constellation = "QPSK"
code_rate = "3/4"
side = "low"
[target]
shoulder = "-32 dB"
confidence = "90 %"
power_max = "10 W"
power_basis = "unclear"
[[stage]]
name = "modulator"
kind = "modulator"
level = "0 dBm ± 1 dB"
step = "0.1 dB"
tunes = "170..860 MHz"
mer = "38 dB"
[[stage]]
name = "mixer"
kind = "mixer"
frequency = "428 MHz"
loss = "7 dB ± 1 dB"
lo_level = "7 dBm"
lo_isolation = "28 dB ± 6 dB"
max_input = "13 dBm"
[[stage]]
name = "filter"
kind = "filter"
response = "filter.s2p"
[[stage]]
name = "amplifier"
kind = "amplifier"
gain = { value = "30 dB ± 2 dB", origin = "data sheet" }
p1db = { value = "46 dBm", origin = "guess" }
supply = "13.8 V"
current = "5.2 A"
case_max = "80 degC"
[[instrument]]
name = "narrow"
kind = "receiver"
bits = 8
rate = "2.4 MHz"
usable = "1.8 MHz"
dc_width = "0.1 MHz"
max_input = "-10 dBm"
pads = "60 dB"
[[far]]
call = "Q2DEF"
locator = "HI46ob"
antenna_gain = "13 dBi"
tunes = "174..230 MHz, 470..862 MHz"
"""


def line_of(key, text=DESIGN, *, nth=0):
    return [n for n, line in enumerate(text.splitlines(), start=1) if line.startswith(key)][nth]


def refusal(old, new, text=DESIGN):
    assert old in text
    with pytest.raises(InputError) as caught:
        read_station(text.replace(old, new, 1), file="station.toml")
    said = str(caught.value)
    assert said.endswith(".")
    assert "\n" not in said
    return said


def test_limit_the_drawn_shape_is_read():
    station = read_station(DESIGN, file="station.toml")
    gain = station.stage("amplifier").gain
    assert (gain.value, gain.std, gain.origin) == (30.0, 1.0, "data sheet")
    assert gain.place.line == line_of("gain")
    assert station.stage("amplifier").p1db.std is None
    assert station.channel.mode.net_bit_rate_bps > 0
    assert [one.value for one in station.fars[0].tunes] == [202e6, 666e6]
    assert station.instruments[0].bits == 8
    assert station.stage("amplifier").case_max.value == pytest.approx(353.15)


# [GUM] 4.3.7: anything between two ends has half the width over the square root of three.
def test_published_a_range_is_rectangular_and_a_doubt_is_two_sigma():
    station = read_station(DESIGN.replace('"7 dB ± 1 dB"', '"6..8 dB"'), file="station.toml")
    assert station.stage("mixer").loss.std == pytest.approx(1 / np.sqrt(3))
    assert read_station(DESIGN, file="station.toml").stage("mixer").loss.std == 0.5


@pytest.mark.parametrize(
    ("old", "new", "key", "nth", "words"),
    [
        ('loss = "7 dB ± 1 dB"', 'los = "7 dB"', "loss", 0, ("los of stage", "no such key", "Nearest: loss")),
        ('centre = "1286 MHz"', 'centre = "1286"', "centre", 0, ("centre of channel", '"1286" has no unit', "MHz")),
        ('width = "7 MHz"', "width = 7", "width", 0, ("width of channel", "has no unit")),
        ('centre = "1286 MHz"', 'centre = "1286 mHz"', "centre", 0, ("not mHz", "Nearest: MHz")),
        ('step = "0.1 dB"', 'step = "0.1 MHz"', "step", 0, ("not MHz",)),
        ('gain = { value = "30 dB ± 2 dB"', 'gain = { value = "-3 dB"', "gain", 0, ("is a loss", "at least 0 dB")),
        ('loss = "7 dB ± 1 dB"', 'loss = "-7 dB"', "loss", 0, ('"-7 dB" is not possible', "between 0 dB and 200 dB")),
        ('guard = "1/16"', 'guard = "1/5"', "guard", 0, ("must be 1/4, 1/8, 1/16 or 1/32", 'not "1/5"')),
        ('kind = "filter"', 'kind = "filtre"', "kind", 2, ("kind of stage", "Nearest: filter")),
        ('response = "filter.s2p"', 'p1db = "3 dBm"', "response", 0, ("a key of amplifier", "of kind filter")),
        ('origin = "guess"', 'origin = "gues"', "p1db", 0, ("origin must be", "Nearest: guess")),
        ("bits = 8", 'bits = "8"', "bits", 0, ("whole number without quotes",)),
        ("bits = 8", "bits = 200", "bits", 0, ("must be between 6 and 24",)),
        ('kind = "amplifier"', 'kind = "amplifier"\nname = "b"', "kind", 3, ("a second time",)),
        ('centre = "1286 MHz"', "centre = 1286 MHz", "centre", 0, ('write centre = "1286 MHz"',)),
        ('call = "Q1ABC"', 'call = "Q1ABC"; name = "Marl Bay"', "call", 0, ("one key",)),
        ("[target]", "[tarket]", "[target]", 0, ("no table of a station file", "Nearest: target")),
        ("[target]", "[[target]]", "[target]", 0, ("occurs once", "write [target]")),
        ("[[far]]", "[far]", "[[far]]", 0, ("may occur often", "write [[far]]")),
        ('name = "filter"', 'name = "mixer"', "name", 3, ("the name of another stage",)),
        ('call = "Q2DEF"', 'call = ""', "call", 1, ("a text in quotes",)),
    ],
)
def test_limit_refusals_name_file_line_key_found_and_allowed(old, new, key, nth, words):
    said = refusal(old, new)
    line = line_of(key, nth=nth) + new.count("\n")
    assert said.startswith(f"station.toml, line {line}"), said
    assert all(word in said for word in words), said


def test_limit_missing_and_wrong_formats():
    assert "format: must be 1, and it is missing" in refusal("format = 1\n", "")
    assert "must be 1, not 2" in refusal("format = 1", "format = 2")
    assert "the table [channel] is missing" in refusal(DESIGN[DESIGN.index("[channel]") : DESIGN.index("[target]")], "")
    assert "centre of channel: missing" in refusal('centre = "1286 MHz"\n', "")


def test_limit_a_stage_order_that_cannot_work():
    antenna = '[[stage]]\nname = "yagi"\nkind = "antenna"\n'
    said = refusal('[[stage]]\nname = "amplifier"', f'{antenna}[[stage]]\nname = "amplifier"')
    assert "stands behind the antenna yagi" in said
    said = refusal(
        '[[stage]]\nname = "modulator"', '[[stage]]\nname = "pad"\nkind = "pad"\n[[stage]]\nname = "modulator"'
    )
    assert "the modulator modulator stands behind pad; it must be the first stage" in said


def opened(tmp_path, text):
    path = tmp_path / "station.toml"
    path.write_text(text, encoding="utf-8")
    return open_station(path)


def test_limit_a_level_above_a_stated_maximum(tmp_path):
    text = DESIGN.replace('response = "filter.s2p"', 'loss = "1 dB"')
    assert opened(tmp_path, text).name == "Q1ABC Marl Bay"
    with pytest.raises(
        InputError, match=r'max_input of stage "mixer": the level at its input is 14.0 dBm, and "13 dBm"'
    ):
        opened(tmp_path, text.replace("0 dBm ± 1 dB", "14 dBm ± 1 dB"))


def test_limit_files_named_are_opened_and_their_faults_are_said_at_the_key(tmp_path):
    with pytest.raises(InputError, match=r'station.toml, line 37, response of stage "filter": .*cannot be opened'):
        opened(tmp_path, DESIGN)
    (tmp_path / "filter.s2p").write_text(
        "! made by hand\n# MHz S DB R 50\n1200 0 0 -20 0 -20 0 0 0\n1372 0 0 -1 0 -1 0 0 0\n"
    )
    curve = opened(tmp_path, DESIGN).stage("filter").curve
    assert curve.how == "Touchstone file"
    assert np.interp(1286e6, curve.frequency_hz, curve.loss_db) == pytest.approx(10.5)


def test_limit_part_of_the_library_fills_only_what_is_not_stated(tmp_path):
    text = DESIGN.replace('response = "filter.s2p"', 'part = "three-pole filter"\nwidth = "30 MHz"')
    stage = opened(tmp_path, text).stage("filter")
    assert (stage.width.value, stage.poles) == (30e6, 3)
    assert stage.width.origin is None
    assert stage.unloaded_q.origin == "library"
    with pytest.raises(InputError, match=r'has no filter "three pole filter"; .* Nearest: three-pole filter'):
        opened(tmp_path, text.replace("three-pole filter", "three pole filter"))


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_tool_schema_takes_every_station_and_lines_are_found(path):
    text = path.read_text(encoding="utf-8")
    parsed = tomllib.loads(text)
    assert list(VALIDATOR.iter_errors(parsed)) == []
    lines = key_lines(text)
    for table, value in parsed.items():
        rows = [((table, n), row) for n, row in enumerate(value)] if table in LISTED else [((table,), value)]
        for where, row in rows:
            for key in row if isinstance(row, dict) else ():
                assert text.splitlines()[lines[(*where, key)] - 1].lstrip().startswith(key)
    open_station(path)


# jsonschema is an independent reader of the schema: what the reader refuses by form, it refuses too.
@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('loss = "7 dB ± 1 dB"', 'los = "7 dB"'),
        ('centre = "1286 MHz"', 'centre = "1286"'),
        ('centre = "1286 MHz"', 'centre = "1286 mHz"'),
        ('width = "7 MHz"', "width = 7"),
        ('guard = "1/16"', 'guard = "1/5"'),
        ('response = "filter.s2p"', 'p1db = "3 dBm"'),
        ('origin = "guess"', 'origin = "gues"'),
        ("bits = 8", 'bits = "8"'),
        ("[target]", "[tarket]"),
        ("format = 1", "format = 2"),
        ('call = "Q2DEF"', 'call = ""'),
    ],
)
def test_tool_schema_and_reader_refuse_the_same(old, new):
    refusal(old, new)
    assert list(VALIDATOR.iter_errors(tomllib.loads(DESIGN))) == []
    assert list(VALIDATOR.iter_errors(tomllib.loads(DESIGN.replace(old, new, 1))))


def test_law_every_table_of_the_nouns_is_in_the_schema():
    assert set(station_schema()["properties"]) == {"format", *SINGLE, *LISTED}
    assert all(row["value"] for row in load_table("generic_parts"))


def test_law_the_page_of_keys_is_made_from_the_rules(capsys):
    page = (Path(__file__).parents[2] / "docs/station.md").read_text(encoding="utf-8")
    assert main(["check", "--keys"]) == 0
    assert page.endswith(capsys.readouterr().out)
    assert page.partition("```toml\n")[2].startswith("format = 1")
    read_station(page.partition("```toml\n")[2].partition("```")[0], file="page")


TEXTS = st.one_of(
    st.sampled_from(["7 dB ± 1", "7 dB ± 5 %", "6..8 dB", "7dB +- 0.5 dB", "7", "dB", "-1 dB", "7 dBm", "8..6 dB"]),
    st.text(alphabet="0123456789.+-±e%/, MHzkdB", max_size=12),
)


@given(found=TEXTS)
def test_law_what_the_reader_takes_the_schema_takes(found):
    text = DESIGN.replace('"7 dB ± 1 dB"', '"' + found + '"')
    try:
        read_station(text, file="station.toml")
    except InputError as problem:
        said = str(problem)
    else:
        said = "station.toml, line 30"
        assert list(VALIDATOR.iter_errors(tomllib.loads(text))) == []
    assert said.startswith("station.toml, line 30")


# Maidenhead: two letters A to R, two digits, two letters A to X ... (IARU Region 1 VHF Managers Handbook, from memory).
@pytest.mark.parametrize("word", ["ZZ99", "HI4", "HI45zz", "45HIkt", "HI45kt0"])
def test_message_of_a_locator_that_is_none(word):
    text = DESIGN.replace('locator = "HI45kt"', f'locator = "{word}"', 1)
    with pytest.raises(InputError, match=r"line \d+, locator of station") as refusal:
        read_station(text, file="station.toml")
    assert word in str(refusal.value)


@pytest.mark.parametrize("text", ["a = " + "[" * 3000, "a = " + "{a = " * 3000])
def test_limit_brackets_without_end_are_one_sentence(text):
    with pytest.raises(FormatError, match="nests its brackets too deeply"):
        read_station(text, file="station.toml")
