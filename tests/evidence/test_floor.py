import numpy as np
import pytest
import scipy.signal
from evidence_signals import drive_series, guarded_signal, shaped_noise

from tepui.evidence.floor import floor_from_guard, floor_from_quiet_part, symbol_start
from tepui.ground.errors import RangeError
from tepui.signals.spectrum import spectrum_of_recording


# data/captures/a4_drive.md: noise density in band as the generator set it, relative to the top drive's signal density
@pytest.mark.parametrize("step", [1, 6])
def test_published_noise_of_the_drive_series(step):
    recording, truth = drive_series(step)
    width_hz, offset_hz = 6.65625e6, truth["impairments"]["carrier_offset_hz"]
    samples = recording.read(0, recording.n_samples)
    floor = floor_from_guard(
        samples,
        sample_rate_hz=16e6,
        useful_s=256e-6,
        guard_s=32e-6,
        centre_offset_hz=offset_hz,
        occupied_width_hz=width_hz,
    )
    signal = float(np.mean(np.abs(samples) ** 2)) / width_hz
    set_db = (
        truth["impairments"]["noise_density_re_top_drive_inband_db"]
        - truth["transmitter"]["output_power_re_top_drive_db"]
    )
    assert 10 * np.log10(floor.density / signal) == pytest.approx(set_db, abs=0.3)
    assert not floor.at_most


def rapp(samples, *, backoff_db):
    limit = 10 ** (backoff_db / 20)
    return samples / (1 + (np.abs(samples) / limit) ** 4) ** 0.25


# The set noise is the truth; distortion 20 dB above it must not count. Useful lengths whole and not whole.
@pytest.mark.parametrize("n_kept", [None, 184_309])
def test_law_distortion_is_no_noise(n_kept):
    signal = rapp(guarded_signal(n_symbols=80), backoff_db=6)
    if n_kept:
        signal = scipy.signal.resample(signal, n_kept)
    stretch = 80 * 2304 / len(signal)
    rng = np.random.default_rng(3)
    noise = (rng.standard_normal((len(signal), 2)) @ np.array([1, 1j])) / np.sqrt(2)
    set_density = 10**-5.0
    floor = floor_from_guard(
        (signal + np.sqrt(set_density) * noise).astype(np.complex64),
        sample_rate_hz=1.0,
        useful_s=2048 / stretch,
        guard_s=256 / stretch,
        centre_offset_hz=0.0,
        occupied_width_hz=1401 / 2048,
    )
    assert floor.density == pytest.approx(set_density, rel=0.15)
    assert abs(floor.density - set_density) < 3 * floor.std


def test_law_the_symbol_start_is_found():
    signal = guarded_signal(n_symbols=20)[700:]
    start, alike = symbol_start(signal.astype(np.complex64), n_useful=2048, n_guard=256)
    assert start == pytest.approx(2304 - 700, abs=1)
    assert alike > 0.95


def test_limit_quiet_part_is_a_bound_from_zero():
    recording = shaped_noise(lambda f: np.where(np.abs(f) < 3e6, 1e-9, 1e-13), n=400_000, rate_hz=10e6, seed=1)
    spectrum = spectrum_of_recording(recording, resolution_bandwidth_hz=40e3)
    floor = floor_from_quiet_part(spectrum, centre_offset_hz=0.0, occupied_width_hz=6e6)
    assert floor.at_most
    assert floor.high == pytest.approx(1e-13, rel=0.1)
    assert floor.density == pytest.approx(floor.high / 2)


def test_messages_say_what_to_record():
    recording = shaped_noise(lambda f: 1e-9 + 0 * f, n=50_000, rate_hz=7e6, seed=1)
    spectrum = spectrum_of_recording(recording, resolution_bandwidth_hz=40e3)
    with pytest.raises(RangeError, match=r"is 7 MHz wide and shows too little outside.*at least 8\.73 MHz"):
        floor_from_quiet_part(spectrum, centre_offset_hz=0.0, occupied_width_hz=6.656e6)
    with pytest.raises(RangeError, match="too few for the noise floor"):
        floor_from_guard(
            recording.read(0, 5000),
            sample_rate_hz=7e6,
            useful_s=256e-6,
            guard_s=32e-6,
            centre_offset_hz=0.0,
            occupied_width_hz=6.656e6,
        )


# The set noise is the truth (invented signal): 40 ppm between the clocks let the copies slip, most at the band's ends.
def test_clock_that_differs_adds_no_noise():
    signal = guarded_signal(n_symbols=120)
    slow = scipy.signal.resample(signal, round(len(signal) * (1 + 40e-6)))
    noise = np.random.default_rng(4).standard_normal((len(slow), 2)) @ np.array([1, 1j]) / np.sqrt(2)
    set_density = 10**-3.3
    floor = floor_from_guard(
        (slow + np.sqrt(set_density) * noise).astype(np.complex64),
        sample_rate_hz=1.0,
        useful_s=2048.0,
        guard_s=256.0,
        centre_offset_hz=0.0,
        occupied_width_hz=0.0,
    )
    assert floor.density == pytest.approx(set_density, rel=0.1)
