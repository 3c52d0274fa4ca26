"""Signal over noise by the prefix: recordings of an independent modulator, bent signals, echoes, resampling."""

from fractions import Fraction

import numpy as np
import pytest

from axes_signals import impaired_recording
from captures import NAMES, recording_path, truth
from tepui.chain.reception.prefix import compare_prefixes, noise_of
from tepui.chain.reception.receive import receive
from tepui.evidence.prefix import CEILING_DB, left_by_distortion, prefix_snr
from tepui.files.recordings import open_recording
from tepui.ground.doubt import estimate
from tepui.signals.dvbt.mode import Mode
from tepui.signals.recording import recording_from_samples

MODE = Mode(width_hz=8e6, n_fft=2048, guard=Fraction(1, 8), constellation="QPSK", code_rate=Fraction(1, 2))


def told(recording):
    run = max(receive(recording).runs, key=lambda run: run.symbols)
    sums = compare_prefixes(recording, run)
    return None if sums is None else prefix_snr(sums, resampled=not run.base.direct)


# cn_db of the truth files: total signal power over noise power in the occupied bandwidth.
@pytest.mark.parametrize("name", [name for name in NAMES if not name.startswith("a1")])
def test_published_recordings(name):
    found = told(open_recording(recording_path(name)))
    assert found.low <= truth(name)["impairments"]["cn_db"] <= found.high
    assert found.std < 0.06


# Truth of the drive series: noise 56 dB below the in-band signal at the highest drive, which is ``power`` above this.
@pytest.mark.parametrize(("step", "power_db"), [(1, -4.54), (3, -2.64), (5, -0.84), (6, 0.0)])
def test_published_drive_series_is_blind_to_distortion(step, power_db):
    found = told(open_recording(recording_path(f"a4_drive_7MHz_2K_64QAM23_GI8_{step}")))
    assert found.value == pytest.approx(56.0 + power_db, abs=0.15)


def test_law_an_amplifier_that_clips_changes_nothing_but_mer():
    recording, _ = impaired_recording(MODE, symbols=100, cn_db=None, seed=4)
    samples = np.array(recording.read(0, recording.n_samples)).astype(complex)
    limit = 1.2 * np.sqrt(np.mean(np.abs(samples) ** 2))
    bent = samples / np.maximum(np.abs(samples) / limit, 1)
    power = np.mean(np.abs(bent) ** 2)
    rng = np.random.default_rng(9)
    noise = rng.normal(size=bent.size) + 1j * rng.normal(size=bent.size)
    heard = bent + noise * np.sqrt(power / 2 / 10**3.0 * MODE.sample_rate_hz / MODE.occupied_width_hz)
    made = recording_from_samples("bent", heard.astype(np.complex64), sample_rate_hz=MODE.sample_rate_hz)
    run = receive(made).runs[0]
    mer_db = 10 * np.log10(run.quality.power / run.quality.error_carrier.sum())
    found = told(made)
    in_band_db = 10 * np.log10(0.97)  # what a clipped signal loses to its shoulders: at most a tenth of a dB
    assert mer_db < 22
    assert 30.0 + in_band_db - 2 * found.std <= found.value <= 30.0 + 2 * found.std


@pytest.mark.parametrize(
    ("cn_db", "finer", "offset", "echo_share", "seed"),
    [(6.0, 1.0, 0.0, None, 1), (18.0, 1.1, 1.7, 0.5, 2), (40.0, 1.25, -2.2, 0.3, 3), (60.0, 1.1, 0.4, None, 4)],
)
def test_law_the_ratio_put_in_comes_out(cn_db, finer, offset, echo_share, seed):
    recording, _ = impaired_recording(
        MODE,
        symbols=120,
        cn_db=cn_db,
        rate_hz=finer * MODE.sample_rate_hz,
        offset_hz=offset * MODE.carrier_spacing_hz,
        echoes=None if echo_share is None else [(echo_share * MODE.guard_s, -6.0, 1.0)],
        seed=seed,
    )
    found = told(recording)
    assert abs(found.value - cn_db) <= 3 * found.std
    assert found.std < 0.09


def test_law_a_signal_without_noise_reaches_the_ceiling():
    recording, _ = impaired_recording(MODE, symbols=80, cn_db=None, seed=5)
    assert told(recording).value > CEILING_DB[True]


def test_limit_echoes_over_the_whole_guard_leave_nothing_to_compare():
    recording, _ = impaired_recording(MODE, symbols=100, cn_db=30.0, echoes=[(0.95 * MODE.guard_s, -2.0, 1.0)], seed=6)
    assert told(recording) is None


# White noise of variance 2 beside a copied signal: the density inside the band is that of the samples.
def test_limit_noise_of_pairs_made_by_hand():
    rng = np.random.default_rng(2)
    copied = rng.normal(size=(400, 100)) + 1j * rng.normal(size=(400, 100))
    left, right = (rng.normal(size=(400, 100)) + 1j * rng.normal(size=(400, 100)) for _ in range(2))
    noise = noise_of(10 * copied + left, (10 * copied + right) * np.exp(0.3j), n_fft=2048)
    assert noise.shape == (400,)
    assert noise.mean() == pytest.approx(2.0, abs=4 * noise.std() / 20)


# Powers subtract: errors of 1e-3, of which noise makes 5e-4 of the data cells' power, leave 5e-4 = -33.01 dB.
def test_limit_what_noise_does_not_explain_is_distortion():
    mer, snr = estimate(30.0, reading=0.1), estimate(33.01 + 0.335, noise=0.1)
    value, low, high = left_by_distortion(mer, snr)
    assert value == pytest.approx(33.01, abs=0.01)
    assert low == pytest.approx(-10 * np.log10(5e-4 + 2 * np.hypot(1e-3, 5e-4) * 0.02303), abs=0.01)
    assert high > value > low
    assert left_by_distortion(mer, estimate(30.34, noise=0.1))[0] is None
