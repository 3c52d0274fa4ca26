import numpy as np
import pytest
from evidence_signals import drive_series, shaped_noise

from tepui.evidence.ripple import flatness
from tepui.ground.errors import RangeError
from tepui.signals.spectrum import spectrum_of_recording

WIDTH_HZ = 6e6


def flat(recording, offset_hz=0.0, width_hz=WIDTH_HZ):
    spectrum = spectrum_of_recording(recording, resolution_bandwidth_hz=10e3)
    return flatness(spectrum, centre_offset_hz=offset_hz, occupied_width_hz=width_hz)


def shape(*, tilt_db, wave_db):
    def density(frequency_hz):
        level = tilt_db * frequency_hz / WIDTH_HZ + wave_db / 2 * np.cos(2 * np.pi * frequency_hz / 1.5e6)
        return np.where(np.abs(frequency_hz) < WIDTH_HZ / 2, 1e-9 * 10 ** (level / 10), 1e-13)

    return density


# The density put in is the truth.
@pytest.mark.parametrize(("tilt_db", "wave_db", "span_db"), [(0.0, 0.0, 0.0), (2.0, 0.0, 1.94), (0.0, 1.0, 1.0)])
def test_law_ripple_and_tilt_put_in_are_found(tilt_db, wave_db, span_db):
    found = flat(shaped_noise(shape(tilt_db=tilt_db, wave_db=wave_db), n=400_000, rate_hz=8e6, seed=1))
    assert found.ripple_db.value == pytest.approx(span_db, abs=0.15)
    assert found.ripple_db.low <= span_db <= found.ripple_db.high
    assert found.tilt_db.low <= tilt_db <= found.tilt_db.high
    assert found.tilt_db.value == pytest.approx(tilt_db, abs=0.1)


def test_law_the_doubt_of_tilt_is_true():
    inside = 0
    for seed in range(20):
        found = flat(shaped_noise(shape(tilt_db=0.5, wave_db=0.0), n=60_000, rate_hz=8e6, seed=seed))
        inside += found.tilt_db.low <= 0.5 <= found.tilt_db.high
    assert inside >= 17


def test_published_drive_series_is_flat():
    recording, truth = drive_series(1)  # data/captures/a4_drive.md: receiver linear and flat
    found = flat(recording, truth["impairments"]["carrier_offset_hz"], 6.65625e6)
    assert found.ripple_db.value < 0.35
    assert abs(found.tilt_db.value) < 0.15


def test_a_recording_narrower_than_the_channel_is_refused():
    recording = shaped_noise(shape(tilt_db=0.0, wave_db=0.0), n=60_000, rate_hz=5e6, seed=1)
    with pytest.raises(RangeError, match="finer spectrum of a wider recording"):
        flat(recording)
