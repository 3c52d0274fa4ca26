"""From a driver module of the receiver library to samples in this process, against what the module is known to send."""

import time

import numpy as np
import pytest
from generator_fixtures import generator, module_folder  # noqa: F401 - fixtures

from tepui.ground.errors import InputError
from tepui.instruments.choose import found_receivers, open_receiver
from tepui.signals.live import ReceiverStoppedError, listen

pytestmark = pytest.mark.usefixtures("generator")
TONE_HZ = 100.25e6  # generator_module.cpp


def tone_of(receiver, tuned_hz, seconds=0.05):
    recording, _ = listen(receiver, name="x", frequency_hz=tuned_hz, duration_s=seconds)
    samples = recording.read(0, 1 << 20)
    spectrum = np.abs(np.fft.fft(samples * np.hanning(len(samples))))
    peak = np.fft.fftfreq(len(samples), 1 / receiver.rate_hz)[int(np.argmax(spectrum))]
    return tuned_hz + peak, np.sqrt(np.mean(np.abs(samples) ** 2))


def test_limit_the_generator_is_listed_and_described():
    (found,) = (one for one in found_receivers() if one.driver == "generator")
    assert (found.key, found.label) == ("generator", "Signal generator")
    with open_receiver("generator") as receiver:
        info = receiver.info
    assert (info.bits, info.sample_type, info.practice) == (8, "ci8", False)
    assert [(one.name, one.low_db, one.high_db, one.step_db) for one in info.gains] == [
        ("LNA", 0, 30, 2),
        ("IF", 0, 30, 2),
    ]
    assert info.frequencies_hz == ((50e6, 1800e6),)
    assert info.rates_hz == ((0.2e6, 20e6),)


# The tone stands 250 kHz above 100 MHz at -12.04 dB (amplitude 0.25), and 6 dB of gain double it.
@pytest.mark.parametrize(("arguments", "sample_type"), [("bits=8", "ci8"), ("bits=12", "ci16_le")])
def test_limit_tone_level_gain_and_retuning(arguments, sample_type):
    with open_receiver(f"driver=generator,{arguments}") as receiver:
        receiver.begin(rate_hz=2.4e6, frequency_hz=100e6)
        assert receiver.info.sample_type == sample_type
        frequency_hz, level = tone_of(receiver, 100e6)
        assert frequency_hz == pytest.approx(TONE_HZ, abs=30)
        assert level == pytest.approx(0.25, rel=0.01)
        for tuned_hz in (100.5e6, 99.9e6):  # nothing of the tuning before comes after
            assert receiver.tune(tuned_hz) == tuned_hz
            assert tone_of(receiver, tuned_hz, 0.01)[0] == pytest.approx(TONE_HZ, abs=150)
        assert receiver.set_gain("lna", 6.4) == 6
        assert tone_of(receiver, 99.9e6)[1] == pytest.approx(0.25 * 10 ** (6 / 20), rel=0.01)


def test_law_12_bits_stand_at_the_top_of_16():
    with open_receiver("driver=generator,bits=12,signal=noise") as receiver:
        receiver.begin(rate_hz=1e6, frequency_hz=100e6)
        recording, losses = listen(receiver, name="x", frequency_hz=100e6, duration_s=0.02)
    codes = np.rint(recording.read(0, 1 << 20).view(np.float32) * 32767).astype(int)
    assert losses == 0
    assert np.gcd.reduce(codes) == 16
    assert np.sqrt(np.mean(codes.astype(float) ** 2)) == pytest.approx(0.1 / np.sqrt(2) * 2047 * 16, rel=0.03)


def test_law_samples_are_continuous_over_many_reads():
    with open_receiver("driver=generator") as receiver:
        receiver.begin(rate_hz=2e6, frequency_hz=100e6)
        blocks = [receiver.read(10_000) for _ in range(40)]
    samples = np.concatenate([block.samples for block in blocks])
    assert all(block.lost == 0 and block.breaks == () for block in blocks)
    turn = np.angle(samples[1:] * np.conj(samples[:-1])) - 2 * np.pi * 250e3 / 2e6
    assert np.abs(turn).max() < 0.1  # 8 bits at a quarter of full scale


def test_law_an_overflow_of_the_driver_is_counted_where_it_was():
    with open_receiver("driver=generator,overflow_at=100000") as receiver:
        receiver.begin(rate_hz=1e6, frequency_hz=100e6)
        blocks = [receiver.read(20_000) for _ in range(10)]
        lost = receiver.lost
    assert lost == 1
    assert sum(len(block.breaks) for block in blocks) == 1


# The ring holds 2^25 bytes: at 20 MS/s and 2 bytes less than a second.
def test_law_who_reads_too_late_is_told_how_much_he_lost_and_gets_nothing_old():
    with open_receiver("driver=generator,signal=noise") as receiver:
        receiver.begin(rate_hz=20e6, frequency_hz=100e6)
        first = receiver.read(1000)
        deadline = time.monotonic() + 20
        while receiver._ring.written()[0] < 1.5 * receiver._ring.capacity and time.monotonic() < deadline:
            time.sleep(0.05)
        late = receiver.read(1000)
    assert first.lost == 0
    assert late.lost > 0.5 * 2**24


@pytest.mark.parametrize("how", ["fails=1", "fails=0"])
def test_law_a_driver_that_stops_is_a_receiver_that_stopped(how):
    with open_receiver(f"driver=generator,stop_after=200000,{how}") as receiver:
        receiver.begin(rate_hz=1e6, frequency_hz=100e6)
        got = []

        def read_on():
            while True:
                got.append(len(receiver.read(10_000).samples))

        with pytest.raises(ReceiverStoppedError, match=r"stopped delivering|delivered no samples"):
            read_on()
    assert 150_000 < sum(got) <= 220_000


def test_limit_a_driver_that_takes_the_process_with_it():
    with pytest.raises(ReceiverStoppedError, match="ended the capture process"):
        open_receiver("driver=generator,crash=1")


@pytest.mark.parametrize(
    ("key", "sentence"),
    [
        ("driver=generator,refuse=1", "cannot be opened"),
        ("nosuch", "no receiver named nosuch is there; there are: .*generator.*practice"),
        ("driver=nosuch", "cannot be opened"),
    ],
)
def test_limit_receivers_that_cannot_be_opened(key, sentence):
    with pytest.raises(InputError, match=sentence):
        open_receiver(key)


def test_limit_settings_out_of_reach():
    with open_receiver("generator") as receiver:
        with pytest.raises(InputError, match=r"takes a sample rate of 0.2 to 20 MHz, not 30. Nearest: 20"):
            receiver.begin(rate_hz=30e6, frequency_hz=100e6)
        with pytest.raises(InputError, match="takes a frequency of 50 to 1800 MHz, not 10"):
            receiver.begin(rate_hz=2e6, frequency_hz=10e6)
        with pytest.raises(InputError, match="has no gain named VGA; it has LNA, IF"):
            receiver.set_gain("VGA", 3)
        with pytest.raises(InputError, match="gain LNA of 0 to 30 dB, not 31"):
            receiver.set_gain("LNA", 31)
