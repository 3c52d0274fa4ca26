"""Pilots, TPS and data on their carriers, and the power they make together."""

from fractions import Fraction

import numpy as np
import pytest

from tepui.chain.waveform.framing import mean_symbol_power, place_cells
from tepui.signals.dvbt.carriers import continual_carriers, data_carriers, reference_sequence, tps_carriers
from tepui.signals.dvbt.mode import Mode
from tepui.signals.dvbt.tps import tps_word


def a_mode(n_fft):
    return Mode(
        width_hz=8e6,
        n_fft=n_fft,
        guard=Fraction(1, 8),
        constellation="QPSK",
        code_rate=Fraction(1, 2),
        cell_id=0x1234,
    )


def framed(n_fft, n_symbols, first_symbol=0):
    data = np.exp(2j * np.pi * np.random.default_rng(5).random((n_symbols, a_mode(n_fft).n_data))).astype(np.complex64)
    return data, place_cells(data, mode=a_mode(n_fft), first_symbol=first_symbol)


# [EN300744] 4.4 and 4.5: data and TPS cells 1, pilots 16/9. Mean over carriers and the four phases 1.0803 (2K) and
# 1.0800 (8K), as counted from the published positions by a separate program.
@pytest.mark.parametrize(("n_fft", "printed"), [(2048, 1.0803), (8192, 1.0800)])
def test_published_mean_cell_power(n_fft, printed):
    _, carriers = framed(n_fft, 8)
    assert np.mean(np.abs(carriers) ** 2) == pytest.approx(printed, abs=5e-5)
    assert mean_symbol_power(a_mode(n_fft)) / carriers.shape[1] == pytest.approx(printed, abs=5e-5)


@pytest.mark.parametrize("n_fft", [2048, 4096, 8192])
def test_law_data_cells_come_back(n_fft):
    for first_symbol in (0, 67, 271):
        data, carriers = framed(n_fft, 6, first_symbol)
        for i in range(6):
            phase = (first_symbol + i) % 68 % 4  # [EN300744] 4.5.3: l counts within the frame
            assert np.array_equal(carriers[i, data_carriers(n_fft, phase)], data[i])


# [EN300744] 4.5.3 and 4.5.4: pilots 4/3 with the sign of 1/2 - w_k, on 3 (l mod 4) + 12 p and the continual ones.
def test_published_pilots():
    _, carriers = framed(2048, 4)
    wanted = np.where(reference_sequence(2048), -4 / 3, 4 / 3).astype(np.complex64)
    for phase in range(4):
        for positions in (np.arange(3 * phase, 1705, 12), continual_carriers(2048)):
            assert carriers[phase, positions] == pytest.approx(wanted[positions], abs=1e-6)


# [EN300744] 4.6.2: s0 = 2 (1/2 - w_k); then the carrier turns over if s_l = 1; a new start every frame.
def test_published_tps_is_differential_from_the_reference_sequence():
    _, carriers = framed(2048, 272)
    heard = carriers[:, tps_carriers(2048)]
    signs = np.where(reference_sequence(2048)[tps_carriers(2048)], -1, 1)
    for frame in range(4):
        turns = tps_word(a_mode(2048), frame)
        expected = signs.copy()
        for symbol in range(68):
            if symbol and turns[symbol]:
                expected = -expected
            assert np.array_equal(heard[68 * frame + symbol], expected.astype(np.complex64))


def test_law_a_super_frame_repeats_its_pilots_and_signalling():
    _, first = framed(2048, 12, 3)
    _, later = framed(2048, 12, 3 + 2 * 272)
    assert np.array_equal(first, later)
