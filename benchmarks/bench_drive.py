"""A 30-point drive curve: closed form against simulation of the same accuracy, in one run.

    python benchmarks/bench_drive.py

The simulation is the plain one: the modulated waveform at four times the elementary rate through the amplifier, Welch's
spectrum by scipy.signal, as many symbols as bring the scatter of its shoulder (400 kHz) down to the closed form's own
difference from a long simulation. Prints both times, the ratio, and the start-up once per waveform.
"""

import sys
import time
from fractions import Fraction
from pathlib import Path

import numpy as np
import scipy.signal

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from drive_simulation import FACTOR, filtered_waveform
from tepui.chain.amplifiers.closed_form import expand
from tepui.chain.amplifiers.drive_curve import drive_curve
from tepui.prediction.waveform_density import view_of_mode
from tepui.signals.dvbt.mode import Mode

MODE = Mode(width_hz=7e6, n_fft=8192, guard=Fraction(1, 32), constellation="64QAM", code_rate=Fraction(2, 3))
DRIVES = 10 ** (np.linspace(-13, -5, 30) / 10)
SYMBOLS, LONG = 64, 256  # 64 symbols repeat to 0.05 dB over 400 kHz


def amplifier(x):
    square = np.abs(x) ** 2
    return x * (1 + square**2) ** -0.25 * np.exp(0.17j * square / (1 + square))


def shoulder_db(output):
    rate = FACTOR * MODE.sample_rate_hz
    frequency, density = scipy.signal.welch(output, rate, "hann", 8192, return_onesided=False, detrend=False)
    away = np.abs(frequency) - MODE.occupied_width_hz / 2
    beside, inside = (away > 300e3) & (away < 700e3), away < -50e3
    return 10 * np.log10(density[beside].mean() / density[inside].mean())


def simulated(waveform, drives):
    return np.array([shoulder_db(amplifier(waveform * np.float32(np.sqrt(drive)))) for drive in drives])


def best_of(times, work):
    found = []
    for _ in range(times):
        begin = time.perf_counter()
        work()
        found.append(time.perf_counter() - begin)
    return min(found)


def main():
    expand(amplifier, DRIVES)
    view_of_mode.cache_clear()
    begin = time.perf_counter()
    view = view_of_mode(MODE)
    start_up = time.perf_counter() - begin
    ours = best_of(10, lambda: drive_curve(amplifier, DRIVES, view))
    waveform = filtered_waveform(MODE, n_symbols=LONG, seed=1).astype(np.complex64)
    few = waveform[: SYMBOLS * MODE.n_symbol * FACTOR]
    theirs = best_of(1, lambda: simulated(few, DRIVES))
    some = DRIVES[::10]
    curve = drive_curve(amplifier, some, view).points_db.mean(axis=1)
    away = np.abs(curve - simulated(waveform, some))
    short = np.abs(simulated(few, some) - simulated(waveform, some))
    print(f"closed form, 30 points: {1e3 * ours:.2f} ms; once per waveform {1e3 * start_up:.1f} ms")
    print(f"simulation, 30 points, {SYMBOLS} 8K symbols: {theirs:.2f} s; ratio {theirs / ours:.0f}")
    print(f"with the start-up counted: ratio {theirs / (ours + start_up):.0f}")
    print(f"away from {LONG} symbols: closed form {away.max():.3f} dB, {SYMBOLS} symbols {short.max():.3f} dB")


if __name__ == "__main__":
    main()
