"""The clock in a stream: PCR against byte position, and whether each picture arrives before its time.

Theory  At a constant rate R the byte b carries the clock P0 + 27 MHz x 8 b / R. A frame whose last byte comes
        later than its decoding time stamp cannot be shown in time: the payload does not fit the rate.
Source  [ISO13818-1] 2.4.2.2 (PCR, timed at the last byte of its base), 2.4.3.5, 2.4.3.6 (PTS and DTS).
Holds   Constant bit rate without a break in the clock. PCR accuracy (+-500 ns) needs arrival times, not a file.
"""

from fractions import Fraction

import numpy as np
import numpy.typing as npt

PACKET_BYTES = 188
PACKET_BITS = 8 * PACKET_BYTES
SYSTEM_CLOCK_HZ = 27_000_000
STAMP_CLOCK_HZ = 90_000
STAMP_WRAP = 1 << 33
PCR_WRAP = STAMP_WRAP * 300
PCR_BASE_END_BYTE = 10  # the byte that holds the last bit of the PCR base

Packets = npt.NDArray[np.uint8]


def pcr_packets(packets: Packets) -> npt.NDArray[np.int64]:
    """Indices of the packets that carry a PCR and have no error flag. (n_pcr,)"""
    sound = (packets[:, 0] == 0x47) & ((packets[:, 1] & 0x80) == 0)
    adaptation = (packets[:, 3] & 0x20) != 0
    flagged = (packets[:, 4] >= 7) & ((packets[:, 5] & 0x10) != 0)
    return np.flatnonzero(sound & adaptation & flagged)


def read_pcr(packets: Packets) -> npt.NDArray[np.int64]:
    """The PCR of packets known to carry one, in ticks of 27 MHz. (n,)"""
    field = packets[:, 6:12].astype(np.int64)
    base = (field[:, 0] << 25) | (field[:, 1] << 17) | (field[:, 2] << 9) | (field[:, 3] << 1) | (field[:, 4] >> 7)
    return base * 300 + (((field[:, 4] & 1) << 8) | field[:, 5])


def stamp_pcr(packets: Packets, *, net_bit_rate_bps: Fraction) -> Packets:
    """The same packets with every PCR set to its own byte position at exactly this rate.

    packets  (n, 188); the first PCR keeps its value. returns a copy
    """
    stamped = packets.copy()
    indices = pcr_packets(packets)
    if not len(indices):
        return stamped
    first = int(read_pcr(packets[indices[:1]])[0])
    for index in indices.tolist():
        ticks = Fraction((index - int(indices[0])) * PACKET_BITS * SYSTEM_CLOCK_HZ) / net_bit_rate_bps
        base, extension = divmod((first + int(ticks)) % PCR_WRAP, 300)
        value = (base << 15) | (0x3F << 9) | extension
        stamped[index, 6:12] = np.frombuffer(value.to_bytes(6, "big"), np.uint8)
    return stamped


def _stamp(data: bytes) -> int:
    return ((data[0] >> 1 & 7) << 30) | (data[1] << 22) | ((data[2] >> 1) << 15) | (data[3] << 7) | (data[4] >> 1)


def _decoding_stamp(packet: bytes) -> int | None:
    """DTS (or PTS where there is no DTS) of a packet that starts a PES, in ticks of 90 kHz."""
    start = 5 + packet[4] if packet[3] & 0x20 else 4
    pes = packet[start:]
    if len(pes) < 19 or pes[:3] != b"\x00\x00\x01" or not pes[7] & 0x80:
        return None
    return _stamp(pes[14:19] if pes[7] & 0x40 else pes[9:14])


def arrival_margins_s(packets: Packets, *, pid: int, net_bit_rate_bps: Fraction) -> npt.NDArray[np.float64]:
    """Decoding time minus the arrival of the last byte, for each whole PES of one PID. (n_pes,) [s]

    Below zero: the frame comes too late. The last PES is left out, as it may be cut.
    """
    clocked = pcr_packets(packets)
    if not len(clocked):
        return np.empty(0)
    zero = int(read_pcr(packets[clocked[:1]])[0]) / SYSTEM_CLOCK_HZ
    packet_s = float(PACKET_BITS / net_bit_rate_bps)
    mine = np.flatnonzero((((packets[:, 1] & 0x1F).astype(np.int64) << 8) | packets[:, 2]) == pid)
    starts = np.flatnonzero(packets[mine, 1] & 0x40)
    margins = []
    for here, following in zip(starts[:-1].tolist(), starts[1:].tolist(), strict=True):
        stamp = _decoding_stamp(packets[mine[here]].tobytes())
        if stamp is not None:
            last = int(mine[following - 1]) + 1
            arrival_s = zero + (last - int(clocked[0]) - PCR_BASE_END_BYTE / PACKET_BYTES) * packet_s
            wrap_s = STAMP_WRAP / STAMP_CLOCK_HZ
            margin_s = (stamp / STAMP_CLOCK_HZ - arrival_s + wrap_s / 2) % wrap_s - wrap_s / 2
            margins.append(margin_s)
    return np.asarray(margins, dtype=np.float64)
