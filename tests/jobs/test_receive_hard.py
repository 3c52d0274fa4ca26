"""Signals that a receiver without care gets wrong: unequal I and Q with echoes, too weak to decode, without noise."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from signals_made import made_recording, random_packets
from tepui.chain.waveform.transmit import Transmitter
from tepui.ground.findings import finding_named
from tepui.jobs.receive import receive_recording
from tepui.signals.dvbt.mode import Mode
from tepui.signals.recording import recording_from_samples

MODE = Mode(width_hz=7e6, n_fft=2048, guard=Fraction(1, 32), constellation="64QAM", code_rate=Fraction(2, 3))
PILOT_TERM_DB = 0.335  # notes on [EN300744] 4.5: all carriers together stand so far above the data cells


def unequal_recording(mode, *, cn_db, echo, gain_db, angle_deg, symbols, seed):
    """A transmitter's I/Q error, then an echo, then noise; the samples at the elementary rate."""
    rng = np.random.default_rng(seed)
    modulator = Transmitter(mode)
    sent = modulator.push(random_packets(modulator.packets_needed(symbols + 1), rng))
    sent = sent[: symbols * mode.n_symbol].astype(complex)
    angle = np.radians(angle_deg)
    sent = sent.real * 10 ** (gain_db / 20) + 1j * (sent.imag * np.cos(angle) + sent.real * np.sin(angle))
    delay_s, level_db, turn = echo
    frequency = np.fft.fftfreq(sent.size, 1 / mode.sample_rate_hz)
    factor = 1 + 10 ** (level_db / 20) * np.exp(1j * turn - 2j * np.pi * frequency * delay_s)
    heard = np.fft.ifft(np.fft.fft(sent) * factor)
    power = np.mean(np.abs(heard) ** 2)
    noise = power / 10 ** (cn_db / 10) * mode.sample_rate_hz / mode.occupied_width_hz
    heard = heard + np.sqrt(noise / 2) * (rng.normal(size=heard.size) + 1j * rng.normal(size=heard.size))
    samples = (heard * (0.1 / np.sqrt(power))).astype(np.complex64)
    return recording_from_samples("made", samples, sample_rate_hz=mode.sample_rate_hz, frequency_hz=1e9)


def value(findings, key):
    return finding_named(findings, key).value


# The image of a gain ratio g and an angle f stands |g e^jf - 1|^2 / |g e^jf + 1|^2 below: arithmetic. At 0.45 dB and
# 2 degrees that is 30.1 dB; noise and image add as powers, and echoes make some carriers weaker.
@pytest.mark.parametrize(("cn_db", "echo"), [(36, (6e-6, -3, 0.7)), (38, (4e-6, -10, 0.7)), (40, (2e-6, -6, 0.7))])
def test_law_unequal_axes_and_an_echo_do_not_hide_the_pilots(cn_db, echo):
    recording = unequal_recording(MODE, cn_db=cn_db, echo=echo, gain_db=0.45, angle_deg=2.0, symbols=250, seed=1)
    findings = receive_recording(recording).findings
    assert value(findings, "packets_uncorrectable") == 0
    assert 26.5 < value(findings, "mer_db") < 30.1


def test_law_an_echo_at_the_very_end_of_the_guard_spoils_nothing():
    recording = unequal_recording(
        replace(MODE, code_rate=Fraction(7, 8)),
        cn_db=50,
        echo=(MODE.guard_s, -6, 0.7),
        gain_db=0,
        angle_deg=0,
        symbols=120,
        seed=9,
    )
    findings = receive_recording(recording).findings
    assert value(findings, "packets_uncorrectable") == 0
    assert value(findings, "mer_db") > 44  # noise of weak carriers alone: 50 - 0.3 - 10 lg mean(1/|H|^2) = 47.2


# An echo that overhangs the guard by d of N samples loses d/N of its power to its own next symbol and lets in as much
# of it: 12/2048 at -8 dB, twice, is 27.3 dB below the signal: arithmetic. Half a guard's window would be 5.6 dB worse.
def test_law_an_echo_beyond_the_guard_spoils_no_more_than_its_overhang():
    echo = (MODE.guard_s + 12 / MODE.sample_rate_hz, -8, 0.7)
    recording = unequal_recording(MODE, cn_db=45, echo=echo, gain_db=0, angle_deg=0, symbols=160, seed=7)
    assert value(receive_recording(recording).findings, "mer_db") == pytest.approx(27.0, abs=0.9)


@pytest.mark.parametrize(
    ("constellation", "code_rate", "cn_db"),
    [
        ("64QAM", "7/8", 18.0),
        ("64QAM", "3/4", 16.0),
        ("64QAM", "2/3", 13.0),
        ("16QAM", "2/3", 7.0),
        ("QPSK", "3/4", 4.0),
    ],
)
def test_law_a_signal_that_does_not_decode_is_not_flattered(constellation, code_rate, cn_db):
    mode = replace(MODE, guard=Fraction(1, 8), constellation=constellation, code_rate=Fraction(code_rate))
    recording, _ = made_recording(mode, symbols=160, rate_hz=mode.sample_rate_hz, cn_db=cn_db)
    mer = finding_named(receive_recording(recording).findings, "mer_db")
    if mer.standing == "measured":
        assert mer.low <= cn_db - PILOT_TERM_DB <= mer.high
        assert "pilots" in mer.remark
    else:
        assert mer.standing == "at_most"
        assert mer.value >= cn_db - PILOT_TERM_DB - 0.05


@pytest.mark.parametrize(("width_hz", "ratio"), [(7e6, 1.25), (8e6, 1.5), (2e6, 4.0)])
def test_law_a_signal_without_noise_is_found(width_hz, ratio):
    mode = replace(MODE, width_hz=width_hz, guard=Fraction(1, 16))
    recording, _ = made_recording(mode, symbols=100, rate_hz=mode.sample_rate_hz * ratio, cn_db=300.0)
    assert value(receive_recording(recording).findings, "mer_db") > 60
