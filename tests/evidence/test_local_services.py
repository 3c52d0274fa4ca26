"""Strong channels of a local band: found where they were put, in made spectra and in a made recording."""

import numpy as np
import pytest

from tepui.evidence.local_services import occupied_channels
from tepui.ground.errors import RangeError
from tepui.signals.recording import recording_from_samples
from tepui.signals.spectrum import spectrum_of_recording

FREQUENCY = np.arange(600e6, 760e6, 50e3)


def band(*services, floor_db=-90.0, seed=1):
    """Flat services (centre MHz, level dB), 7.6 MHz wide, on noise of half a decibel."""
    level = np.full(FREQUENCY.size, floor_db)
    for centre, height in services:
        level[np.abs(FREQUENCY - centre * 1e6) < 3.8e6] = height
    return level + np.random.default_rng(seed).normal(0, 0.5, FREQUENCY.size)


@pytest.mark.parametrize("services", [((690, -40),), ((618, -60), (690, -30)), ((626, -50), (658, -70), (738, -45))])
def test_limit_services_are_found_where_they_stand(services):
    found = occupied_channels(FREQUENCY, band(*services), width_hz=8e6)
    assert [one.centre_hz for one in found] == pytest.approx([centre * 1e6 for centre, _ in services], abs=0.3e6)
    for one, (_, height) in zip(found, services, strict=True):
        assert one.above_floor_db == pytest.approx(height + 90, abs=1.5)
        assert one.width_hz == pytest.approx(7.6e6, abs=1e6)


def test_limit_carriers_and_weak_services_are_left_out():
    level = band((690, -82))
    level[np.abs(FREQUENCY - 640e6) < 60e3] = -20
    assert occupied_channels(FREQUENCY, level, width_hz=8e6) == ()


def test_law_a_recording_tells_the_same():
    rate, rng = 20e6, np.random.default_rng(2)
    noise = rng.standard_normal((2, 1 << 17))
    spectrum = np.fft.fft(noise[0] + 1j * noise[1])
    offset = np.fft.fftfreq(spectrum.size, 1 / rate)
    spectrum *= np.where(np.abs(offset - 4e6) < 3.3e6, 1.0, 0.01)
    samples = (np.fft.ifft(spectrum) * 0.05).astype(np.complex64)
    shown = spectrum_of_recording(
        recording_from_samples("band", samples, sample_rate_hz=rate), resolution_bandwidth_hz=40e3
    )
    level = 10 * np.log10(np.maximum(shown.density, 1e-30))
    (one,) = occupied_channels(shown.frequency_hz + 686e6, level, width_hz=7e6)
    assert one.centre_hz == pytest.approx(690e6, abs=0.3e6)


def test_a_spectrum_narrower_than_a_channel_is_refused():
    with pytest.raises(RangeError, match=r"spans 1\.99 MHz, less than one channel"):
        occupied_channels(np.linspace(690e6, 691.99e6, 50), np.zeros(50), width_hz=8e6)
