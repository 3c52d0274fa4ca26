"""Inverse transform, guard interval and power."""

from fractions import Fraction

import numpy as np
import pytest

from tepui.chain.waveform.framing import mean_symbol_power
from tepui.chain.waveform.ofdm import modulate
from tepui.signals.dvbt.mode import Mode


def a_mode(n_fft=2048, guard=Fraction(1, 8)):
    return Mode(width_hz=8e6, n_fft=n_fft, guard=guard, constellation="QPSK", code_rate=Fraction(1, 2))


def some_carriers(mode, n_symbols, seed=6):
    rng = np.random.default_rng(seed)
    shape = (n_symbols, mode.n_carriers)
    return (rng.normal(size=shape) + 1j * rng.normal(size=shape)).astype(np.complex64)


@pytest.mark.parametrize("n_fft", [2048, 4096, 8192])
@pytest.mark.parametrize("guard", [Fraction(1, n) for n in (4, 8, 16, 32)])
def test_law_guard_is_a_copy_of_the_tail(n_fft, guard):
    mode = a_mode(n_fft, guard)
    samples = modulate(some_carriers(mode, 3), mode=mode)
    n_guard = int(n_fft * guard)
    assert samples.shape == (3, n_fft + n_guard)
    assert np.array_equal(samples[:, :n_guard], samples[:, -n_guard:])


# [EN300744] 4.4: carrier k' = k - (Kmax + Kmin)/2 turns k' times in the useful part, with phase 0 at its start.
@pytest.mark.parametrize("k", [0, 851, 852, 853, 1704])
def test_limit_one_carrier_is_one_turning_phasor(k):
    mode = a_mode()
    carriers = np.zeros((1, 1705), np.complex64)
    carriers[0, k] = 0.6 - 0.8j
    useful = modulate(carriers, mode=mode)[0, mode.n_guard :]
    wanted = (0.6 - 0.8j) * np.exp(2j * np.pi * (k - 852) * np.arange(2048) / 2048)
    assert useful * np.sqrt(mean_symbol_power(mode)) == pytest.approx(wanted, abs=2e-6)


# Parseval: mean |x|^2 over the useful part is the sum of the cells' powers over mean_symbol_power.
def test_law_energy_of_a_symbol():
    mode = a_mode()
    carriers = some_carriers(mode, 20)
    power = np.mean(np.abs(modulate(carriers, mode=mode)[:, mode.n_guard :]) ** 2, axis=1)
    assert power == pytest.approx(np.sum(np.abs(carriers) ** 2, axis=1) / mean_symbol_power(mode), rel=1e-5)


def test_law_a_symbol_does_not_depend_on_its_neighbours_to_the_last_bit():
    for n_fft in (2048, 8192):
        mode = a_mode(n_fft)
        carriers = some_carriers(mode, 37)
        whole = modulate(carriers, mode=mode)
        parts = [modulate(part, mode=mode) for part in np.split(carriers, [1, 8, 9, 30])]
        assert np.array_equal(np.concatenate(parts), whole)
