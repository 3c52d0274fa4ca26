"""Energy dispersal: the packets are whitened, so that no pattern in the programme shows in the spectrum.

Theory  XOR with the sequence 1 + X^14 + X^15, restarted every eight packets; the first sync byte of the eight is
        inverted (0x47 -> 0xB8) to mark the restart, the other seven pass while the sequence runs on unused.
Source  [EN300744] V1.6.2 clause 4.3.1: start value 100101010000000.
Holds   Applying the mask twice gives the packets back.
"""

from functools import cache

import numpy as np
import numpy.typing as npt

from tepui.signals.dvbt.sequences import locked, recurrence

PACKET_BYTES = 188
GROUP_PACKETS = 8
SYNC = 0x47
SYNC_INVERTED = 0xB8
_START = (1, 0, 0, 1, 0, 1, 0, 1, 0, 0, 0, 0, 0, 0, 0)


@cache
def dispersal_bytes() -> npt.NDArray[np.uint8]:
    """The sequence as bytes: (1503,), the first belonging to the byte after the inverted sync. Read-only.

    The bytes at the other seven sync positions are there but unused (``dispersal_mask`` has zeros in their place).
    """
    history = _START[::-1]  # stage 15, about to leave, is the oldest
    bits = recurrence(history, (15, 14), 15 + 8 * (PACKET_BYTES * GROUP_PACKETS - 1))[15:]
    values = np.packbits(bits)
    locked(values)
    return values


@cache
def dispersal_mask() -> npt.NDArray[np.uint8]:
    """What eight packets are XORed with, sync bytes included: (8, 188). Read-only."""
    mask = np.concatenate([[SYNC ^ SYNC_INVERTED], dispersal_bytes()]).astype(np.uint8)
    mask = mask.reshape(GROUP_PACKETS, PACKET_BYTES)
    mask[1:, 0] = 0
    locked(mask)
    return mask
