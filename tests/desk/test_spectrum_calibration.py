"""``tepui spectrum --calibration``: noise alone through the practice receiver, kept on the disk, to its filter."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from tepui.cli.main import main
from tepui.files.sigmf import write_sigmf
from tepui.practice.air import loop_waveform, send_loop
from tepui.practice.listening import Listener, ReceiverSetting
from tepui.practice.tuner import NARROW_8_BIT
from tepui.signals.dvbt.mode import Mode

CENTRE_HZ = 1286e6
MODE = Mode(width_hz=6e6, n_fft=2048, guard=Fraction(1, 8), constellation="16QAM", code_rate=Fraction(2, 3))
RECEIVER = replace(NARROW_8_BIT, filter_cutoff_hz=1.0e6, filter_order=3, filter_tilt_db=0.8, crystal_ppm=-7.0)


def kept(folder, recording):
    """On the disk as SigMF; returns the name of its metadata."""
    stretch = recording.stretches[0]
    write_sigmf(
        folder / recording.name,
        [recording.read(0, recording.n_samples)],
        sample_rate_hz=recording.sample_rate_hz,
        sample_type="cu8",
        frequency_hz=stretch.frequency_hz,
        settings=dict(stretch.settings),
        practice=True,
    )
    return str(folder / f"{recording.name}.sigmf-meta")


@pytest.fixture(scope="module")
def evening(tmp_path_factory):
    """Seven recordings of one sweep, one of noise at the highest gain and one of the floor, input terminated."""
    folder = tmp_path_factory.mktemp("calibrated")
    wave = loop_waveform(MODE, n_symbols=60, seed=8, factor=2)
    share = 0.02

    def bends(x):
        return x * (1 - share * np.abs(x) ** 2)

    listener = Listener(
        RECEIVER, send_loop(wave, amplifier=bends, drive_w=1.0, centre_hz=CENTRE_HZ), level_dbm=-40.0, seed=6
    )
    places = CENTRE_HZ + 1.1e6 * (np.arange(7) - 3)
    sweep = [
        ReceiverSetting(
            tuned_hz=float(at), frontend_gain_db=20.0, if_gain_db=18.0 if abs(at - CENTRE_HZ) > 3e6 else 14.0
        )
        for at in places
    ]
    quiet = ReceiverSetting(tuned_hz=CENTRE_HZ, frontend_gain_db=20.0, if_gain_db=60.0, terminated=True)
    made = [listener.record(one, duration_s=0.02, name=f"s{n}") for n, one in enumerate(sweep)]
    noise = listener.record(quiet, duration_s=0.25, name="noise")
    floor = listener.record(replace(quiet, if_gain_db=0.0), duration_s=0.05, name="floor")
    return [kept(folder, one) for one in made], [kept(folder, one) for one in (noise, floor)]


def measured(capsys, read_json, recordings, calibration):
    words = ["spectrum", *recordings, "--centre", "1286 MHz", "--json"]
    assert main([*words, *(["--calibration", *calibration] if calibration else [])]) == 0
    document = read_json(capsys.readouterr().out)
    table = document["tables"]["droop"]
    return document, [dict(zip((c["key"] for c in table["columns"]), row, strict=True)) for row in table["rows"]]


# The filter that was put in: Butterworth of third order with a tilt of 0.8 dB over the sampled band.
def test_law_the_filter_is_learned_from_noise_alone(evening, capsys, read_json):
    recordings, calibration = evening
    document, droop = measured(capsys, read_json, recordings, calibration)
    _, alone = measured(capsys, read_json, recordings, [])
    assert document["practice"] is True
    assert len(document["inputs"]) == 2 * (len(recordings) + len(calibration))
    offset_hz = np.array([row["tuned_offset_hz"] for row in droop])
    middle = np.abs(offset_hz) < 0.9e6
    true_db = RECEIVER.filter_db(offset_hz) - RECEIVER.filter_db([0.0])[0]
    found_db = np.array([row["filter_gain_db"] for row in droop])
    assert np.abs(found_db - true_db)[middle].max() < 0.15
    doubts = [np.array([row["doubt_db"] for row in rows])[middle].mean() for rows in (droop, alone)]
    assert doubts[0] < 0.7 * doubts[1]
    found = {one["key"]: one for one in document["findings"]}
    # The crystal's error as it was put in; the copy in the guard and the pilots tell it to a hundredth.
    assert found["tuner_error_ppm"]["low"] <= -7.0 <= found["tuner_error_ppm"]["high"]
    assert found["tuner_error_ppm"]["high"] - found["tuner_error_ppm"]["low"] < 0.3
    assert "pilots" in found["tuner_error_ppm"]["source"]
