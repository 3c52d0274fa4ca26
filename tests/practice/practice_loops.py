"""One loop of a transmission for the tests of the practice front end and receivers."""

from fractions import Fraction
from functools import cache

import numpy as np

from tepui.practice.air import loop_waveform
from tepui.signals.dvbt.mode import Mode

MODE = Mode(width_hz=7e6, n_fft=2048, guard=Fraction(1, 8), constellation="64QAM", code_rate=Fraction(2, 3))


@cache
def loop():
    """204 symbols, 59 ms."""
    return loop_waveform(MODE, n_symbols=204, seed=1)


def levels_db(samples, air):
    """Level 300, 500 and 700 kHz below and above the channel over the mean in band. (6,)"""
    lines = np.abs(np.fft.fft(samples)) ** 2
    frequency = np.fft.fftfreq(len(samples), 1 / air.rate_hz)
    half = MODE.occupied_width_hz / 2
    inside = lines[np.abs(frequency) < half - 20e3].mean()
    places = [side * (half + offset) for side in (-1, 1) for offset in (300e3, 500e3, 700e3)]
    return np.array([10 * np.log10(lines[np.abs(frequency - at) < 60e3].mean() / inside) for at in places])
