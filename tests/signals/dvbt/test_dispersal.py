"""The energy dispersal sequence."""

import numpy as np
from scipy.signal import max_len_seq

from tepui.signals.dvbt.dispersal import dispersal_bytes, dispersal_mask


# [EN300744] 4.3.1 prints the first byte 0000 0011; the second follows from the generator by hand.
def test_published_first_bytes():
    assert dispersal_bytes()[:2].tolist() == [0x03, 0xF6]


# scipy 1.17 signal.max_len_seq; its state holds the oldest bit first, the standard's start value is written stage 1
# (the newest) first: 100101010000000.
def test_tool_whole_sequence():
    oldest_first = np.array([int(bit) for bit in "100101010000000"][::-1])
    wanted = max_len_seq(15, state=oldest_first, taps=[1], length=15 + 8 * 1503)[0][15:]
    assert np.array_equal(np.unpackbits(dispersal_bytes()), wanted)


# [EN300744] 4.3.1: the first sync of eight becomes 0xB8, the other seven pass, the sequence runs on under them.
def test_published_sync_bytes():
    mask = dispersal_mask()
    assert 0x47 ^ mask[0, 0] == 0xB8
    assert mask[1:, 0].tolist() == [0] * 7
    assert mask[1, 1] == dispersal_bytes()[188]
    assert mask[7, 187] == dispersal_bytes()[1502]
