"""Dispersal, Reed-Solomon parity and outer interleaver of the transmitter."""

from collections import deque

import numpy as np
import pytest

from tepui.chain.waveform.outer import disperse, empty_history, interleave, require_packets, with_parity
from tepui.ground.errors import FormatError
from tepui.signals.dvbt.outer_code import exponentials, multiply


def some_packets(count, seed=1):
    packets = np.random.default_rng(seed).integers(0, 256, (count, 188), np.uint8)
    packets[:, 0] = 0x47
    return packets


# Answers of galois 0.4.11, ReedSolomon(255, 239) with first root 2^0 over 0x11D, shortened by 51 bytes. Kept as text
# because compiling it takes ten seconds.
PLACE = np.arange(188)


@pytest.mark.parametrize(
    ("packet", "parity"),
    [
        (np.full(188, 0x47), "459a6871a5129cfe3497918fe8cb66eb"),
        (PLACE**2 * 7 + PLACE * 13 + 0x47, "de540d48a3afc92cbd302ddb08daa9b2"),
        (PLACE**3 * 5 + PLACE**2 * 11 + 0x47, "b53b70273110dc61c5b4201effc2b451"),
        (np.where(PLACE == 0, 0x47, 0xFF), "cbb5280b10096645136dae743c65bf9d"),
        (np.where(PLACE == 187, 1, 0), "3b0d68bd44d11e08a34129e56232243b"),
        (np.where(PLACE == 0, 1, 0), "e5d0aa763fb0cb8c34e730424162d371"),
        (np.zeros(188, int), "00" * 16),
    ],
)
def test_tool_reed_solomon_parity(packet, parity):
    packets = np.stack([packet % 256, np.full(188, 1), packet % 256]).astype(np.uint8)
    coded = with_parity(packets)
    assert np.array_equal(coded[:, :188], packets)
    assert coded[0, 188:].tobytes().hex() == parity
    assert np.array_equal(coded[2], coded[0])


# [EN300744] 4.3.2: every code word is zero at the sixteen roots 2^i of the generator, i = 0 to 15.
def test_law_code_words_vanish_at_the_roots():
    for word in with_parity(some_packets(20)).tolist():
        for i in range(16):
            root = int(exponentials()[i])
            value = 0
            for byte in word:
                value = multiply(value, root) ^ byte
            assert value == 0


# [EN300744] 4.3.1: packets 0, 8, 16 .. start with 0xB8, the others with 0x47; zeros after the inverted sync show
# the sequence itself, whose first byte is printed 0000 0011.
def test_published_dispersal_of_zeros():
    packets = np.zeros((17, 188), np.uint8)
    packets[:, 0] = 0x47
    whitened = disperse(packets, first_packet=0)
    assert np.flatnonzero(whitened[:, 0] == 0xB8).tolist() == [0, 8, 16]
    assert np.count_nonzero(whitened[:, 0] == 0x47) == 14
    assert whitened[0, 1] == 0x03
    assert np.array_equal(whitened[8:16], whitened[:8])


def test_law_dispersal_undoes_itself_and_follows_the_packet_number():
    packets = some_packets(20)
    whitened = disperse(packets, first_packet=0)
    assert np.array_equal(disperse(whitened, first_packet=0), packets)
    assert np.array_equal(disperse(packets[5:], first_packet=5), whitened[5:])


# [EN300744] 4.3.2, figure of the interleaver: byte by byte through twelve first-in first-out registers.
def test_published_outer_interleaver_as_registers():
    registers = [deque([0] * (17 * j)) for j in range(12)]
    coded = np.random.default_rng(2).integers(0, 256, (30, 204), np.uint8)
    wanted = []
    for n, byte in enumerate(coded.ravel().tolist()):
        register = registers[n % 12]
        register.append(byte)
        wanted.append(register.popleft())
    spread, _ = interleave(coded, empty_history())
    assert spread.ravel().tolist() == wanted


def test_law_interleaving_in_parts_is_interleaving_at_once():
    coded = np.random.default_rng(3).integers(0, 256, (40, 204), np.uint8)
    whole, last = interleave(coded, empty_history())
    history, parts = empty_history(), []
    for start, stop in [(0, 1), (1, 1), (1, 14), (14, 17), (17, 40)]:
        part, history = interleave(coded[start:stop], history)
        parts.append(part)
    assert np.array_equal(np.concatenate(parts), whole)
    assert np.array_equal(history, last)


def test_what_is_no_packet_is_refused():
    with pytest.raises(FormatError, match=r"must be an array \(n, 188\) of uint8 .* not \(2, 204\) of uint8"):
        require_packets(np.zeros((2, 204), np.uint8))
    with pytest.raises(FormatError, match="of float64"):
        require_packets(np.zeros((2, 188)))
    packets = some_packets(4)
    packets[2, 0] = 0x48
    with pytest.raises(FormatError, match="Packet 2 begins with 0x48, not with the sync byte 0x47"):
        require_packets(packets)
