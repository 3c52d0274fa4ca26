"""Image and line at zero of a wide receiver: put on recordings of an independent modulator, and taken off again."""

import numpy as np
import pytest

from captures import recording_path, truth
from tepui.evidence.receiver_axes import receiver_axes, without_axes
from tepui.files.recordings import open_recording
from tepui.jobs.spectrum import measure_spectrum
from tepui.signals.recording import recording_from_samples

NAME = "a4_drive_7MHz_2K_64QAM23_GI8_3"
WIDTH_HZ = 6.65625e6
IMAGE = 10 ** (-32 / 20) * np.exp(0.8j)


def faulty(*, offset_hz, image=0j, line_dbc=None):
    """A recording of the drive series, moved off the tuned frequency, with the faults of a receiver put on."""
    clean = open_recording(recording_path(NAME))
    samples = np.array(clean.read(0, clean.n_samples)).astype(complex)
    samples *= np.exp(2j * np.pi * offset_hz / clean.sample_rate_hz * np.arange(samples.size))
    samples = samples + image * np.conj(samples)
    if line_dbc is not None:
        samples = samples + np.sqrt(np.mean(np.abs(samples) ** 2)) * 10 ** (line_dbc / 20)
    return recording_from_samples("faulty", samples, sample_rate_hz=clean.sample_rate_hz, frequency_hz=1.275e9)


def shoulders_of(recording):
    found = {one.key: one for one in measure_spectrum(recording).findings}
    return found, [found[f"shoulder_{side}_db"] for side in ("lower", "upper")]


# Truth files of the drive series. An image of -32 dB, 3 MHz aside, would else be read as a shoulder of -31 dB.
def test_published_shoulders_under_an_image():
    true = truth(NAME)["shoulders_true"]["outermost_carrier"]
    found, sides = shoulders_of(faulty(offset_hz=1.5e6, image=IMAGE))
    for side, name in zip(sides, ("lower", "upper"), strict=True):
        assert side.value == pytest.approx(-true[name]["tr101290_db"], abs=0.3)
    assert found["receiver_image_db"].low <= -32 <= found["receiver_image_db"].high
    assert "taken off before anything was read" in found["receiver_image_db"].remark


def test_published_shoulders_under_a_line_at_zero():
    true = truth(NAME)["shoulders_true"]["outermost_carrier"]
    found, sides = shoulders_of(faulty(offset_hz=WIDTH_HZ / 2 + 0.5e6, line_dbc=-30.0))
    assert sides[0].value == pytest.approx(-true["lower"]["tr101290_db"], abs=0.3)
    assert found["receiver_zero_dbc"].value == pytest.approx(-30, abs=0.5)


def test_law_nothing_is_taken_off_where_nothing_is():
    clean = faulty(offset_hz=1.5e6)
    axes = receiver_axes(clean, centre_offset_hz=1.5e6, occupied_width_hz=WIDTH_HZ)
    assert (axes.mean, axes.ratio) == (0, 0)
    assert without_axes(clean, axes) is clean
    # Tuned to the centre, mirrored pilots look like an image, which would lie on the channel: it is left alone.
    assert (
        receiver_axes(faulty(offset_hz=0.0, image=IMAGE), centre_offset_hz=1700.0, occupied_width_hz=WIDTH_HZ).ratio
        == 0
    )
