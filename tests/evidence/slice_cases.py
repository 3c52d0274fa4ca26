"""Narrow slices of a channel with known noise: a practice transmission, its own slicing receiver, noise added here."""

import math

import numpy as np

from tepui.evidence.slice_prefix import compare_slice
from tepui.practice.air import loop_waveform, send_loop
from tepui.practice.front_end import FrontEnd
from tepui.practice.listening import Listener, ReceiverSetting
from tepui.practice.tuner import GainSteps, SteppedReceiver

CENTRE_HZ = 1275e6
USABLE = 0.75


def quiet_receiver(*, rate_hz, crystal_ppm, phase_noise):
    """Filters, crystal and oscillator of the narrow class; no noise, image or products of its own to speak of."""
    return SteppedReceiver(
        name="quiet",
        bits=16,
        sample_rate_hz=rate_hz,
        usable_hz=USABLE * rate_hz,
        front_end=FrontEnd(
            first_noise_figure_db=0.0, second_noise_figure_db=0.0, input_intercept_dbm=90, mixer_intercept_dbm=90
        ),
        frontend_gain=GainSteps(nominal_db=(0.0,)),
        if_gain=GainSteps(nominal_db=(14.0,)),
        filter_cutoff_hz=0.43 * rate_hz,
        image_db=-110,
        dc_dbfs=None,
        crystal_ppm=crystal_ppm,
        phase_noise=phase_noise,
        converter_noise_lsb=0.0,
    )


def heard(
    mode, *, snr_db, drive_db=-30.0, ppm=0.0, phase_noise=None, offset_hz=0.0, rate_hz=2.4e6, seconds=0.06, seed=0
):
    """Samples of a slice ``offset_hz`` from the channel's centre, and its channel from the tuned frequency.

    drive_db  mean drive under the limit of an amplifier that saturates: -4 leaves little of the peaks
    snr_db    density of the signal over that of white noise, mean of the usable band inside the channel
    """
    symbols = max(12, math.ceil(0.045 / mode.symbol_s))
    air = send_loop(
        loop_waveform(mode, n_symbols=symbols, seed=seed, factor=2),
        amplifier=lambda x: x * (1 + np.abs(x) ** 4) ** -0.25,
        drive_w=10 ** (drive_db / 10),
        centre_hz=CENTRE_HZ,
    )
    receiver = quiet_receiver(rate_hz=rate_hz, crystal_ppm=ppm, phase_noise=phase_noise)
    setting = ReceiverSetting(tuned_hz=CENTRE_HZ + offset_hz, frontend_gain_db=0.0, if_gain_db=14.0)
    listener = Listener(receiver, air, level_dbm=-20, seed=seed)
    samples = listener.block(setting, start_s=0.01, n_samples=int(seconds * rate_hz)).astype(complex)
    half_hz = mode.occupied_width_hz / 2
    channel_hz = (-half_hz - offset_hz, half_hz - offset_hz)
    frequency = np.fft.fftfreq(len(samples), 1 / rate_hz)
    inside = (frequency > max(channel_hz[0], -USABLE / 2 * rate_hz)) & (
        frequency < min(channel_hz[1], USABLE / 2 * rate_hz)
    )
    density = np.mean(np.abs(np.fft.fft(samples)[inside]) ** 2) / len(samples)
    pairs = np.random.default_rng([99, seed]).normal(size=(len(samples), 2)) @ [1, 1j]
    samples = samples + np.sqrt(density / 2) * 10 ** (-snr_db / 20) * pairs
    return (samples - samples.mean()).astype(np.complex64), channel_hz


def compared(mode, *, rate_hz=2.4e6, is_placed=True, **kwargs):
    """What the guards of such a slice tell."""
    samples, channel_hz = heard(mode, rate_hz=rate_hz, **kwargs)
    return compare_slice(
        samples,
        rate_hz=rate_hz,
        useful_s=mode.useful_s,
        guard_s=mode.guard_s,
        usable_hz=USABLE * rate_hz,
        channel_hz=channel_hz if is_placed else (-math.inf, math.inf),
        n_fft=mode.n_fft,
    )


def centre_from_tuned_hz(*, offset_hz, ppm):
    """Where the channel's centre truly lies in such a slice: one crystal serves oscillator and sample clock."""
    return -(offset_hz + 1e-6 * ppm * (CENTRE_HZ + offset_hz)) / (1 + 1e-6 * ppm)
