import json

import numpy as np
import pytest
import skrf

from tepui.chain.filters.goal import FilterGoal
from tepui.chain.filters.resonators import coupled_scattering, tuned
from tepui.cli.main import main
from tepui.station.example import example_text

METAL = ["--rod", "8 mm", "--gap", "25 mm"]


@pytest.fixture
def station(tmp_path):
    path = tmp_path / "station.toml"
    path.write_text(example_text(), encoding="utf-8")
    return path


def with_measured(station, name, *, centre_hz=1286e6, low_hz=400e6, high_hz=1500e6, behind_amplifier=False):
    """The station with a built filter's Touchstone file in it."""
    goal = FilterGoal(centre_hz=centre_hz, width_hz=20e6, poles=3, ripple_db=0.1)
    f = np.linspace(low_hz, high_hz, 2201)
    s = coupled_scattering(tuned(goal, unloaded_q=800), f)
    skrf.Network(frequency=skrf.Frequency.from_f(f, unit="hz"), s=s, z0=50).write_touchstone(
        "built", dir=station.parent
    )
    text = station.read_text(encoding="utf-8")
    if behind_amplifier:
        text = text.replace(
            '[[stage]]\nname = "feeder"',
            '[[stage]]\nname = "last"\nkind = "filter"\nresponse = "built.s2p"\n\n[[stage]]\nname = "feeder"',
        )
    else:
        start, end = text.index('width = "20 MHz"'), text.index('drift = "23 ppm/K"')
        text = text[:start] + 'response = "built.s2p"\n' + text[end:]
    other = station.parent / name
    other.write_text(text, encoding="utf-8")
    return other


def asked(words, capsys, read_json, code=0):
    assert main([*words, "--json"]) == code
    return read_json(capsys.readouterr().out)


def keyed(document):
    return {(finding["about"], finding["key"]): finding for finding in document["findings"]}


# The example station: 1286 MHz, oscillator 477 MHz below: image at 332 MHz, both to be kept out by its plan.
def test_law_the_plan_says_what_is_asked_of_the_filter(station, capsys, read_json):
    read = asked(["filter", str(station), *METAL], capsys, read_json)
    found = keyed(read)
    assert read["station"] is not None
    assert found["stage:filter", "unloaded_q"]["value"] == 1000
    assert found["stage:filter", "external_q"]["value"] == pytest.approx(1.0316 * 1286 / 20, rel=1e-3)
    plan = keyed(asked(["frequencies", str(station)], capsys, read_json))
    needed = plan["stage:filter", "rejection_lo_db"]["value"]
    assert found["stage:filter at 477 MHz", "rejection_db"]["limit"] == pytest.approx(needed, abs=0.06)
    assert found["stage:filter at 332 MHz", "rejection_db"]["limit"] == 60
    assert "LO" in found["stage:filter at 477 MHz", "rejection_db"]["remark"]
    other = keyed(asked(["filter", str(station), *METAL, "--width", "30 MHz"], capsys, read_json))
    assert other["stage:filter", "external_q"]["value"] == pytest.approx(1.0316 * 1286 / 30, rel=1e-3)


def test_law_a_measured_filter_is_the_stations_filter(station, capsys, read_json):
    measured = with_measured(station, "measured.toml")
    plan = keyed(asked(["frequencies", str(measured)], capsys, read_json))
    lo = plan["stage:filter", "suppression_lo_db"]
    assert lo["standing"] == "measured"
    assert ("stage:filter", "theory_lo_db") not in plan
    assert plan["stage:filter", "theory_image_db"]["standing"] == "at_most"
    levels = [keyed(asked(["levels", str(path)], capsys, read_json)) for path in (station, measured)]
    lost = [
        one["point:after filter", "level_dbm"]["value"] for one in levels if ("point:after filter", "level_dbm") in one
    ]
    assert len(lost) in (0, 2)
    side = keyed(asked(["tune", str(station.parent / "built.s2p"), "--station", str(station)], capsys, read_json))
    assert side["recording:built", "passband_on"]["value"] == "wanted"
    assert side["stage:rod 2", "resonator_error_hz"]["value"] == pytest.approx(0, abs=2e4)


def test_law_drive_takes_the_filter_behind_the_last_amplifier(station, tmp_path, capsys, read_json):
    readings = tmp_path / "readings.csv"
    readings.write_text(
        "setting_dbm,shoulder_lower_db,shoulder_upper_db\n0,-27,-27\n-2,-31,-31\n-4,-35,-35\n", encoding="utf-8"
    )
    words = ["drive", "--readings", str(readings), "--target", "-30 dB", "--width", "7 MHz", "--filter"]
    both = with_measured(station, "last.toml", centre_hz=1283e6, behind_amplifier=True)
    found = {finding["key"]: finding for finding in asked([*words, str(both)], capsys, read_json)["findings"]}
    assert found["filter_centre_offset_hz"]["value"] == pytest.approx(-3e6, rel=0.05)
    assert main([*words, str(station)]) == 2
    assert "no filter behind its last amplifier" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ([*METAL, "--stage", "duplexer"], "has no filter named duplexer"),
        (["--rod", "8 mm"], "needs the metal to hand"),
        ([*METAL, "--min-tap", "9 mm", "--gap", "24 mm, 25 mm"], "none of 2 pairs of rod and gap makes this filter"),
        (["--rod", "1,2,3,4,5,6,7 mm", "--gap", "20 mm, 25 mm"], "more than the 12 this verb designs"),
        (["--rod", "0 mm", "--gap", "25 mm"], "--rod must be a number above zero"),
    ],
)
def test_what_cannot_be_used_is_one_sentence(words, sentence, station, capsys):
    assert main(["filter", str(station), *words]) == 2
    shown = capsys.readouterr()
    assert not shown.out
    assert sentence in shown.err
    assert shown.err.count("\n") == 1


def test_law_of_several_rods_the_best_that_can_be_made_is_taken(capsys, read_json):
    words = ["filter", "--centre", "1296 MHz", "--width", "30 MHz", "--poles", "3", "--rod", "6, 8 mm", "--gap",
             "25 mm", "--min-tap", "4.9 mm", "--yield", "400"]  # fmt: skip
    read = asked(words, capsys, read_json)
    table = read["tables"]["metal"]
    place = {column["key"]: n for n, column in enumerate(table["columns"])}
    rows = {row[place["diameter_m"]]: row for row in table["rows"]}
    assert [rows[d][place["makeable"]] for d in (6e-3, 8e-3)] == ["no", "yes"]
    assert "the tap is" in rows[6e-3][place["reason"]]
    cut = {row[0]: row for row in read["tables"]["cut_list"]["rows"]}
    assert cut["rod"][4] == 8e-3
    assert json.dumps(read["tables"]["yield_band"]["columns"][3]["key"]) == '"made_low_db"'
