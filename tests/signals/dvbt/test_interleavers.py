"""The interleavers against the clause's own steps, taken one by one."""

import numpy as np
import pytest

from tepui.ground.errors import ChoiceError
from tepui.signals.dvbt.interleavers import (
    bit_interleaver,
    coded_bit_order,
    coded_bit_order_lp,
    outer_interleaver_delay_bytes,
    symbol_permutation,
)

N_DATA = {2048: 1512, 4096: 3024, 8192: 6048}


@pytest.mark.parametrize("n_fft", [2048, 4096, 8192])
def test_law_symbol_permutation_is_a_bijection(n_fft):
    assert np.array_equal(np.sort(symbol_permutation(n_fft)), np.arange(N_DATA[n_fft]))


# [EN300744] 4.3.4.2: R'0 = R'1 = 0, R'2 = 1, so H = 0, 2^(Nr-1), R2, 2^(Nr-1) + R3 ..; bit 0 of R' goes to bit 4
# of R in 2K (so R2 = 16) and to bit 7 in 8K (so R2 = 128); R'3 = 2^(Nr-2), whose wire ends on bit 0 and bit 5.
def test_limit_first_values_worked_by_hand():
    assert symbol_permutation(2048)[:4].tolist() == [0, 1024, 16, 1025]
    assert symbol_permutation(8192)[:4].tolist() == [0, 4096, 128, 4096 + 32]


# [EN300744] 4.3.4.1: H_e(w) = (w + s) mod 126, s = 0, 63, 105, 42, 21, 84.
def test_published_bit_interleavers():
    assert [int(bit_interleaver(e)[0]) for e in range(6)] == [0, 63, 105, 42, 21, 84]
    assert [int(bit_interleaver(e)[125]) for e in range(6)] == [125, 62, 104, 41, 20, 83]


# [EN300744] 4.3.2: I = 12 branches, M = 17 bytes.
def test_published_outer_interleaver():
    assert [outer_interleaver_delay_bytes(j) for j in range(12)] == [17 * j for j in range(12)]
    with pytest.raises(ChoiceError, match=r"branch must be 0, 1, .* or 11"):
        outer_interleaver_delay_bytes(12)


def clause_4_3_4(n_fft, v, parity, first_stream):
    """Bit numbers through demultiplexer, bit interleavers and symbol interleaver, as the clause writes them."""
    n_data, n_bits = N_DATA[n_fft], v - first_stream
    streams = [[None] * n_data for _ in range(n_bits)]
    half = max(n_bits // 2, 1)
    for di in range(n_data * n_bits):  # b(e, do) = x(di)
        e = (di % n_bits) // half + 2 * (di % half)
        streams[e][di // n_bits] = di
    words = []
    for block in range(0, n_data, 126):
        for w in range(126):
            bits = [streams[e][block:][:126] for e in range(n_bits)]
            words.append([bits[e][int(bit_interleaver(e + first_stream)[w])] for e in range(n_bits)])
    cells = [None] * n_data
    for q, h in enumerate(symbol_permutation(n_fft).tolist()):
        if parity == 0:
            cells[h] = words[q]
        else:
            cells[q] = words[h]
    return cells


@pytest.mark.parametrize("v", [2, 4, 6])
@pytest.mark.parametrize("parity", [0, 1])
def test_published_order_of_coded_bits_on_cells(v, parity):
    assert coded_bit_order(2048, v, parity).tolist() == clause_4_3_4(2048, v, parity, 0)


@pytest.mark.parametrize("v", [4, 6])
@pytest.mark.parametrize("parity", [0, 1])
def test_published_order_of_low_priority_bits(v, parity):
    assert coded_bit_order_lp(2048, v, parity).tolist() == clause_4_3_4(2048, v, parity, 2)


@pytest.mark.parametrize("n_fft", [4096, 8192])
def test_law_every_coded_bit_travels_once(n_fft):
    for parity in (0, 1):
        for v in (2, 4, 6):
            order = coded_bit_order(n_fft, v, parity)
            assert order.shape == (N_DATA[n_fft], v)
            assert np.array_equal(np.sort(order.ravel()), np.arange(order.size))
        low = coded_bit_order_lp(n_fft, 6, parity)
        assert np.array_equal(np.sort(low.ravel()), np.arange(4 * N_DATA[n_fft]))
        assert low.dtype == np.int32
